"""Whether the price holds value added tax: what stands beside it, or what the page says."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from enum import Enum
from itertools import islice

import re2

from scrapers.model import Tax
from scrapers.readers import labels
from scrapers.reconcile.court import Court, Verdict

MAX_TEXT = 60_000
_SIGNS = re2.compile(
    r"(?i)vat|tax|gst|mwst|mehrwertsteuer|ust\b|btw|tva|ttc|iva|moms|dph|netto|brutto|steuern|impost|"
    r"tasse|impuesto|mva|podat|税"
)
MAX_SIGNS = 40
_BEFORE = re.compile(r"(\d[\d.,]*\d|\d)\D{0,6}$")
_AFTER = re.compile(r"^\D{0,6}?(\d[\d.,]*\d|\d)(?!\s*%)")
_ASSUMED = {"with-tax": Tax.INCLUDED, "without-tax": Tax.EXCLUDED}


def tax_of(
    court: Court, verdict: Verdict, text: Callable[[], str], net: Decimal | None, prices: str | None
) -> Tax:
    """The nearest word holds: at the amount, in the page's text, in the markup, the supplier's."""
    price = verdict.price
    if verdict.tax is not Tax.UNKNOWN:
        return verdict.tax
    if net is not None and price is not None and price > net and court.vat(net, price):
        return Tax.INCLUDED
    shown = words(text(), price, court)
    if shown is not Tax.UNKNOWN:
        return shown
    told = next((t.tax for t in court.told if t.tax is not Tax.UNKNOWN), Tax.UNKNOWN)
    return told if told is not Tax.UNKNOWN else _ASSUMED.get(prices or "", Tax.UNKNOWN)


def words(text: str, price: Decimal | None, court: Court) -> Tax:
    """What the page says of its prices as a whole, if it says one thing only."""
    text = text[:MAX_TEXT]
    said: set[Tax] = set()
    for match in islice(_SIGNS.finditer(text), MAX_SIGNS):
        said |= _said(text[max(0, match.start() - 45) : match.start() + 35], price, court)
    return said.pop() if len(said) == 1 else Tax.UNKNOWN


def _said(near: str, price: Decimal | None, court: Court) -> set[Tax]:
    found: set[Tax] = set()
    for pattern, tax, other in (
        (labels.GROSS, Tax.INCLUDED, Tax.EXCLUDED),
        (labels.NET, Tax.EXCLUDED, Tax.INCLUDED),
    ):
        for match in pattern.finditer(near):
            own = _own(near[: match.start()], near[match.end() :], price, court)
            found |= {tax if own is _Whose.OURS else other}
    return found


class _Whose(Enum):
    OURS = 1
    ITS_NET_OR_GROSS = 2


def _own(before: str, after: str, price: Decimal | None, court: Court) -> _Whose:
    """Whose a tax word is: our price's, that of the same price on the other side of the tax.

    A word that trails an amount of another kind (a saving, the old price, "1 m") speaks of
    the page's prices; one that leads another amount ("Ex Tax: 6.00") of the price before it.
    """
    leads = after.lstrip().startswith(":")  # "Ex Tax: 6.00" speaks of what follows
    held = _AFTER.match(after) if leads else _BEFORE.search(before) or _AFTER.match(after)
    if held is None or price is None:
        return _Whose.OURS
    amount = _plain(held[1])
    if amount is None or court.same(amount, price) or court.same(amount, court.shown.list_price):
        return _Whose.OURS
    by_tax = leads or court.vat(amount, price) or court.vat(price, amount)
    return _Whose.ITS_NET_OR_GROSS if by_tax else _Whose.OURS


def _plain(text: str) -> Decimal | None:
    """The amount in digits with or without cents; separators of thousands dropped."""
    whole, cents = (text[:-3], text[-2:]) if text[-3:-2] in (".", ",") else (text, "")
    digits = re.sub(r"\D", "", whole)
    return Decimal(f"{digits}.{cents or 0}") if digits else None
