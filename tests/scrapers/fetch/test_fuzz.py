"""Whatever bytes a server sends, a visit ends in an outcome and within its tree of errors."""

from __future__ import annotations

import asyncio
import gzip
from typing import TYPE_CHECKING
from unittest.mock import patch

from fetch_lab import AGENT, ALLOW, PAGE, Wire, answer, clock
from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Fetcher, Outcome, Policy, VisitRequest, check_url
from scrapers.errors import GuardError
from scrapers.robots import copy_from_status, judge

if TYPE_CHECKING:
    from scrapers import Visited

GOOD = answer(PAGE, Content_Type="text/html; charset=utf-8", ETag='"v1"', Date="x")
PACKED = answer(gzip.compress(PAGE, mtime=0), Content_Encoding="gzip")
CHUNKED = (
    b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n%x\r\n%s\r\n0\r\n\r\n"
    % (len(PAGE), PAGE)
)  # fmt: skip


def seen(reply: bytes, robots: bytes | None = None) -> Visited:
    async def names(_host: str, _port: int) -> list[str]:
        return ["93.184.216.34"]

    async def run() -> Visited:
        fetcher = Fetcher(user_agent=AGENT, policy=Policy(), clock=clock, resolver=names)
        try:
            copy = ALLOW if robots is None else None
            return await fetcher.visit(VisitRequest("http://h.example/p", robots=copy))
        finally:
            await fetcher.aclose()

    def replies(_host: str, path: str) -> bytes:
        return robots if path == "/robots.txt" and robots is not None else reply

    with patch("scrapers.transport.dial", Wire(replies)):
        return asyncio.run(run())


@given(st.binary(max_size=400))
def test_random_bytes(data: bytes) -> None:
    found = seen(data)
    assert found.outcome in {Outcome.UNREACHABLE, Outcome.BROKEN}


@given(st.binary(max_size=300), st.sampled_from([200, 203, 204, 301, 304, 404, 429, 503, 599]))
def test_random_headers_and_bodies(data: bytes, status: int) -> None:
    found = seen(b"HTTP/1.1 %d X\r\n" % status + data)
    assert isinstance(found.outcome, Outcome)
    assert found.page is None or found.outcome is Outcome.OK


@settings(max_examples=150)
@given(
    st.sampled_from([GOOD, PACKED, CHUNKED]),
    st.integers(0, 2000),
    st.binary(max_size=6),
    st.integers(0, 4),
)
def test_spliced_answers(whole: bytes, at: int, piece: bytes, drop: int) -> None:
    at %= len(whole)
    found = seen(whole[:at] + piece + whole[at + drop :])
    assert isinstance(found.outcome, Outcome)
    in_body = at > whole.index(b"\r\n\r\n") + 3
    if whole is PACKED and in_body and found.page is not None:
        assert found.page.body == PAGE  # the checksum lets no other body through


def test_every_cut_of_a_whole_answer_is_seen() -> None:
    """No prefix of an answer of known length ever passes for a page."""
    for whole in (GOOD, PACKED, CHUNKED):
        for end in range(len(whole)):
            assert seen(whole[:end]).page is None
        assert seen(whole).page is not None


@given(st.binary(max_size=300))
def test_random_robots_files(data: bytes) -> None:
    verdict = judge(copy_from_status(200, data, clock()), "https://h.example/p?q=1#x")
    assert verdict.crawl_delay is None or 0 < verdict.crawl_delay <= 86400
    head = b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % len(data)
    assert seen(GOOD, head + data).outcome in {Outcome.OK, Outcome.BARRED}


@given(st.text(max_size=60))
def test_random_urls(text: str) -> None:
    for url in (text, "http://" + text, "https://shop.example/" + text):
        try:
            normal = check_url(url, Policy())
        except GuardError:
            continue
        assert check_url(normal, Policy()) == normal


@given(st.binary(max_size=60).filter(lambda data: b"\n" not in data and b"\r" not in data))
def test_random_redirects(location: bytes) -> None:
    found = seen(b"HTTP/1.1 302 X\r\nContent-Length: 0\r\nLocation: " + location + b"\r\n\r\n")
    assert found.outcome in {Outcome.BROKEN, Outcome.REFUSED, Outcome.UNREACHABLE}
