"""Settings: defaults, the user's `ebbmark.toml` over them, `EBBMARK_*` over that.

Read with the standard library: a settings framework costs more start-up time
than all the rest of a command (docs/decisions.md).
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from ipaddress import ip_network
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import InputError
from service.model.countries import read_country
from service.model.money import Money, parse_currency, parse_money
from service.model.quiet import Quiet, parse_quiet

PREFIX = "EBBMARK_"
FILE_ONLY = ("payment", "supplies", "channel", "tls")
CHANNEL_KINDS = ("log", "webhook", "mail", "apprise")


@dataclass(frozen=True, slots=True)
class Payment:
    """What paying abroad costs: `markup` a fraction of the sum, `fee` per order."""

    markup: Decimal = Decimal(0)
    fee: Money | None = None


@dataclass(frozen=True, slots=True)
class WorkshopSupplies:
    """What workshop supplies count for a build that uses some: a sum, or a part of the rest."""

    flat: Money | None = None
    percent: Decimal | None = None  # a fraction


@dataclass(frozen=True, slots=True, repr=False)
class ChannelSettings:
    """One way to tell the user. Its options may hold secrets and are never shown."""

    name: str
    kind: str
    options: Mapping[str, str]

    def __repr__(self) -> str:
        return f"ChannelSettings(name={self.name!r}, kind={self.kind!r})"


@dataclass(frozen=True, slots=True)
class Tls:
    """Files of the certificate (with its chain) and of its key, PEM."""

    certificate: str
    key: str


@dataclass(frozen=True, slots=True)
class Settings:
    """All settings; SETTINGS says what each is for."""

    db: str
    contact: str | None = None
    currency: str = "EUR"
    destination: str | None = None
    time_zone: str = "UTC"
    quiet_hours: Quiet | None = None
    language: str = "en"
    allow_hosts: frozenset[str] = frozenset()
    keep_visits_days: int = 90
    usual_days: int = 90
    import_cost: str | None = None
    workers: int = 50
    names: frozenset[str] = frozenset()
    proxies: tuple[str, ...] = ()
    tls: Tls | None = None
    payment: Payment = field(default_factory=Payment)
    supplies: WorkshopSupplies | None = None
    channels: tuple[ChannelSettings, ...] = ()
    fixed: Mapping[str, str] = field(default_factory=dict)  # by name: the file or variable


SETTINGS: tuple[tuple[str, str], ...] = (
    ("db", "database URL; a SQLite file in the user's data directory by default"),
    ("contact", "mail address or web page named to the shops; without it only loopback is visited"),
    ("currency", "ISO 4217 code in which totals are shown where a build names none"),
    ("destination", "ISO 3166 code of the country to deliver to; empty: prices count as shown"),
    ("time_zone", "IANA name; a date means its last instant there"),
    ("quiet_hours", "when nobody is told, like 22:00-07:00; what waits goes out when they end"),
    ("language", "language of pages and messages"),
    ("allow_hosts", "exact hosts, comma-separated, that may be private or loopback"),
    ("keep_visits_days", "how many days the outcomes of single visits are kept"),
    ("workers", "how many hosts are visited side by side"),
    ("names", "host names, comma-separated, under which browsers call the pages, beside loopback"),
    ("proxies", "addresses, comma-separated, of reverse proxies with TLS before the pages"),
    ("tls", "file only: { certificate, key } with the files to serve the pages by HTTPS"),
    ("usual_days", "days of price history that a usual price is taken from: 90 or 365"),
    ("import_cost", "TOML file of your own with what goods cost at the border, over the program's"),
    ("payment", "file only: { markup, fee } of the user's means of payment"),
    ("supplies", "file only: { flat } or { percent } that workshop supplies count in a build"),
    ("channel", "file only: [channel.NAME] with kind and its options"),
)


def read_setting(name: str, text: str) -> Any:
    """The value of one setting as the file would be read. InputError."""
    return _READERS[name](text)


def data_dir(env: Mapping[str, str]) -> Path:
    """Where the user's book is kept (XDG base directory specification)."""
    home = Path(env.get("HOME") or Path.home())
    return Path(env.get("XDG_DATA_HOME") or home / ".local" / "share") / "ebbmark"


