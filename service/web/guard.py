"""What a request must look like before anything else happens. Pure.

The threats: a foreign page in the user's browser that posts to the loopback
address, and a name that is rebound to it (OWASP Cross-Site Request Forgery
Prevention cheat sheet; ASVS 5.0, 3.5.1 to 3.5.3).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final
from urllib.parse import urlsplit

LOOPBACK_NAMES: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
BODY_LIMIT: Final = 5 * 1024 * 1024  # bytes

CSP: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; manifest-src 'self'; form-action 'self'; "
    "base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
)
HEADERS: Final = (
    (b"content-security-policy", CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)

_HOST = re.compile(r"(\[[0-9a-f:.]{2,45}\]|[a-z0-9]([a-z0-9.-]{0,251}[a-z0-9])?)(?::([0-9]{1,5}))?")


def host_allowed(header: str | None, names: frozenset[str]) -> bool:
    """Whether a Host header names this service; the port may be any."""
    match = _HOST.fullmatch((header or "").lower())
    return match is not None and match[1] in names


def from_here(method: str, headers: Mapping[str, str], scheme: str) -> bool:
    """Whether a change comes from our own pages, as far as the browser tells.

    `headers` with lower-case names. True also where it tells nothing: the
    token decides then (a browser of today always tells).
    """
    if method in SAFE_METHODS:
        return True
    if site := headers.get("sec-fetch-site"):
        return site in {"same-origin", "none"}
    origin = headers.get("origin")
    return origin is None or _is_own(origin, headers.get("host", ""), scheme)


def _is_own(origin: str, host: str, scheme: str) -> bool:
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme == scheme and parts.netloc.lower() == host.lower() != ""


def safe_link(url: str | None) -> str | None:
    """The address if a link may lead there (http and https only), else None."""
    if not url or not url.isascii() or any(c.isspace() or ord(c) < 32 for c in url):
        return None
    try:
        parts = urlsplit(url)
    except ValueError:
        return None
    return url if parts.scheme in {"http", "https"} and parts.netloc else None


def local_path(path: str | None) -> str:
    """Where to go on after a form: a path of ours, never another origin."""
    if not path or not re.fullmatch(r"/(?![/\\])[^\s\\]{0,500}", path) or not path.isprintable():
        return "/"
    return path
