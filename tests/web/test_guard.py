"""Host names, cross-site requests, links and redirects, exposure: pure checks.

Sources: OWASP Cross-Site Request Forgery Prevention cheat sheet (fetch metadata with a
fallback to Origin); OWASP ASVS 5.0, 3.5.1 to 3.5.3 and 6.3.2; RFC 9110, section 7.2 (Host).
"""

from __future__ import annotations

import pytest

from service.errors import InputError
from service.web.exposure import Exposure, check_exposure, is_loopback
from service.web.guard import LOOPBACK_NAMES, from_here, host_allowed, local_path, safe_link

NAMES = LOOPBACK_NAMES | {"bench.local"}

HOSTS = {
    "127.0.0.1": True,
    "127.0.0.1:8720": True,
    "localhost": True,
    "LocalHost:80": True,
    "[::1]": True,
    "[::1]:8720": True,
    "bench.local": True,
    "bench.local:443": True,
    "evil.example": False,
    "127.0.0.1.evil.example": False,
    "localhost.evil.example": False,
    "evil.example#localhost": False,
    "localhost@evil.example": False,
    "user@localhost": False,
    "localhost:": False,
    "localhost:99999999": False,
    "localhost, evil.example": False,
    "127.1": False,
    "0.0.0.0": False,
    "::1": False,
    "localhost.": False,
    " localhost": False,
    "": False,
}


@pytest.mark.parametrize(("header", "right"), HOSTS.items())
def test_only_known_hosts_are_served(header: str, right: bool) -> None:
    assert host_allowed(header, NAMES) is right


def test_a_missing_host_is_no_host() -> None:
    assert not host_allowed(None, NAMES)


@pytest.mark.parametrize(
    ("headers", "right"),
    [
        ({"sec-fetch-site": "same-origin"}, True),
        ({"sec-fetch-site": "none"}, True),
        ({"sec-fetch-site": "cross-site"}, False),
        ({"sec-fetch-site": "same-site"}, False),
        ({"sec-fetch-site": "cross-site", "origin": "http://localhost:8720"}, False),
        ({"origin": "http://localhost:8720"}, True),
        ({"origin": "https://localhost:8720"}, False),
        ({"origin": "http://localhost:9999"}, False),
        ({"origin": "http://evil.example"}, False),
        ({"origin": "null"}, False),
        ({"origin": "http://[bad"}, False),
        ({"origin": ""}, False),
        ({}, True),  # a browser of today tells; the token decides
    ],
)
def test_changes_come_from_our_own_pages(headers: dict[str, str], right: bool) -> None:
    host = {"host": "localhost:8720"}
    for method in ("POST", "PUT", "PATCH", "DELETE"):
        assert from_here(method, {**host, **headers}, "http") is right
    assert from_here("GET", {**host, **headers}, "http")


@pytest.mark.parametrize(
    "url",
    [
        "javascript:alert(1)",
        "JaVaScRiPt:alert(1)",
        "java\tscript:alert(1)",
        "\x01javascript:alert(1)",
        "data:text/html;base64,PHNjcmlwdD4=",
        "//evil.example/x",
        "/relative",
        "ftp://shop.example/",
        "http://",
        "http://[bad",
        "https://shop.example/a b",
        "",
        None,
    ],
)
def test_links_lead_nowhere_but_to_http(url: str | None) -> None:
    assert safe_link(url) is None


def test_good_links_stay_as_they_are() -> None:
    url = "https://shop.example/p/4s?x=1&y=2#a"
    assert safe_link(url) == url


@pytest.mark.parametrize(
    ("path", "goes"),
    [
        ("/parts/a", "/parts/a"),
        ("/builds/x?at=2026-11-24", "/builds/x?at=2026-11-24"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("https://evil.example", "/"),
        ("/a\r\nSet-Cookie: x=1", "/"),
        ("", "/"),
        (None, "/"),
    ],
)
def test_after_a_form_only_our_own_pages(path: str | None, goes: str) -> None:
    assert local_path(path) == goes


NAMED = frozenset({"bench.local"})
EXPOSURES = [
    (Exposure(), [], True),
    (Exposure("::1"), [], True),
    (Exposure("localhost"), ["ada"], True),
    (Exposure("0.0.0.0", NAMED), [], False),
    (Exposure("0.0.0.0", NAMED), ["ada"], False),
    (Exposure("0.0.0.0", NAMED, tls=True), [], False),
    (Exposure("0.0.0.0", NAMED, tls=True), ["ada"], True),
    (Exposure("192.0.2.5", NAMED, behind_proxy=True), ["ada"], False),
    (Exposure("192.0.2.5", NAMED, behind_proxy=True, proxies=("192.0.2.1",)), ["ada"], True),
    (Exposure("192.0.2.5", NAMED, behind_proxy=True, proxies=("everyone",)), ["ada"], False),
    (Exposure("127.0.0.1", NAMED, behind_proxy=True, proxies=("127.0.0.1",)), [], False),
    (Exposure("127.0.0.1", NAMED, behind_proxy=True, proxies=("127.0.0.1",)), ["ada"], True),
    (Exposure("0.0.0.0", tls=True), ["ada"], False),
]


@pytest.mark.parametrize(("exposure", "accounts", "right"), EXPOSURES)
def test_exposed_only_with_account_and_cover(
    exposure: Exposure, accounts: list[str], right: bool
) -> None:
    if right:
        check_exposure(exposure, accounts)
        return
    with pytest.raises(InputError) as refusal:
        check_exposure(exposure, accounts)
    assert refusal.value.problems


@pytest.mark.parametrize(
    ("host", "right"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("[::1]", True),
        ("10.0.0.1", False),
        ("bench.local", False),
    ],
)
def test_loopback_by_address(host: str, right: bool) -> None:
    assert is_loopback(host) is right
