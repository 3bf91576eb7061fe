"""robots.txt by RFC 9309.

data/robots_cases.json: 95 cases of google/robotstxt (robots_test.cc at 22b355ff,
Apache-2.0) and 11 of RFC 9309 section 5, each with its source.
"""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from fetch_lab import DATA, NOW

from scrapers.robots import MAX_AGE, clean, copy_from_status, is_fresh, judge, robots_url

if TYPE_CHECKING:
    from scrapers import RobotsCopy

CASES = json.loads((DATA / "robots_cases.json").read_text())


def rules(text: str | bytes) -> RobotsCopy:
    body = text if isinstance(text, bytes) else text.encode()
    return copy_from_status(200, body, NOW)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_published_case(case: dict[str, str]) -> None:
    verdict = judge(rules(case["robots_txt"]), case["url"], case["user_agent"])
    assert verdict.allowed is case["allowed"]


def test_there_are_106_published_cases() -> None:
    assert len(CASES) == 106


def test_the_cases_can_fail() -> None:
    """With every line kept, one published case goes wrong: the lines we drop matter."""
    from protego import Protego

    case = next(c for c in CASES if c["id"] == "rb016")
    assert Protego.parse(case["robots_txt"]).can_fetch(case["url"], case["user_agent"])


@pytest.mark.parametrize(
    ("status", "state", "allowed"),
    [
        (200, "rules", True),
        (404, "allow", True),  # RFC 9309 2.3.1.3: unavailable, all is allowed
        (410, "allow", True),
        (400, "allow", True),
        (401, "barred", False),  # stricter than the RFC: the host says no
        (403, "barred", False),
        (429, "throttled", False),  # stricter than the RFC: taken like a server error
        (500, "unreachable", False),  # 2.3.1.4: complete disallow
        (503, "unreachable", False),
        (599, "unreachable", False),
    ],
)
def test_what_a_status_means(status: int, state: str, allowed: bool) -> None:
    copy = copy_from_status(status, b"", NOW)
    assert copy.state == state
    assert judge(copy, "https://shop.example/p").allowed is allowed


def test_a_copy_holds_for_24_hours() -> None:
    """RFC 9309 section 2.4."""
    assert timedelta(hours=24) == MAX_AGE
    copy = rules("")
    assert is_fresh(copy, NOW + timedelta(hours=24))
    assert not is_fresh(copy, NOW + timedelta(hours=24, seconds=1))
    assert not is_fresh(copy, NOW - timedelta(seconds=1))  # a clock set back proves nothing


@pytest.mark.parametrize("status", [429, 500, 503])
def test_a_failure_is_never_kept(status: int) -> None:
    assert not is_fresh(copy_from_status(status, b"", NOW), NOW)


@pytest.mark.parametrize("ending", ["\n", "\r", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_mark(ending: str, mark: bytes) -> None:
    text = ending.join(["User-agent: *", "Disallow: /p"])
    assert not judge(rules(mark + text.encode()), "https://shop.example/p").allowed


def test_our_token_is_matched_without_case_and_before_the_star() -> None:
    """RFC 9309 section 2.2.1."""
    text = "User-agent: *\nDisallow: /\n\nUser-agent: EbbMark\nDisallow: /cart\n"
    assert judge(rules(text), "https://shop.example/p").allowed
    assert not judge(rules(text), "https://shop.example/cart").allowed


def test_only_the_first_500_kib_count() -> None:
    """RFC 9309 section 2.5: at least 500 KiB are parsed."""
    filler = b"# filler\n" * (500 * 1024 // 9)
    before = b"User-agent: *\nDisallow: /a\n" + filler
    assert not judge(rules(before + b"Disallow: /b\n"), "https://shop.example/a").allowed
    assert judge(rules(before + b"\n" * 20 + b"Disallow: /b\n"), "https://shop.example/b").allowed
    within = b"User-agent: *\n" + b"# filler\n" * 50_000 + b"Disallow: /late\n"
    assert len(within) < 500 * 1024
    assert not judge(rules(within), "https://shop.example/late").allowed


@pytest.mark.parametrize(
    ("lines", "delay"),
    [
        ("Crawl-delay: 5", 5.0),
        ("crawl-delay: 0.5", 0.5),
        ("Crawl-delay: 86400", 86400.0),
        ("Crawl-delay: 1e9", 86400.0),  # at most a day
        ("Crawl-delay: -1", None),
        ("Crawl-delay: nan", None),
        ("Crawl-delay: inf", None),
        ("Crawl-delay: soon", None),
        ("Request-rate: 1/30", 30.0),
        ("Request-rate: 1/2m\nCrawl-delay: 7", 120.0),  # the slower of the two
        ("Request-rate: " + "9" * 400 + "/" + "9" * 300, 1.0),
        ("Disallow:", None),
    ],
)
def test_crawl_delay(lines: str, delay: float | None) -> None:
    found = judge(rules(f"User-agent: *\n{lines}\n"), "https://shop.example/p").crawl_delay
    assert found == delay


@pytest.mark.parametrize(
    "text",
    [
        "<!doctype html><html><title>Not found</title><body>User-agent: *</body></html>",
        "\x00\x00\x00",
        "Disallow: /\n",  # a rule without a group binds nobody
        "User-agent: *\nNoindex: /\n",
    ],
)
def test_what_holds_no_rule_allows(text: str) -> None:
    assert judge(rules(text), "https://shop.example/p").allowed


def test_hostile_patterns_take_no_time() -> None:
    import time

    text = "User-agent: *\n" + ("Disallow: /" + "*a" * 500 + "*b\n") * 400
    url = "https://shop.example/" + "a" * 2000
    start = time.process_time()
    assert judge(rules(text), url).allowed
    assert time.process_time() - start < 2.0


def test_clean_keeps_what_means_something() -> None:
    text = "Sitemap: https://shop.example/s.xml\nUser-agent: a\nHost: x\nDisallow: /\n"
    assert clean(text.encode()) == "User-agent: a\nDisallow: /"


def test_where_it_stands() -> None:
    assert robots_url("https://shop.example:8443/a/b?c") == "https://shop.example:8443/robots.txt"
