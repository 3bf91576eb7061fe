"""One page weighed: its sources asked in order, held against each other, put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cached_property, partial

from scrapers.model import (
    Choice,
    Evidence,
    Ids,
    Outcome,
    Reading,
    SiteRules,
    Source,
)
from scrapers.readers import (
    details,
    jsonld,
    meta,
    microdata,
    number,
    pageclass,
    said,
    state,
    tiers,
    visible,
    was,
)
from scrapers.readers.claims import Product, Seen
from scrapers.readers.dom import Doc
from scrapers.readers.said import says_amount
from scrapers.readers.statemoney import MINOR
from scrapers.readers.titles import shop_names, without_shop
from scrapers.readers.values import around, rounded
from scrapers.reconcile.court import CHOICE_NEEDED, Court, Verdict
from scrapers.reconcile.finish import Around, reading
from scrapers.reconcile.nothing import Nothing
from scrapers.reconcile.places import CURRENCY_OF, country_of, dollars, likely_factors
from scrapers.reconcile.second import by_breaks, with_options
from scrapers.reconcile.settle import settle
from scrapers.reconcile.shown import Shown, show
from scrapers.reconcile.stale import in_sight
from scrapers.reconcile.told import Told, akin, alike, tell
from scrapers.reconcile.variant import of_variant
from scrapers.reconcile.wishes import Wishes
from scrapers.texts import read_price

_NUMBER_KEYS = ('"sku"', '"sku\\"', '"gtin', '"ean"', '"upc"', '"mpn"', '"barcode"', '"brand"',
                "'brand'", "item_brand", "item_id")  # fmt: skip
_GTIN_KEYS = ('"barcode"', '"ean"')
_ID_NAMES = ("gtin", "mpn", "sku", "brand")


def _costs(product: Product, made: Reading) -> bool:
    """Whether script state names the price that was read, maybe in cents."""
    return made.price is not None and any(
        o.price == made.price or (o.doubt == MINOR and o.price and o.price / 100 == made.price)
        for o in product.offers
    )


def _single(verdict: Verdict, view: visible.View, court: Court) -> Verdict:
    """The price of one piece where the page has quantity prices: its upper end, never a tier's."""
    tiered, now = {m.price for m in view.multibuy}, court.shown.now
    ends = {t.high for t in court.told} | ({now.amount, now.high} if now else {None})
    if verdict.doubt == CHOICE_NEEDED and verdict.low in tiered and verdict.high in ends - {None}:
        return replace(verdict, price=verdict.high, low=None, high=None, doubt=None)
    if verdict.price in tiered and now is None and verdict.doubt is None:
        return replace(verdict, price=None, doubt="the price may hold only for several pieces")
    return verdict


def _with(ids: Ids, found: details.Details) -> Ids:
    """Identifiers completed by what labels tell."""
    return Ids(ids.gtin or found.gtin, ids.mpn or found.mpn, ids.sku, ids.brand or found.brand)


def _signed(told: list[Told], hint: str | None) -> str | None:
    """The currency of a sign in the markup's own price text ("Now $47.50"), by the page's hint."""
    texts = (t.text for t in told if t.own and not t.text.replace(".", "").isdigit())
    read = (read_price(text, currency=hint) for text in texts)
    return next((r.currency for r in read if r is not None and r.currency), None)


