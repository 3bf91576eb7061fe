"""Choices in sight that name their prices each: the range around the price, or the price itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from scrapers.model import Evidence, Source
from scrapers.readers import chips, ordering
from scrapers.readers.dom import Doc
from scrapers.readers.dropdown import Choices
from scrapers.readers.visible import View
from scrapers.reconcile.court import CHOICE_NEEDED, ZERO, Court, Verdict
from scrapers.reconcile.subject import Subject

SELECTED = "the choice that the page's list shows first"


def by_list(doc: Doc, verdict: Verdict, listed: Choices, view: View, court: Court) -> Verdict:
    """The verdict beside a drop-down list of whole prices.

    The list gives the range; where the price is open, the choice in its field is the price, as a
    visitor sees it, and a prompt there ("please choose") leaves the choice to the visitor.
    """
    prices = {one.price for one in listed.all if one.price is not None}
    if len(prices) < 2:
        return verdict
    if verdict.price is not None:
        return _ranged(verdict, prices)
    open_ = verdict.doubt in (None, CHOICE_NEEDED, ZERO) or _each_of(prices, verdict, court)
    chosen = listed.chosen
    if not open_ or listed.node is None or not ordering.shares_box(doc, listed.node):
        return verdict
    money = next((c.currency for c in listed.all if c.currency), None) or verdict.currency
    open_range = replace(
        verdict, currency=money, source=Source.VISIBLE, low=min(prices), high=max(prices),
        doubt=CHOICE_NEEDED,
    )  # fmt: skip
    if chosen is None or chosen.price is None:
        view.proofs = (*view.proofs, *_proofs(listed))
        return open_range
    said = Evidence("visible", "price", f"{chosen.name}: {chosen.price}", listed.where)
    view.proofs = (*view.proofs, said)
    return replace(open_range, price=chosen.price, doubt=None, note=SELECTED)


def _proofs(listed: Choices) -> list[Evidence]:
    """The ends of the list, as they stood."""
    ends = sorted((c for c in listed.all if c.price is not None), key=lambda c: c.price or 0)
    named = (("low", ends[0]), ("high", ends[-1]))
    return [Evidence("visible", n, f"{c.name}: {c.price}", listed.where) for n, c in named]


def beside(page: Subject, view: View, verdict: Verdict) -> Verdict:
    """The range that labels or buttons beside the chosen one tell."""
    if verdict.price is None or verdict.doubt or verdict.low is not None:
        return verdict
    prices = chips.prices(
        page.doc, view.places, view.seen, page.locale, verdict.currency, verdict.price
    )
    return _ranged(verdict, prices)


def _ranged(verdict: Verdict, prices: Iterable[Decimal]) -> Verdict:
    held, told = {*prices}, verdict.low is not None and verdict.high is not None
    if verdict.doubt or told or verdict.price not in held or len(held) < 2:
        return verdict
    return replace(verdict, low=min(held), high=max(held))


def _each_of(prices: set[Decimal], verdict: Verdict, court: Court) -> bool:
    """Whether markup and page name two prices that are both in the list: two of its choices."""
    now = court.shown.now
    if now is None or " says " not in (verdict.doubt or ""):
        return False
    stated = {t.price for t in court.told if t.price is not None}
    return now.amount in prices and stated <= prices
