"""Which URLs and addresses may be asked, and how much may come back. Pure.

A URL that is not plainly right is refused, never repaired: parsers disagree
about the rest, and the disagreement is what such attacks live on. Names may be
judged here, but only the address that is connected to decides: `vet_address`
is asked for every answer of DNS, at every hop.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address
from urllib.parse import quote, urljoin

from scrapers.errors import BrokenError, GuardError

Resolver = Callable[[str, int], Awaitable[Sequence[str]]]
"""(host, port) -> addresses as text; raises OSError where the name has none."""

DEFAULT_PORTS = {"http": 80, "https": 443}

# IANA special-purpose registries (RFC 6890 and its updates), plus the translation
# and tunnel prefixes that carry an IPv4 address inside (RFC 4291 2.5.5, 6052, 8215,
# 3056, 4380), plus multicast. `ipaddress.is_global` calls several of these global.
_CLOSED_V4 = tuple(
    IPv4Network(net)
    for net in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16",
        "172.16.0.0/12", "192.0.0.0/24", "192.0.2.0/24", "192.31.196.0/24",
        "192.52.193.0/24", "192.88.99.0/24", "192.168.0.0/16", "192.175.48.0/24",
        "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "224.0.0.0/4", "240.0.0.0/4",
    )
)  # fmt: skip
_OPEN_V6 = IPv6Network("2000::/3")  # global unicast; all else is special or unassigned
_CLOSED_V6 = tuple(
    IPv6Network(net)
    for net in ("2001::/23", "2001:db8::/32", "2002::/16", "2620:4f:8000::/48", "3fff::/20")
)
# What an exactly allowed host may answer besides: this machine and private networks.
_PRIVATE_V4 = tuple(
    IPv4Network(net)
    for net in ("10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")
)
_PRIVATE_V6 = (IPv6Network("::1/128"), IPv6Network("fc00::/7"))

# RFC 6761, 6762, 7686, 8375, 9476 and the names that routers and companies use inside.
_LOCAL_SUFFIXES = frozenset(
    {"localhost", "local", "localdomain", "internal", "intranet", "private", "corp", "home",
     "lan", "arpa", "onion", "test", "invalid", "alt"}
)  # fmt: skip

_URL = re.compile(r"(?P<scheme>[A-Za-z][A-Za-z0-9+.-]*)://(?P<authority>[^/?#]*)(?P<rest>.*)")
_AUTHORITY = re.compile(r"(?P<host>\[[0-9A-Fa-f:.]+\]|[^\[\]:]+)(?::(?P<port>[0-9]{1,5}))?")
_LABEL = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?")
_QUAD = re.compile(r"(?:0|[1-9][0-9]{0,2})(?:\.(?:0|[1-9][0-9]{0,2})){3}")
_NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
_SAFE = "/?:@!$&'()*+,;=-._~%[]|"  # of a path and query, beside letters and digits
_PLAIN_PATH = re.compile(f"/[A-Za-z0-9{re.escape(_SAFE)}]*")
_FORBIDDEN = re.compile(r"[\x00-\x20\x7f-\xa0\\\u2000-\u200f\u2028-\u202e\u2060-\u206f\ufeff]")

_NOT_PUBLIC = "the address is not a public one"


@dataclass(frozen=True, slots=True)
class Policy:
    """What the owner of this machine lets us ask.

    `allow_hosts`: exact hosts that may be private or loopback, on any port.
    `allowed_only`: ask no other host at all (no contact for the User-Agent is set).
    """

    allow_hosts: frozenset[str] = frozenset()
    ports: frozenset[int] = frozenset({80, 443, 8080, 8443})
    allowed_only: bool = False
    _allowed: frozenset[str] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        cleaned = frozenset(host.strip("[]").rstrip(".").lower() for host in self.allow_hosts)
        object.__setattr__(self, "_allowed", cleaned)

    def allows(self, host: str) -> bool:
        """Whether `host` is one of the exactly allowed ones."""
        return host.strip("[]").lower() in self._allowed


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds of one visit. Times in seconds, sizes in bytes."""

    deadline: float = 30.0  # from the first lookup to the last byte, over all redirects
    connect: float = 10.0  # to an address, TLS included; a second address shares it
    first_byte: float = 20.0
    wire: int = 4 * 1024 * 1024
    decoded: int = 8 * 1024 * 1024
    header_bytes: int = 100 * 1024
    header_count: int = 200
    informational: int = 10  # responses of class 1xx before the real one
    redirects: int = 5
    addresses: int = 2
    robots: int = 500 * 1024  # RFC 9309 section 2.5