class Visit:
    """One page being read: its sources, asked in order, the costly ones only if needed."""

    def __init__(self, doc: Doc, rules: SiteRules) -> None:
        self.doc = doc
        self.rules = rules
        self.head = meta.head(doc)
        self.shops = shop_names(doc)
        self.locale = rules.locale or self.head.locale
        self.country = rules.country or country_of(doc.url, self.locale)
        self.wishes = Wishes(doc, rules, self.locale, self.country)

    @property
    def nothing(self) -> Nothing:
        """Not kept: page and function would hold one another until a collection finds them."""
        return Nothing(self.doc, self.rules, self.head.kind, lambda: self.body_text)

    @cached_property
    def body_text(self) -> str:
        """The text of the whole page, made only where something must be searched in it."""
        return said.text_of(self.doc)

    def reading(self) -> Reading:
        """The whole way: markup, page class, sight, weighing, assembly."""
        blocks = jsonld.read(n.text() for n in self.doc.ldjson)
        named = [p.title for p in blocks.products if p.title and p.main]
        view = visible.view(self.doc, [*named[:3], *([self.head.title] if self.head.title else [])])
        told, things = self._told(blocks.products, view.title)
        early = self._not_a_product(told, view)
        if early is not None:
            return early
        made = self._weigh(told, things, view)
        if made.outcome is Outcome.NOT_PRODUCT and blocks.refused:
            return Reading(Outcome.DOUBTFUL, blocks.refused)
        return made

    def _told(self, found: list[Product], heading: str | None) -> tuple[list[Told], int]:
        groups = [found, microdata.read(self.doc), microdata.read_rdfa(self.doc)]
        head = meta.read(self.doc)
        groups.append([head] if head is not None else [])
        made: list[Told] = []
        most = 0
        for group in groups:
            if group:
                told, things = tell(
                    group, heading or self.head.title, self.doc.url, self.rules.choice
                )
                most = max(most, things)
                if told is not None:
                    made.append(self._titled(told, heading))
        return made, most

    def _titled(self, told: Told, heading: str | None) -> Told:
        if not told.title:
            return told
        title = without_shop(told.title, heading, self.shops)
        return told if title == told.title else replace(told, title=title)

    def _not_a_product(self, told: list[Told], view: visible.View) -> Reading | None:
        if any(t.priced for t in told):
            return None
        found = pageclass.challenge(self.doc, self.body_text)
        if found.kind == "barred":
            return Reading(Outcome.BARRED, found.reason)
        found = pageclass.lost(self.doc, view.title)
        if found.kind:
            return Reading(Outcome.NOT_PRODUCT, found.reason, title=view.title)
        return None

    def _court(self, told: list[Told], view: visible.View) -> tuple[Court, tuple[Choice, ...], str]:
        stated = next((t.currency for t in told if t.currency), None)
        hint = stated or self.rules.currency or said.picked_currency(self.doc)
        hint = hint or CURRENCY_OF.get(self.country or "")
        if hint is None and "$" in self.doc.html:
            hint = dollars(self.body_text, self.locale)
        stated_prices = [
            v
            for t in told
            for v in (t.price, t.low, t.high)
            if t.own and v is not None and (t.goods or self._akin(t, view))
        ]
        taxed = partial(self._taxed, told, stated or hint)
        # without a button nothing is ordered here: lists of sellers, dates or accounts
        settled = not self.doc.buttons or (
            hint is not None and any(t.own and t.price is not None for t in told)
        )
        visible.look(self.doc, view, self.locale, hint, stated_prices, taxed, settled=settled)
        rows = tiers.read(self.doc, view.places, self.locale, hint)
        view.multibuy = tuple(dict.fromkeys((*view.multibuy, *rows)))
        shown = self._shown(view, told, hint)
        choices, where = state.tables(self.doc, stated or hint)
        told = [self._own(t, view, shown.now) for t in told]
        currency = stated or (shown.now.currency if shown.now else None) or self.rules.currency
        currency = currency or _signed(told, hint)
        prices = tuple(c.price for c in choices if c.price is not None)
        return Court(tuple(told), shown, currency, self.country, prices), choices, where

    def _taxed(
        self, told: list[Told], money: str | None, nets: Sequence[Seen] = ()
    ) -> set[Decimal]:
        """Prices of the markup and `nets` with the tax that the country may add, to the coin."""
        net = [(t.price, money) for t in told if t.own and t.price is not None and t.low is None]
        net += [(s.amount, s.currency or money) for s in nets]
        return {
            v
            for price, code in net
            for factor in likely_factors(code, self.country, self.locale)
            for v in around(rounded(price * factor, code), code)
        }

    def _shown(self, view: visible.View, told: list[Told], hint: str | None) -> Shown:
        """The amounts in sight; a list price that words alone tell is looked for last."""
        shown = show(view.seen, hint, self.country)
        known = shown.list_price is not None or any(t.list_price is not None for t in told)
        if shown.now is None or known:
            return shown
        listed = was.beside(shown.now, view.places, self.locale, shown.now.currency or hint)
        return (
            replace(shown, list_price=listed.amount, all=(*shown.all, listed)) if listed else shown
        )

    def _weigh(self, told: list[Told], things: int, view: visible.View) -> Reading:
        court, choices, where = self._court(told, view)
        verdict = settle(court)
        if verdict.price is None:
            court, verdict = self._with_state(court, verdict, view)
        verdict = self.wishes.by_choice(verdict, choices, court)
        verdict = _single(
            by_breaks(self.doc, lambda: self.body_text, verdict, view, court, self.locale),
            view,
            court,
        )
        verdict = with_options(self.doc, verdict, court)
        verdict = in_sight(self.doc, lambda: self.body_text, verdict, view, court)
        verdict = self._of_this_page(court, verdict, view)
        if not self.rules.choice:
            court, verdict = of_variant(
                self.doc, view.places, lambda: self.body_text, court, verdict
            )
        verdict, title = self.wishes.by_rules(verdict)
        around = Around(
            rules=self.rules, view=view, title=title, stock=self.wishes.stock_of(view),
            choices=choices, choices_where=where, text=lambda: self.body_text,
            net=meta.net_price(self.doc), evidence=tuple(self.wishes.evidence),
        )  # fmt: skip
        other = self.nothing.placeholder(court, verdict, view) if not choices else None
        other = other or self.nothing.nothing_here(court, verdict, things, view, choices)
        if other is not None and self._stated(court, verdict, view):
            other = None
        return other or self._numbered(reading(court, verdict, around), view)

    def _numbered(self, made: Reading, view: visible.View) -> Reading:
        """Numbers and brand in sight, where the markup is silent."""
        ids, evidence = made.ids, made.evidence
        if not (ids.brand and ids.gtin and ids.mpn):
            labelled = details.read(self.doc, view.places)
            ids = _with(ids, labelled)
            evidence = (
                *evidence,
                *(e for e in labelled.evidence if not getattr(made.ids, e.field)),
            )
        if not made.ids.sku:
            found = number.read(self.doc, view.places, several=made.low is not None)
            if found is not None and found[0] != ids.mpn:
                ids, evidence = replace(ids, sku=found[0]), (*evidence, found[1])
        if not ids.gtin and (found := number.read_gtin(view.places)):
            ids, evidence = replace(ids, gtin=found[0]), (*evidence, found[1])
        bare = made.source is Source.VISIBLE and not (ids.brand and ids.gtin)
        coded = not ids.gtin and self._has_codes()
        if bare or coded or not (ids.sku or ids.mpn):
            more, where = self._in_state(made, all_keys=bare or not (ids.sku or ids.mpn))
            same = more is None or ids.sku is None or more.sku in (None, ids.sku)
            if more and not (same or ids.gtin == more.gtin is not None):
                more = Ids(brand=more.brand)  # numbers of the shop's own, under the same name
            if more and more != Ids():
                ids = Ids(
                    ids.gtin or more.gtin, ids.mpn or more.mpn, ids.sku or more.sku,
                    ids.brand or more.brand,
                )  # fmt: skip
                evidence = (*evidence, Evidence("state", "sku", more.sku or more.gtin or "", where))
        return made if ids is made.ids else replace(made, ids=ids, evidence=evidence)

    def _has_codes(self) -> bool:
        """Whether a script of pure JSON holds a bar code; programs are not searched for one."""
        held = (s for s in self.doc.scripts if "json" in (s.attributes.get("type") or ""))
        return any(key in self.doc.script_text(s) for s in held for key in _GTIN_KEYS)

    def _in_state(self, made: Reading, *, all_keys: bool) -> tuple[Ids | None, str]:
        """The numbers that script state gives for the product read: same name, same price."""
        texts = [text for _, _, text in self.doc.priced_scripts()]
        named = any(key in text for text in texts for key in _NUMBER_KEYS)
        if made.price is None or not (named or (all_keys and self.doc.tables)):
            return None, ""
        found = [p for p in state.read(self.doc) if alike(p.title, made.title) and _costs(p, made)]
        same = [p for p in found if p.title == made.title] or found
        told = {name: {v for p in same if (v := getattr(p.ids, name))} for name in _ID_NAMES}
        ids = Ids(**{name: next(iter(v)) if len(v) == 1 else None for name, v in told.items()})
        return (ids, found[0].where) if ids != Ids() else (None, "")

    def _with_state(
        self, court: Court, verdict: Verdict, view: visible.View
    ) -> tuple[Court, Verdict]:
        """Script state, asked only where the rest leaves the price open."""
        found = state.read(self.doc)
        if not found:
            return court, verdict
        name = view.title or self.head.title or next(iter(self.doc.titles), None)
        told, _ = tell(found, name, self.doc.url, self.rules.choice)
        if told is None:
            return court, verdict
        if told.doubt == MINOR and told.price and says_amount(self.body_text, told.price):
            told = replace(told, doubt=None)
        more = replace(court, told=(*court.told, told), currency=court.currency or told.currency)
        again = settle(more)
        return more, again if again.price is not None or verdict.doubt is None else verdict

    def _stated(self, court: Court, verdict: Verdict, view: visible.View) -> bool:
        """Whether script state names the page's product at the price in sight."""
        if verdict.price is None or court.told or verdict.source is not Source.VISIBLE:
            return False
        told, _ = tell(state.read(self.doc), view.title, self.doc.url, self.rules.choice)
        if told is None or not told.title or not told.goods:
            return False
        return told.price == verdict.price and self._akin(told, view)

    def _own(self, told: Told, view: visible.View, now: Seen | None) -> Told:
        """Markup of another thing (an event, a neighbour) does not speak against what is seen."""
        if now is None or told.price in (None, now.amount):
            return told
        return told if self._akin(told, view) else replace(told, own=False)

    def _akin(self, told: Told, view: visible.View) -> bool:
        """Whether markup may speak of the page's product by its name, or by having none."""
        names = [n for n in (view.title, self.head.title) if n]
        return not (told.title and names) or any(akin(told.title, n) for n in names)

    def _of_this_page(self, court: Court, verdict: Verdict, view: visible.View) -> Verdict:
        """Markup that names another product than the page, with no price in sight to back it."""
        told = verdict.told
        if told is None or not (told.title and told.goods) or court.shown.now or verdict.doubt:
            return verdict
        if self._akin(told, view) or self._numbered_so(told, view):
            return verdict
        return replace(
            verdict, price=None, doubt=f"the markup names {told.title[:60]!r}, the page does not"
        )

    def _numbered_so(self, told: Told, view: visible.View) -> bool:
        """Whether a labelled number in sight is one that the markup gives, or calls its product."""
        held = {told.title, told.ids.sku, told.ids.mpn, told.ids.gtin} - {None}
        found = number.read(self.doc, view.places)
        if found is not None and found[0] in held:
            return True
        labelled = details.read(self.doc, view.places)
        return not held.isdisjoint({labelled.mpn, labelled.gtin} - {None})
