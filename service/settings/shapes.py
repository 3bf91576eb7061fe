"""All settings, what each is for, and the shapes of those that are more than a word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal

from service.model.money import Money
from service.model.quiet import Quiet

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
FIELD = {"channel": "channels"}  # of Settings, where it is named otherwise


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


if {FIELD.get(name, name) for name, _ in SETTINGS} != {f.name for f in fields(Settings)} - {
    "fixed"
}:
    raise RuntimeError("SETTINGS and Settings disagree")  # pragma: no cover
