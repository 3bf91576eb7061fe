"""How numbers, times and amounts look on a page. Pure; input as the API gives it (texts)."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from decimal import Decimal, InvalidOperation
from typing import Final
from zoneinfo import ZoneInfo

from babel.numbers import get_currency_symbol

from service.exchange.texts import MANY

NARROW: Final = "\u202f"  # narrow no-break space
MINUS: Final = "\u2212"
_PLAIN: Final = re.compile(r"(-?)([0-9]{1,40})((?:\.[0-9]*)?)")
UNITS: Final = {"m2": "m²", "cm2": "cm²", "mm2": "mm²", "dm2": "dm²", "ohm": "Ω", "um": "µm"}


def number(text: str | Decimal | None) -> str:
    """`"12345.50"` -> `12 345.50` (narrow space), digits as given; empty for None."""
    if text is None or text == "":
        return ""
    match = _PLAIN.fullmatch(str(text))
    if match is None:
        return str(text)
    whole = match[2]
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", NARROW)
    return f"{MINUS if match[1] else ''}{whole}{match[3]}"


def money(text: str | Decimal | None, currency: str | None = None) -> str:
    """With the currency's sign behind the number, as on an invoice."""
    if text is None or text == "":
        return ""
    shown = number(text)
    return f"{shown}\u00a0{sign(currency)}" if currency else shown


def sign(currency: str) -> str:
    """€ £ $ and their like; the code where the sign could be another currency's."""
    found: str = get_currency_symbol(currency, "en")
    return found if found in {"€", "£", "$", "¥"} else currency


def amount(value: str | None, unit: str | None = None) -> str:
    """`0.62`, `m2` -> `0.62 m²`; without a unit the text's own last word is one."""
    if value is None or value == "":
        return ""
    head, _, tail = str(value).rpartition(" ")
    if unit is None and head:
        value, unit = head, tail
    shown = number(trim(str(value)))
    several = {} if trim(str(value)) == "1" else MANY
    return f"{shown}\u00a0{several.get(unit, UNITS.get(unit, unit))}" if unit else shown


def unit(name: str) -> str:
    """`m2` -> `m²`."""
    return UNITS.get(name, name)


def rate(text: str | None) -> str:
    """Six significant figures, as reference rates are published (Regulation (EC) 1103/97)."""
    return "" if text is None else trim(f"{Decimal(text):.6g}")


def trim(text: str) -> str:
    """Without trailing noughts behind the point."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return text
    return f"{value.normalize():f}" if value.is_finite() else text


def when(text: str | datetime | None) -> datetime | None:
    """ISO text or a time -> aware time."""
    if text is None or text == "":
        return None
    if isinstance(text, datetime):
        return text
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def moment(text: str | datetime | None, zone: str = "UTC") -> str:
    """`24 Nov 2026, 21:40` on the user's clock."""
    found = when(text)
    if found is None:
        return ""
    local = found.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M}"


def day(text: str | date | None, zone: str = "UTC", *, year: bool = True) -> str:
    """`24 Nov 2026`."""
    found = _date(text, zone)
    if found is None:
        return ""
    return f"{found.day} {found:%b %Y}" if year else f"{found.day} {found:%b}"


def _date(text: str | date | None, zone: str) -> date | None:
    if isinstance(text, str) and len(text) == len("2026-11-24"):
        return date.fromisoformat(text)
    if isinstance(text, date) and not isinstance(text, datetime):
        return text
    at = when(text)
    return None if at is None else at.astimezone(ZoneInfo(zone)).date()


def ago(text: str | datetime | None, now: datetime) -> str:
    """`32 min ago`, `4 h ago`, `3 days ago`, `in 20 min`."""
    found = when(text)
    if found is None:
        return "never"
    seconds = (now - found).total_seconds()
    span = _span(abs(seconds))
    if span == "now":
        return "just now"
    return f"{span} ago" if seconds > 0 else f"in {span}"


def hours(text: str | float | None) -> str:
    """Hours as a person says them."""
    return "" if text is None else _span(float(text) * 3600)


def hours_ago(text: str | float | None) -> str:
    """`4 h ago`; `just now` within the minute."""
    said = hours(text)
    return "just now" if said == "now" else f"{said} ago"


def _span(seconds: float) -> str:
    if seconds < 50:
        return "now"
    if seconds < 90 * 60:
        return f"{max(1, round(seconds / 60))} min"
    if seconds < 36 * 3600:
        return f"{round(seconds / 3600)} h"
    days = round(seconds / 86400)
    return f"{days} day{'s' if days != 1 else ''}"


def percent(text: str | None) -> str:
    """`6.3` -> `6.3 %`."""
    return "" if text is None else f"{number(trim(str(text)))}\u00a0%"


def sentence(text: str) -> str:
    """With a capital letter; the rest as it is."""
    plain = text.strip()
    return plain[:1].upper() + plain[1:]


def plural(count: int, one: str, many: str | None = None) -> str:
    """`1 page`, `3 pages`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def host(url: str | None) -> str:
    """The host of an address, for people."""
    if not url:
        return ""
    return url.split("://", 1)[-1].split("/", 1)[0].removeprefix("www.")
