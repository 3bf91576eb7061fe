"""A second look at the page where the weighing left a price open or two amounts alike."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from scrapers.model import Source, Tax
from scrapers.readers import labels, picked, tiers
from scrapers.readers.claims import Seen
from scrapers.readers.dom import Doc
from scrapers.readers.values import rounded
from scrapers.readers.visible import View
from scrapers.reconcile.court import CHOICE_NEEDED, SEVERAL, TWO_BARE, Court, Verdict
from scrapers.reconcile.places import factors

TICKED = "a choice is ticked"


def by_breaks(
    doc: Doc,
    text: Callable[[], str],
    verdict: Verdict,
    view: View,
    court: Court,
    locale: str | None,
    hint: str | None = None,
) -> Verdict:
    """Several amounts that are one price in a table of quantities."""
    now = court.shown.now
    if verdict.source is Source.VISIBLE and now is not None:
        chosen = _of_boxes(verdict, court, now)
        if chosen is not None:
            return chosen
    if verdict.note == TWO_BARE:
        return _of_two(doc, text, verdict, view, court, locale)
    if not _asks(doc, text, verdict, view, court):
        return verdict
    several = (verdict.doubt or "").startswith((CHOICE_NEEDED, SEVERAL))
    money = verdict.currency or court.currency or hint
    amounts, more, code, proof = tiers.unnamed(
        doc, view.places, locale, money, tables=verdict.price is not None
    )
    money = money or code
    known = [m for m in view.multibuy if m.price not in amounts[:1]]  # of a row misread
    view.multibuy = tuple(dict.fromkeys((*(known if more else view.multibuy), *more)))
    if verdict.doubt == CHOICE_NEEDED and not (amounts and court.same(verdict.high, amounts[0])):
        return verdict
    if several and not amounts:
        return _by_mark(verdict, court)
    view.proofs = proof
    return _of_row(text, verdict, court, amounts, money, {m.price for m in more})


def _of_two(
    doc: Doc,
    text: Callable[[], str],
    verdict: Verdict,
    view: View,
    court: Court,
    locale: str | None,
) -> Verdict:
    """Of two bare amounts: rows of quantities, a ticked choice, columns of net and gross."""
    amounts, more, _, proof = tiers.unnamed(doc, view.places, locale, verdict.currency)
    if amounts and court.same(verdict.list_price, amounts[0]):
        view.proofs = proof
        view.multibuy = tuple(dict.fromkeys((*view.multibuy, *more)))
        return replace(verdict, price=amounts[0], list_price=None, note=None)
    ticked = _by_mark(replace(verdict, list_price=None), court)
    return ticked if ticked.note != TWO_BARE else _by_tax(text(), verdict, court)


def _asks(doc: Doc, text: Callable[[], str], verdict: Verdict, view: View, court: Court) -> bool:
    """Whether rows of quantities may change the price: it is open, cut, a row's, or without tax."""
    price = verdict.price
    if price is None:
        open_ = (verdict.doubt or "").startswith((CHOICE_NEEDED, SEVERAL))
        rows = bool(view.multibuy or view.doubts) or any(s.kind == "tier" for s in view.seen)
        return open_ or rows
    if rounded(price, court.currency) != price or price in {m.price for m in view.multibuy}:
        return True
    if court.shown.now is None and verdict.told and "<table" in doc.html:
        return True  # the markup may hold the price of the last row
    if view.doubts and verdict.source is Source.VISIBLE and "<table" in doc.html:
        return True
    return verdict.tax is not Tax.INCLUDED and "<table" in doc.html and _columns(text())


def _of_row(
    text: Callable[[], str],
    verdict: Verdict,
    court: Court,
    amounts: tuple[Decimal, ...],
    money: str | None,
    more: set[Decimal],
) -> Verdict:
    """The price of one piece by its row; with tax where a column holds it."""
    doubt = verdict.doubt or SEVERAL
    still_open = verdict.price is None and doubt.startswith((SEVERAL, CHOICE_NEEDED))
    still_open = still_open or verdict.price in more  # a row of several pieces is none of one
    if not amounts or not (still_open or court.same(verdict.price, amounts[0])):
        return verdict
    gross = (s.amount for s in court.shown.all if s.kind == "gross")
    taxed = next((a for a in (*amounts[1:], *gross) if court.vat(amounts[0], a)), None)
    with_tax = taxed is not None and _columns(text())
    price = taxed if taxed is not None and with_tax else amounts[0]
    if not still_open and not with_tax:
        return verdict
    return replace(
        verdict, price=rounded(price, money), currency=money, doubt=None, source=Source.VISIBLE,
        low=None, high=None, list_price=None, tax=Tax.INCLUDED if with_tax else verdict.tax,
    )  # fmt: skip


