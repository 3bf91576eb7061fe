"""What goods that pass customs cost there, by dated rules: an estimate, with its source.

The rules stand in `service/data/import_cost.toml`, explained there; a file of the user's own
of the same form goes over them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

from service.builds.cents import to_cents
from service.builds.tax import in_union, standard_rate
from service.errors import InputError
from service.model.money import Money, parse_decimal, parse_money

UNION = "EU"


@dataclass(frozen=True, slots=True)
class Border:
    """What holds at a country's border on a day.

    `up_to`: value of the goods alone in `currency`, up to which `a_group` for each tariff
    group is the duty; above it `percent` (or the group's own) of goods and delivery.
    `tax` in percent of goods, delivery and duty. None: not known (`up_to`: no such limit).
    """

    to: str
    start: date
    currency: str
    source: str
    checked: date
    up_to: Decimal | None = None
    a_group: Decimal = Decimal(0)
    percent: Decimal | None = None
    by_group: Mapping[str, Decimal] = field(default_factory=dict)
    tax: Decimal | None = None
    handling: Money | None = None
    not_under: Money | None = None

    def rate_of(self, group: str) -> Decimal | None:
        """The ordinary duty of a tariff group in percent."""
        return self.by_group.get(group, self.percent)


@dataclass(frozen=True, slots=True)
class Consignment:
    """What passes the border at once. `goods` by tariff group and `delivery` in the build's
    currency, `value` of all goods in the border's.
    """

    goods: Mapping[str, Fraction]
    delivery: Fraction
    value: Fraction


@dataclass(frozen=True, slots=True)
class ImportCost:
    """Duty, tax and the carrier's fee, each rounded to cents. `unknown`: what is not known."""

    duty: Decimal
    tax: Decimal
    handling: Decimal
    within: bool  # the value is within the rule's limit
    unknown: str = ""

    @property
    def total(self) -> Decimal:
        return self.duty + self.tax + self.handling


def import_cost(
    border: Border, sent: Consignment, currency: str, rates: Mapping[str, Fraction]
) -> ImportCost:
    """The cost at the border in `currency`. `rates`: units of it for one of another currency.

    Flat duty counts each tariff group once however many pieces there are (Council Regulation
    (EU) 2026/382); the limit looks at the goods alone, delivery left out (Commission's import
    scheme examples). Ordinary duty on delivery is taken at the rule's own percentage.
    """
    within = border.up_to is not None and sent.value <= Fraction(border.up_to)
    duty, unknown = _duty(border, sent, rates, within=within)
    base = sum(sent.goods.values(), Fraction(0)) + sent.delivery
    rounded = to_cents(duty, currency)
    tax = to_cents((base + Fraction(rounded)) * Fraction(border.tax or 0) / 100, currency)
    handling = to_cents(_in(border.handling, rates), currency)
    charged = rounded + tax
    if charged < to_cents(_in(border.not_under, rates), currency) or not charged:
        nothing = to_cents(Fraction(0), currency)
        return ImportCost(nothing, nothing, nothing, within, unknown)
    return ImportCost(rounded, tax, handling, within, unknown)


def _duty(
    border: Border, sent: Consignment, rates: Mapping[str, Fraction], *, within: bool
) -> tuple[Fraction, str]:
    if within:
        return len(sent.goods) * _in(Money(border.a_group, border.currency), rates), ""
    duty = sent.delivery * Fraction(border.percent or 0) / 100
    lacking = []
    for group, value in sent.goods.items():
        rate = border.rate_of(group)
        if rate is None:
            lacking.append(group)
        duty += value * Fraction(rate or 0) / 100
    return duty, f"duty of {', '.join(sorted(lacking))}" if lacking else ""


def _in(money: Money | None, rates: Mapping[str, Fraction]) -> Fraction:
    if money is None:
        return Fraction(0)
    return Fraction(money.amount) * rates[money.currency]


def border_of(country: str | None, day: date, own: str = "") -> Border | None:
    """The rule of a country on a day; None where none is known. `own`: the user's file."""
    if country is None:
        return None
    data = _read(own)
    keys = (country, UNION) if in_union(country) else (country,)
    row = next((found for key in keys if (found := _newest(data, key, day))), None)
    if row is None:
        return None
    extra: dict[str, Any] = {}
    for key in reversed(keys):
        extra |= data["country"].get(key, {})
    by_group: dict[str, Decimal] = {}
    for key in reversed(keys):
        by_group |= {name: _number(text) for name, text in data["duty"].get(key, {}).items()}
    return Border(
        to=row["to"],
        start=row["from"],
        currency=row["currency"],
        source=row["source"],
        checked=row.get("checked", data["checked"]),
        up_to=_maybe(row.get("up_to")),
        a_group=_number(row.get("a_group", "0")),
        percent=_maybe(row.get("percent")),
        by_group=by_group,
        tax=_maybe(extra.get("tax")) if "tax" in extra else standard_rate(country, day),
        handling=parse_money(extra["handling"]) if "handling" in extra else None,
        not_under=parse_money(extra["not_under"]) if "not_under" in extra else None,
    )


def _newest(data: Mapping[str, Any], key: str, day: date) -> Mapping[str, Any] | None:
    rows = [
        row
        for row in data["rule"]
        if row["to"] == key and row["from"] <= day <= row.get("until", date.max)
    ]
    return max(rows, key=lambda row: (row["from"], row["own"]), default=None)


@cache
def _builtin() -> dict[str, Any]:
    text = (files("service.data") / "import_cost.toml").read_text(encoding="utf-8")
    return _checked(tomllib.loads(text), own=False)


@lru_cache(maxsize=4)
def _read(own: str) -> dict[str, Any]:
    if not own:
        return _builtin()
    data, over = _builtin(), parse_rules(own)
    country = dict(data["country"])
    for key, row in over["country"].items():
        country[key] = country.get(key, {}) | row
    duty = {key: data["duty"].get(key, {}) | row for key, row in over["duty"].items()}
    return {
        "checked": data["checked"],
        "rule": [*data["rule"], *over["rule"]],
        "country": country,
        "duty": data["duty"] | duty,
    }


ROW = {"to", "from", "until", "currency", "up_to", "a_group", "percent", "source", "checked"}
EXTRA = {"handling", "not_under", "tax"}


def parse_rules(text: str) -> dict[str, Any]:
    """The user's file. InputError names every problem and what to write."""
    try:
        return _checked(tomllib.loads(text), own=True)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"import_cost: not valid TOML: {error}") from None


