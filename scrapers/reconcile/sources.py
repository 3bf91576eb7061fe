"""What is weighed: markup source by source, the amounts in sight, the page's table of choices."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial

from scrapers.model import Choice
from scrapers.readers import meta, microdata, said, state, tiers, visible, was
from scrapers.readers.claims import Product, Seen
from scrapers.readers.statemoney import MANY
from scrapers.readers.titles import without_shop
from scrapers.readers.values import around, minor_units, rounded
from scrapers.reconcile.court import Court
from scrapers.reconcile.places import CURRENCY_OF, dollars, likely_factors
from scrapers.reconcile.sellers import of_seller
from scrapers.reconcile.shown import Shown, show
from scrapers.reconcile.subject import Subject
from scrapers.reconcile.tell import tell
from scrapers.reconcile.told import Told
from scrapers.texts import read_price


def ask(page: Subject, found: list[Product], heading: str | None) -> tuple[list[Told], int]:
    """What each source of markup tells, in order of trust, and the most things one describes.

    `found`: the products of JSON-LD, which the caller has read already.
    """
    groups = [found, microdata.read(page.doc), microdata.read_rdfa(page.doc)]
    head = meta.read(page.doc)
    groups.append([head] if head is not None else [])
    name = heading or page.head.title
    made = [tell(group, name, page.doc.url, page.rules.choice) for group in groups if group]
    told = [_titled(page, one, heading) for one, _ in made if one is not None]
    return told, max((things for _, things in made), default=0)


def _titled(page: Subject, told: Told, heading: str | None) -> Told:
    if not told.title:
        return told
    title = without_shop(told.title, heading, page.shops)
    return told if title == told.title else replace(told, title=title)


def court_of(
    page: Subject, told: list[Told], view: visible.View
) -> tuple[Court, tuple[Choice, ...], str]:
    """All that is weighed; the choices that scripts list, and where they stand."""
    told = _in_printed_money(page, told)
    stated = next((t.currency for t in told if t.currency), None)
    hint = _hint(page, stated)
    _look(page, told, view, stated, hint)
    shown = _shown(page, view, told, hint)
    choices, where = state.tables(page.doc, stated or hint)
    told = [_own(page, _sold(page, t, shown.now), view, shown.now) for t in told]
    choices = _in_units(choices, told, shown.now, stated or hint)
    currency = stated or (shown.now.currency if shown.now else None) or page.rules.currency
    currency = currency or _signed(told, hint)
    prices = tuple(c.price for c in choices if c.price is not None)
    return Court(tuple(told), shown, currency, page.country, prices), choices, where


def _in_printed_money(page: Subject, told: list[Told]) -> list[Told]:
    """Sources that disagree on the currency of one price: the one whose code the page prints."""
    codes = {t.currency for t in told if t.own and t.price is not None and t.currency}
    if len(codes) < 2 or len({t.price for t in told if t.own and t.price is not None}) > 1:
        return told
    printed = [c for c in codes if c and re.search(rf"\b{re.escape(c)}\b", page.text())]
    if len(printed) != 1:
        return told
    return [replace(t, currency=printed[0]) if t.currency in codes else t for t in told]


def _sold(page: Subject, told: Told, now: Seen | None) -> Told:
    """Of the offers of several sellers the page's own; none is settled where the user chose one."""
    shown = now.amount if now is not None and now.low is None else None
    if not told.offers or page.rules.choice:
        return told
    return of_seller(told, shown, page.doc.url, page.shops)


def _in_units(
    choices: tuple[Choice, ...], told: list[Told], now: Seen | None, currency: str | None
) -> tuple[Choice, ...]:
    """A table of whole numbers that are cents: one of them is the price, a hundred times."""
    known = {now.amount} if now else set()
    known |= {v for t in told if t.own for v in (t.price, t.low, t.high) if v is not None}
    prices = [c.price for c in choices if c.price is not None]
    cents = bool(prices) and all(p >= MANY and p == int(p) for p in prices)
    if not cents or not known.isdisjoint(prices) or minor_units(currency) != 2:
        return choices
    if known.isdisjoint(p.scaleb(-2) for p in prices):
        return choices
    return tuple(replace(c, price=c.price.scaleb(-2) if c.price else None) for c in choices)


def _hint(page: Subject, stated: str | None) -> str | None:
    """The currency to assume where an amount has none, or only a dollar sign."""
    hint = stated or page.rules.currency or said.picked_currency(page.doc)
    hint = hint or CURRENCY_OF.get(page.country or "")
    if hint is None and "$" in page.doc.html:
        hint = dollars(page.text(), page.locale)
    return hint


def _look(
    page: Subject, told: list[Told], view: visible.View, stated: str | None, hint: str | None
) -> None:
    """The amounts in sight and the rows of quantity prices, taken into `view`."""
    stated_prices = [
        v
        for t in told
        for v in (t.price, t.low, t.high)
        if t.own and v is not None and (t.goods or page.akin(t, view.title))
    ]
    taxed = partial(_taxed, page, told, stated or hint)
    # without a button nothing is ordered here: lists of sellers, dates or accounts
    settled = not page.doc.buttons or (
        hint is not None and any(t.own and t.price is not None for t in told)
    )
    visible.look(page.doc, view, page.locale, hint, stated_prices, taxed, settled=settled)
    rows = tiers.read(page.doc, view.places, page.locale, hint)
    view.multibuy = tuple(dict.fromkeys((*view.multibuy, *rows)))


def _taxed(
    page: Subject, told: list[Told], money: str | None, nets: Sequence[Seen] = ()
) -> set[Decimal]:
    """Prices of the markup and `nets` with the tax that the country may add, to the coin."""
    net = [(t.price, money) for t in told if t.own and t.price is not None and t.low is None]
    net += [(s.amount, s.currency or money) for s in nets]
    return {
        v
        for price, code in net
        for factor in likely_factors(code, page.country, page.locale)
        for v in around(rounded(price * factor, code), code)
    }


def _shown(page: Subject, view: visible.View, told: list[Told], hint: str | None) -> Shown:
    """The amounts in sight; a list price that words alone tell is looked for last."""
    shown = show(view.seen, hint, page.country)
    known = shown.list_price is not None or any(t.list_price is not None for t in told)
    if shown.now is None or known:
        return shown
    listed = was.beside(shown.now, view.places, page.locale, shown.now.currency or hint)
    if listed is None:
        return shown
    return replace(shown, list_price=listed.amount, all=(*shown.all, listed))


def _own(page: Subject, told: Told, view: visible.View, now: Seen | None) -> Told:
    """Markup of another thing (an event, a neighbour) does not speak against what is seen."""
    if now is None or told.price in (None, now.amount):
        return told
    return told if page.akin(told, view.title) else replace(told, own=False)


def _signed(told: list[Told], hint: str | None) -> str | None:
    """The currency of a sign in the markup's own price text ("Now $47.50"), by the page's hint."""
    texts = (t.text for t in told if t.own and not t.text.replace(".", "").isdigit())
    read = (read_price(text, currency=hint) for text in texts)
    return next((r.currency for r in read if r is not None and r.currency), None)