MAX_URL = 2083


@dataclass(frozen=True, slots=True)
class Target:
    """A URL taken apart once. `host` has no brackets; `port` is always given.

    `lane`: the host's key (see `host_key`). `literal`: the host is an address itself.
    """

    url: str
    scheme: str
    host: str
    port: int
    lane: str
    literal: bool

    @property
    def netloc(self) -> str:
        """Host, in brackets where it needs them, and the port where it is not the default."""
        return self.url.split("/", 3)[2]

    @property
    def path(self) -> str:
        """Path and query, as they are sent."""
        return "/" + self.url.split("/", 3)[3]

    @property
    def origin(self) -> tuple[str, str, int]:
        """Scheme, host and port (RFC 6454)."""
        return self.scheme, self.host, self.port


def check_url(url: str, policy: Policy) -> str:
    """The URL in its one normal form, or GuardError saying why it is refused."""
    return parse_url(url, policy).url


def parse_url(url: str, policy: Policy) -> Target:
    """Take a URL apart by our own strict reading. Raises GuardError."""
    if len(url) > MAX_URL:
        raise GuardError(f"the URL is longer than {MAX_URL} characters")
    if _FORBIDDEN.search(url):
        raise GuardError("the URL holds a blank, control character or backslash")
    match = _URL.fullmatch(url)
    if match is None:
        raise GuardError("not a whole URL: give it with http:// or https://")
    scheme = match["scheme"].lower()
    if scheme not in DEFAULT_PORTS:
        raise GuardError("only http and https URLs are visited")
    host, port, origin, lane, literal = _site(scheme, match["authority"])
    _judge(host, port, policy)
    return Target(origin + _path(match["rest"]), scheme, host, port, lane, literal)


@lru_cache(maxsize=2048)  # a shop has many pages
def _site(scheme: str, authority: str) -> tuple[str, int, str, str, bool]:
    """Host, port, both as a URL begins with them, lane, and whether the host is an address."""
    host, port = _authority(authority, DEFAULT_PORTS[scheme])
    default = port == DEFAULT_PORTS[scheme]
    shown = f"[{host}]" if ":" in host else host
    at = shown if default else f"{shown}:{port}"
    literal = ":" in host or _is_quad(host)
    return host, port, f"{scheme}://{at}", _lane(host, port, default=default), literal


def _lane(host: str, port: int, *, default: bool) -> str:
    shown = f"[{host}]" if ":" in host else host.removeprefix("www.")
    return shown if default else f"{shown}:{port}"


def _path(rest: str) -> str:
    if _PLAIN_PATH.fullmatch(rest):
        return rest
    path = quote(rest.partition("#")[0], safe=_SAFE)
    return path if path.startswith("/") else "/" + path


def _authority(text: str, default_port: int) -> tuple[str, int]:
    if "@" in text:
        raise GuardError("the URL holds a user name or password: remove it")
    match = _AUTHORITY.fullmatch(text)
    if match is None or "%" in text:
        raise GuardError("the host of the URL cannot be read")
    port = int(match["port"]) if match["port"] else default_port
    if not 0 < port < 65536:
        raise GuardError("the port of the URL is out of range")
    host = match["host"]
    return (_v6(host) if host.startswith("[") else _name(host)), port


def _v6(host: str) -> str:
    try:
        return str(IPv6Address(host[1:-1]))
    except ValueError as error:
        raise GuardError("the host of the URL cannot be read") from error


def _name(host: str) -> str:
    host = host.removesuffix(".").lower()
    if not host.isascii():
        host = _to_ascii(host)
    if len(host) > 253 or not all(map(_LABEL.fullmatch, host.split("."))):
        raise GuardError("the host of the URL is not a valid name")
    if "xn--" in host:
        _check_alabels(host)
    if _NUMBER.fullmatch(host.rpartition(".")[2]) and not _is_quad(host):
        raise GuardError("the host of the URL is a number that is not a plain IPv4 address")
    return host