def _checked(data: dict[str, Any], *, own: bool) -> dict[str, Any]:
    problems = [f"import_cost: {key}: no such table" for key in data if key not in _TABLES]
    rows, country = data.get("rule", []), data.get("country", {})
    duty = data.get("duty", {})
    for number, row in enumerate(rows, 1):
        problems += [f"import_cost: rule {number}: {text}" for text in _wrong_row(row)]
    for key, row in country.items():
        problems += [f"import_cost: country.{key}: {text}" for text in _wrong_extra(row)]
    for key, row in duty.items():
        problems += [
            f'import_cost: duty.{key}.{name}: write a percentage such as "2.7"'
            for name, value in row.items()
            if not _is_number(value)
        ]
    if problems:
        raise InputError(problems)
    checked = data.get("checked", date.min)
    made = [{"source": "your own rule", "checked": checked, **row, "own": own} for row in rows]
    return {"checked": checked, "rule": made, "country": country, "duty": duty}


_TABLES = ("checked", "rule", "country", "duty")


def _wrong_row(row: Mapping[str, Any]) -> list[str]:
    found = [f"{key}: no such key" for key in row if key not in ROW]
    found += [f"{key} is missing" for key in ("to", "from", "currency") if key not in row]
    days = (row.get("from", date.min), row.get("until", date.max))
    if not all(type(day) is date for day in days):
        found.append("write days such as from = 2026-07-01")
    found += [
        f'{key}: write a number such as "150"'
        for key in ("up_to", "a_group", "percent")
        if key in row and not _is_number(row[key])
    ]
    return found


def _wrong_extra(row: Mapping[str, Any]) -> list[str]:
    found = [f"{key}: no such key" for key in row if key not in EXTRA]
    if "tax" in row and not _is_number(row["tax"]):
        found.append('tax: write a percentage such as "21"')
    for key in ("handling", "not_under"):
        try:
            parse_money(str(row.get(key, "1 EUR")))
        except InputError as error:
            found.append(f"{key}: {error}")
    return found


def _is_number(value: Any) -> bool:
    try:
        return isinstance(value, str) and parse_decimal(value, "") >= 0
    except InputError:
        return False


def _number(text: str) -> Decimal:
    return parse_decimal(text, f'"{text}" is not a number')


def _maybe(text: str | None) -> Decimal | None:
    return None if text is None else _number(text)