def config_file(env: Mapping[str, str]) -> Path:
    """The settings file: EBBMARK_CONFIG, else in the user's configuration directory."""
    if named := env.get(PREFIX + "CONFIG"):
        return Path(named)
    home = Path(env.get("HOME") or Path.home())
    return Path(env.get("XDG_CONFIG_HOME") or home / ".config") / "ebbmark" / "ebbmark.toml"


def load_settings(env: Mapping[str, str] | None = None, *, db: str | None = None) -> Settings:
    """File and environment -> Settings. InputError names every problem at once.

    `db` (from the command line) goes over both.
    """
    env = os.environ if env is None else env
    path = config_file(env)
    found = _from_file(path, explicit=PREFIX + "CONFIG" in env)
    problems = _unknown(found, path) + _unknown_env(env)
    origin = {name: str(path) for name in found}
    for name in _SCALARS:
        if value := env.get(PREFIX + name.upper()):
            found[name] = value
            origin[name] = PREFIX + name.upper()
    if db:
        found["db"] = db
    values: dict[str, Any] = {"db": f"sqlite:///{data_dir(env) / 'ebbmark.db'}"}
    for name, raw in found.items():
        if reader := _READERS.get(name):
            try:
                values[_FIELD.get(name, name)] = reader(raw)
            except InputError as error:
                problems += [f"{origin.get(name, '--db')}: {name}: {p}" for p in error.problems]
    if problems:
        raise InputError(problems)
    return Settings(**values, fixed={name: origin.get(name, "--db") for name in found})


def _from_file(path: Path, *, explicit: bool) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        if explicit:
            raise InputError(f"{path}: no such settings file; check EBBMARK_CONFIG") from None
        return {}
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not valid TOML: {error}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None


def _unknown(found: Mapping[str, Any], path: Path) -> list[str]:
    known = ", ".join(name for name, _ in SETTINGS)
    return [
        f"{path}: {key}: no such setting; the settings are {known}"
        for key in found
        if key not in _READERS
    ]


def _unknown_env(env: Mapping[str, str]) -> list[str]:
    known = {PREFIX + name.upper() for name in _SCALARS} | {PREFIX + "CONFIG", PREFIX + "TEST_FAIL"}
    return [
        f"{name}: no such setting; the settings are {', '.join(sorted(known))}"
        for name in env
        if name.startswith(PREFIX) and name not in known
    ]


def _text(raw: Any) -> str:
    if not isinstance(raw, str) or not raw.strip():
        raise InputError(f"{raw!r} is not a text; write it in quotes")
    return raw.strip()


def _contact(raw: Any) -> str:
    text = _text(raw)
    if not re.fullmatch(r"(https?://[!-~]+|[!-~]+@[!-~]+\.[!-~]+)", text):
        raise InputError(f'"{text}" is neither a mail address nor an http(s) address')
    return text


def _country(raw: Any) -> str | None:
    if raw == "":
        return None
    return read_country(_text(raw))


def _zone(raw: Any) -> str:
    try:
        return str(ZoneInfo(_text(raw)))
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(
            f'"{raw}" is not a time zone: write its IANA name, for example Europe/Amsterdam'
        ) from None


def _hosts(raw: Any) -> frozenset[str]:
    names = raw.split(",") if isinstance(raw, str) else raw
    if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
        raise InputError('write exact host names, for example "127.0.0.1, shop.local"')
    hosts = {name.strip().lower() for name in names if name.strip()}
    if bad := [h for h in hosts if not re.fullmatch(r"[a-z0-9.\-]+|\[?[0-9a-f:.]+\]?", h)]:
        raise InputError(f"{', '.join(bad)}: exact host names only, no wildcards, no port")
    return frozenset(hosts)


def _addresses(raw: Any) -> tuple[str, ...]:
    words = raw.split(",") if isinstance(raw, str) else raw
    if not isinstance(words, list) or not all(isinstance(w, str) for w in words):
        raise InputError('write addresses, for example "192.0.2.7, 192.0.2.0/24"')
    found = tuple(word.strip() for word in words if word.strip())
    for word in found:
        try:
            ip_network(word)
        except ValueError:
            raise InputError(f'"{word}" is not an address: write it like 192.0.2.7') from None
    return found