def _is_quad(host: str) -> bool:
    return bool(_QUAD.fullmatch(host)) and all(int(part) < 256 for part in host.split("."))


def _to_ascii(host: str) -> str:
    plain = unicodedata.normalize("NFKC", host) == host
    if not plain or not all(unicodedata.category(c)[0] in "LMN" or c in "-." for c in host):
        raise GuardError("the host of the URL holds look-alike characters")
    import idna  # noqa: PLC0415  only names outside ASCII need its tables

    try:
        return idna.encode(host).decode("ascii")
    except (idna.IDNAError, UnicodeError) as error:
        raise GuardError("the host of the URL is not a valid international name") from error


def _check_alabels(host: str) -> None:
    import idna  # noqa: PLC0415  only encoded names need its tables

    try:
        idna.decode(host)
    except (idna.IDNAError, UnicodeError) as error:
        raise GuardError("the host of the URL is not a valid international name") from error


def _judge(host: str, port: int, policy: Policy) -> None:
    """Refuse by name, port or literal address what `policy` does not open."""
    if policy.allows(host):
        return
    if policy.allowed_only:
        raise GuardError("no contact is set: only hosts that the settings allow are visited")
    if port not in policy.ports:
        raise GuardError(f"port {port} is not visited")
    if _is_quad(host) or ":" in host:
        vet_address(host, host, policy)
    elif "." not in host or host.rpartition(".")[2] in _LOCAL_SUFFIXES:
        raise GuardError("the host is a local name: allow it in the settings if it is yours")


def vet_address(address: str, host: str, policy: Policy) -> str:
    """The address if `host` may be asked there, else GuardError (one text for all)."""
    try:
        public, private = _judged(address)
    except ValueError as error:
        raise GuardError(_NOT_PUBLIC) from error
    if public or (private and policy.allows(host)):
        return address
    raise GuardError(_NOT_PUBLIC)


@lru_cache(maxsize=1024)
def _judged(address: str) -> tuple[bool, bool]:
    """Whether an address is public, and whether it is private. ValueError: it is no address."""
    parsed = ip_address(address)
    return is_public(parsed), _is_private(parsed)


def is_public(address: IPv4Address | IPv6Address) -> bool:
    """Whether an address is one that any host on the Internet may have."""
    if isinstance(address, IPv4Address):
        return not any(address in net for net in _CLOSED_V4)
    return address in _OPEN_V6 and not any(address in net for net in _CLOSED_V6)


def _is_private(address: IPv4Address | IPv6Address) -> bool:
    if isinstance(address, IPv4Address):
        return any(address in net for net in _PRIVATE_V4)
    return any(address in net for net in _PRIVATE_V6)


def redirect_target(base: Target, location: bytes, policy: Policy) -> Target:
    """Where a redirect leads, vetted like a URL that a user typed.

    Raises BrokenError for what is no address, GuardError for one that may not be
    followed; also for a step down from https to http.
    """
    try:
        text = location.decode("utf-8")
    except UnicodeDecodeError:
        text = location.decode("latin-1")
    text = text.strip(" ").replace(" ", "%20")
    if _FORBIDDEN.search(text):
        raise BrokenError("the redirect's address holds a control character or backslash")
    try:
        joined = urljoin(base.url, text)
    except ValueError as error:
        raise BrokenError("the redirect's address cannot be read") from error
    target = parse_url(joined, policy)
    if base.scheme == "https" and target.scheme == "http":
        raise GuardError("the redirect leads from https to http")
    return target


def host_key(url: str) -> str:
    """The name that a host's lane has: lower case, no `www.`, port if not the default.

    Takes what `check_url` gave; raises GuardError where there is no host.
    """
    match = _URL.fullmatch(url)
    if match is None or match["scheme"].lower() not in DEFAULT_PORTS:
        raise GuardError("not a whole URL: give it with http:// or https://")
    default = DEFAULT_PORTS[match["scheme"].lower()]
    host, port = _authority(match["authority"], default)
    return _lane(host, port, default=port == default)