def _columns(text: str) -> bool:
    """Whether the page speaks of prices with tax and of prices without."""
    return bool(labels.NET.search(text) and labels.GROSS.search(text))


def _boxed(court: Court, boxes: picked.Boxes) -> set[Decimal]:
    """The prices that stand beside a radio button each."""
    plain = [s for s in court.shown.all if s.kind in ("now", "gross")]
    return {s.amount for s in plain if picked.has_box(s.node, boxes) or picked.in_button(s.node)}


def _of_boxes(verdict: Verdict, court: Court, now: Seen) -> Verdict | None:
    """Of prices beside a radio button each the ticked one; where none is a choice is needed.

    None where the price has nothing to do with such buttons.
    """
    boxes = picked.Boxes()
    boxed = _boxed(court, boxes) if court.shown.rivals else set()
    several = len(boxed) > 1
    if not (picked.has_box(now.node, boxes) or (several and picked.in_button(now.node))):
        if not several or verdict.price not in boxed:
            return None
        # the first choice, shown as the price
        listed = None if verdict.list_price in boxed else verdict.list_price
        made = replace(verdict, low=min(boxed), high=max(boxed), list_price=listed)
        return _by_mark(made, court)
    made = _by_mark(replace(verdict, list_price=None), court)
    if made.note == TICKED or not several:
        return made
    return replace(
        made, price=None, doubt=CHOICE_NEEDED, low=min(boxed), high=max(boxed), note=None
    )


def _by_mark(verdict: Verdict, court: Court) -> Verdict:
    """Of several choices with a price each the one that the page has ticked."""
    now = court.shown.now
    held = [s for s in (now, *court.shown.rivals) if s is not None and s.node is not None]
    boxes = picked.Boxes()
    ticked = {s.amount: s for s in held if picked.is_ticked(s.node, boxes)}
    if len(ticked) != 1 or len(ticked) == len({s.amount for s in held}):
        return verdict
    one = next(iter(ticked.values()))
    amounts = [s.amount for s in held]
    return replace(
        verdict, price=one.amount, currency=one.currency or court.currency, doubt=None,
        source=Source.VISIBLE, low=min(amounts), high=max(amounts), note=TICKED,
    )  # fmt: skip


def _by_tax(text: str, verdict: Verdict, court: Court) -> Verdict:
    """Two amounts without a word beside them, under columns that say net and gross."""
    net, gross = verdict.price, verdict.list_price
    if net is None or gross is None or not court.vat(net, gross):
        return verdict
    if not _columns(text):
        return _either(verdict, court)
    return replace(verdict, price=gross, list_price=None, tax=Tax.INCLUDED)


def _either(verdict: Verdict, court: Court) -> Verdict:
    """Two amounts that no name or word tells apart and a tax explains as well as a sale."""
    now = court.shown.now
    known = now is None or now.named or any(s.kind in ("saving", "list") for s in court.shown.all)
    if known or len(factors(court.currency, court.country)) > FEW_RATES:
        return verdict
    doubt = f"{SEVERAL}: {verdict.price}, {verdict.list_price}"
    return replace(verdict, price=None, list_price=None, doubt=doubt)


FEW_RATES = 2  # without a country the euro has so many that any two amounts fit


def with_options(doc: Doc, verdict: Verdict, court: Court) -> Verdict:
    """The price in sight holds an option that is chosen beforehand, the markup does not."""
    now = court.shown.now
    if now is None or verdict.price is not None or not (verdict.doubt or "").count(" says "):
        return verdict
    more = {now.amount - t.price for t in court.told if t.priced and t.price}
    for extra in more:
        whole, cents = divmod(extra * 100, 100)
        added = rf"\+\s?[^\d\s<]{{0,5}}\s?{whole}[.,]{int(cents):02}(?!\d)"
        if 0 < extra < now.amount and re.search(added, doc.html):
            return replace(
                verdict, price=now.amount, currency=now.currency or court.currency,
                doubt=None, source=Source.VISIBLE, note="an option is chosen beforehand",
            )  # fmt: skip
    return verdict
