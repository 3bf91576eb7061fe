"""A setting's value as the file or the environment gives it, to what it means."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from ipaddress import ip_network
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import InputError
from service.model.countries import read_country
from service.model.money import parse_currency, parse_money
from service.model.quiet import parse_quiet
from service.settings.shapes import ChannelSettings, Payment, Tls, WorkshopSupplies

CHANNEL_KINDS = ("log", "webhook", "mail", "apprise")


def read_setting(name: str, text: str) -> Any:
    """The value of one setting as the file would be read. InputError."""
    return READERS[name](text)


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


READERS: dict[str, Callable[[Any], Any]] = {
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