def _tls(raw: Any) -> Tls:
    if not isinstance(raw, dict) or set(raw) != {"certificate", "key"}:
        raise InputError('write { certificate = "/path/chain.pem", key = "/path/key.pem" }')
    return Tls(_text(raw["certificate"]), _text(raw["key"]))


def _count(raw: Any) -> int:
    if isinstance(raw, bool) or not re.fullmatch("[0-9]{1,6}", str(raw)) or int(raw) < 1:
        raise InputError(f"{raw!r} is not a whole number of at least 1")
    return int(raw)


def _usual_days(raw: Any) -> int:
    if str(raw) not in ("90", "365") or isinstance(raw, bool):
        raise InputError(f"{raw!r}: a usual price is taken from 90 or 365 days")
    return int(raw)


def _percent(raw: Any) -> Decimal:
    match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?) ?%", str(raw))
    if not match:
        raise InputError(f'{raw!r} is not a percentage: write it like "1.5 %"')
    return Decimal(match[1]) / 100


def _payment(raw: Any) -> Payment:
    if not isinstance(raw, dict) or set(raw) - {"markup", "fee"}:
        raise InputError('write { markup = "1.5 %", fee = "0.30 EUR" }')
    markup = _percent(raw["markup"]) if "markup" in raw else Decimal(0)
    return Payment(markup, parse_money(_text(raw["fee"])) if "fee" in raw else None)


def _supplies(raw: Any) -> WorkshopSupplies:
    if not isinstance(raw, dict) or len(raw) != 1 or set(raw) - {"flat", "percent"}:
        raise InputError('write { flat = "8.00 EUR" } or { percent = "5 %" }')
    if "flat" in raw:
        return WorkshopSupplies(flat=parse_money(_text(raw["flat"])))
    return WorkshopSupplies(percent=_percent(raw["percent"]))


def _channels(raw: Any) -> tuple[ChannelSettings, ...]:
    if not isinstance(raw, dict):
        raise InputError("write a table [channel.NAME] for each channel")
    return tuple(_channel(name, options) for name, options in raw.items())


def _channel(name: str, options: Any) -> ChannelSettings:
    if not isinstance(options, dict) or options.get("kind") not in CHANNEL_KINDS:
        raise InputError(f"{name}: kind must be one of {', '.join(CHANNEL_KINDS)}")
    rest = {key: str(value) for key, value in options.items() if key != "kind"}
    if options["kind"] == "webhook" and not rest.get("url", "").startswith(("http://", "https://")):
        raise InputError(f'{name}: a webhook needs url = "https://..."')
    needed = {"mail": ("host", "sender", "to"), "apprise": ("url",)}.get(options["kind"], ())
    if missing := [key for key in needed if not rest.get(key)]:
        raise InputError(f"{name}: {', '.join(missing)} missing")
    return ChannelSettings(name, options["kind"], rest)


_READERS: dict[str, Callable[[Any], Any]] = {
    "db": _text,
    "contact": _contact,
    "currency": lambda raw: parse_currency(_text(raw)),
    "destination": _country,
    "time_zone": _zone,
    "quiet_hours": lambda raw: parse_quiet(raw if raw == "" else _text(raw)),
    "language": _text,
    "allow_hosts": _hosts,
    "keep_visits_days": _count,
    "usual_days": _usual_days,
    "import_cost": _text,
    "workers": _count,
    "names": _hosts,
    "proxies": _addresses,
    "tls": _tls,
    "payment": _payment,
    "supplies": _supplies,
    "channel": _channels,
}
_FIELD = {"channel": "channels"}
_SCALARS = tuple(name for name in _READERS if name not in FILE_ONLY)

if {_FIELD.get(name, name) for name, _ in SETTINGS} != {f.name for f in fields(Settings)} - {
    "fixed"
}:
    raise RuntimeError("SETTINGS and Settings disagree")  # pragma: no cover
