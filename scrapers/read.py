"""read_page: what one product page says, with its evidence; it never raises, and only reads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

from scrapers import isolate
from scrapers.decode import MAX_INLINE, Text, decode, not_text
from scrapers.errors import RuleError, TooLargeError
from scrapers.model import (
    Availability,
    Choice,
    Evidence,
    Outcome,
    Page,
    Reading,
    SiteRules,
    Source,
    Tax,
)
from scrapers.readers import (
    jsonld,
    meta,
    microdata,
    number,
    pageclass,
    picked,
    rule,
    said,
    state,
    stock,
    tiers,
    visible,
    was,
)
from scrapers.readers.claims import Product, Seen
from scrapers.readers.dom import Doc, parse
from scrapers.readers.titles import shop_names, without_shop
from scrapers.readers.values import around, clean, rounded
from scrapers.reconcile.finish import Around, evidence_of, reading
from scrapers.reconcile.goods import looks_like_goods
from scrapers.reconcile.places import CURRENCY_OF, country_of, dollars, likely_factors
from scrapers.reconcile.second import by_breaks, with_options
from scrapers.reconcile.settle import (
    CHOICE_NEEDED,
    ZERO,
    Court,
    Verdict,
    settle,
)
from scrapers.reconcile.shown import Shown, show
from scrapers.reconcile.told import Told, akin, tell
from scrapers.structure import structure
from scrapers.texts import read_availability, read_price

NEAR = 2  # levels above the heading within which an amount is surely of the page's own matter
_NO_RULES = SiteRules()
_NUMBER_KEYS = ('"sku"', '"gtin', '"ean"', '"upc"', '"mpn"')
AT_ONCE = 64 * 1024  # bytes of a page that may be read between two answers of a server
_Heavy = Callable[[Text, str, SiteRules], Reading]  # what becomes of a heavy page


class _HeavyError(Exception):
    """The page takes more than a moment to read."""


def read_page(page: Page, rules: SiteRules | None = None) -> Reading:
    """What the page says now.

    The outcome is ok, doubtful, not_product, barred, too_large or broken; whatever
    bytes the page holds, a Reading comes back.
    """
    return _safely(page, rules or _NO_RULES, _apart)


def read_at_once(page: Page, rules: SiteRules | None = None) -> Reading | None:
    """`read_page` for a page that is small and light, in milliseconds; None for any other."""
    if len(page.body) > AT_ONCE:
        return None
    try:
        return _safely(page, rules or _NO_RULES, _refused)
    except _HeavyError:
        return None


def _safely(page: Page, rules: SiteRules, heavy: _Heavy) -> Reading:
    try:
        made = _read(page, rules, heavy)
    except _HeavyError:
        raise
    except TooLargeError as error:
        made = Reading(Outcome.TOO_LARGE, error.reason)
    except RecursionError:
        made = Reading(Outcome.TOO_LARGE, "the page is nested too deep")
    except MemoryError:
        made = Reading(Outcome.TOO_LARGE, "the page needs too much memory")
    except Exception as error:  # noqa: BLE001  # the promise of this door: hostile bytes never raise
        made = Reading(Outcome.DOUBTFUL, f"the page could not be read ({type(error).__name__})")
    return made if page.complete else _cut_short(made)


def _cut_short(made: Reading) -> Reading:
    """A body whose connection closed early: its price may be kept aside, never taken."""
    if made.outcome in (Outcome.OK, Outcome.DOUBTFUL) and made.price is not None:
        return replace(made, outcome=Outcome.DOUBTFUL, reason="the page was cut short")
    if made.outcome is Outcome.BARRED:
        return made
    return replace(made, outcome=Outcome.BROKEN, reason="the page was cut short")


def _apart(text: Text, url: str, rules: SiteRules) -> Reading:
    return isolate.run("read_text", text._replace(raw=None), url, rules)


def _refused(_text: Text, _url: str, _rules: SiteRules) -> Reading:
    raise _HeavyError


def _read(page: Page, rules: SiteRules, heavy: _Heavy) -> Reading:
    if not page.body.strip():
        return Reading(Outcome.BROKEN, "the page is empty")
    kind = not_text(page.body)
    if kind is not None:
        return Reading(Outcome.NOT_PRODUCT, f"the answer is {kind}, not a page")
    text = decode(page.body, page.content_type)
    raw = text.raw if text.raw is not None else text.text.encode("utf-8", "replace")
    if len(raw) > MAX_INLINE or structure(raw).heavy:
        return heavy(text, page.url, rules)
    return read_text(text, page.url, rules)


def read_text(text: Text, url: str, rules: SiteRules) -> Reading:
    """The reading of decoded text; parses it in this process."""
    return _Visit(parse(text.text, url, text.raw), rules).reading()


def _single(verdict: Verdict, view: visible.View, court: Court) -> Verdict:
    """The price of one piece where the page has quantity prices: its upper end, never a tier's."""
    tiered, now = {m.price for m in view.multibuy}, court.shown.now
    ends = {t.high for t in court.told} | ({now.amount, now.high} if now else {None})
    if verdict.doubt == CHOICE_NEEDED and verdict.low in tiered and verdict.high in ends - {None}:
        return replace(verdict, price=verdict.high, low=None, high=None, doubt=None)
    if verdict.price in tiered and now is None and verdict.doubt is None:
        return replace(verdict, price=None, doubt="the price may hold only for several pieces")
    return verdict


def _signed(told: list[Told], hint: str | None) -> str | None:
    """The currency of a sign in the markup's own price text ("Now $47.50"), by the page's hint."""
    texts = (t.text for t in told if t.own and not t.text.replace(".", "").isdigit())
    read = (read_price(text, currency=hint) for text in texts)
    return next((r.currency for r in read if r is not None and r.currency), None)


class _Visit:
    """One page being read: its sources, asked in order, the costly ones only if needed."""

    def __init__(self, doc: Doc, rules: SiteRules) -> None:
        self.doc = doc
        self.rules = rules
        self.head = meta.head(doc)
        self.shops = shop_names(doc)
        self.evidence: list[Evidence] = []
        self.locale = rules.locale or self.head.locale
        self.country = rules.country or country_of(doc.url, self.locale)

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
            hint = dollars(self.body_text)
        stated_prices = [
            v for t in told for v in (t.price, t.low, t.high) if t.own and v is not None
        ]
        money = stated or hint
        more = likely_factors(money, self.country, self.locale)
        exact = [t.price for t in told if t.own and t.price is not None and t.low is None]
        taxed = {v for p in exact for f in more for v in around(rounded(p * f, money), money)}
        visible.look(self.doc, view, self.locale, hint, stated_prices, taxed)
        rows = tiers.read(self.doc, view.places, self.locale, hint)
        view.multibuy = tuple(dict.fromkeys((*view.multibuy, *rows)))
        shown = self._shown(view, told, hint)
        choices, where = state.tables(self.doc, stated or hint)
        told = [self._own(t, view, shown.now) for t in told]
        currency = stated or (shown.now.currency if shown.now else None) or self.rules.currency
        currency = currency or _signed(told, hint)
        prices = tuple(c.price for c in choices if c.price is not None)
        return Court(tuple(told), shown, currency, self.country, prices), choices, where

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
        verdict = self._by_choice(verdict, choices, court)
        verdict = _single(
            by_breaks(self.doc, lambda: self.body_text, verdict, view, court, self.locale),
            view,
            court,
        )
        verdict = self._of_this_page(court, with_options(self.doc, verdict, court), view)
        verdict, title = self._by_rules(verdict)
        around = Around(
            rules=self.rules, view=view, title=title, stock=self._stock(view),
            choices=choices, choices_where=where, text=lambda: self.body_text,
            net=meta.net_price(self.doc), evidence=tuple(self.evidence),
        )  # fmt: skip
        other = self._placeholder(court, verdict, view) if not choices else None
        other = other or self._nothing_here(court, verdict, things, view, choices)
        return other or self._numbered(reading(court, verdict, around), view)

    def _numbered(self, made: Reading, view: visible.View) -> Reading:
        """The article number and the GTIN in sight, where the markup is silent."""
        ids, evidence = made.ids, made.evidence
        if not ids.sku and not ids.mpn and (found := number.read(self.doc, view.places)):
            ids, evidence = replace(ids, sku=found[0]), (*evidence, found[1])
        if not ids.gtin and (found := number.read_gtin(view.places)):
            ids, evidence = replace(ids, gtin=found[0]), (*evidence, found[1])
        if not (ids.sku or ids.mpn or ids.gtin) and (told := self._in_state(made)):
            ids, proof = told.ids, Evidence("state", "sku", told.ids.sku or "", told.where)
            evidence = (*evidence, proof)
        return made if ids is made.ids else replace(made, ids=ids, evidence=evidence)

    def _in_state(self, made: Reading) -> Told | None:
        """What script state says of the product that was read: same name, same price."""
        texts = [text for _, _, text in self.doc.priced_scripts()]
        held = self.doc.tables or any(key in text for text in texts for key in _NUMBER_KEYS)
        if made.price is None or not held:
            return None
        told, _ = tell(state.read(self.doc), made.title, self.doc.url, self.rules.choice)
        return told if told is not None and told.price == made.price else None

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
        more = replace(court, told=(*court.told, told), currency=court.currency or told.currency)
        again = settle(more)
        return more, again if again.price is not None or verdict.doubt is None else verdict

    def _own(self, told: Told, view: visible.View, now: Seen | None) -> Told:
        """Markup of another thing (an event, a neighbour) does not speak against what is seen."""
        names = [n for n in (view.title, self.head.title) if n]
        if now is None or not (told.title and names) or told.price in (None, now.amount):
            return told
        return told if any(akin(told.title, n) for n in names) else replace(told, own=False)

    def _of_this_page(self, court: Court, verdict: Verdict, view: visible.View) -> Verdict:
        """Markup that names another product than the page, with no price in sight to back it."""
        told = verdict.told
        if told is None or not (told.title and told.goods) or court.shown.now or verdict.doubt:
            return verdict
        names = [n for n in (view.title, self.head.title) if n]
        if not names or any(akin(told.title, n) for n in names):
            return verdict
        return replace(
            verdict, price=None, doubt=f"the markup names {told.title[:60]!r}, the page does not"
        )

    def _by_choice(self, verdict: Verdict, choices: tuple[Choice, ...], court: Court) -> Verdict:
        """The variant that the user means has its own price in the table."""
        wanted = (self.rules.choice or "").strip().casefold()
        if not wanted:
            return self._by_selection(verdict, choices)
        if not choices:
            offered = [c for t in court.told if len(t.choices) > 1 for c in t.choices]
            known = any(wanted in {c.name.casefold(), (c.sku or "").casefold()} for c in offered)
            return verdict if known or not offered else self._no_choice(verdict)
        for choice in choices:
            if wanted in {choice.name.casefold(), (choice.sku or "").casefold()} and choice.price:
                self.evidence.append(Evidence("state", "price", str(choice.price), choice.name))
                return replace(
                    verdict, price=choice.price, doubt=None, source=Source.STATE,
                    currency=choice.currency or verdict.currency, stock=choice.availability,
                )  # fmt: skip
        return self._no_choice(verdict)

    def _by_selection(self, verdict: Verdict, choices: tuple[Choice, ...]) -> Verdict:
        """A range, and a form in which the shop has selected one variant for the visitor."""
        open_range = verdict.doubt == CHOICE_NEEDED and verdict.price is None
        chosen = picked.read(self.doc, choices) if open_range and choices else None
        if chosen is None or chosen.price is None:
            return verdict
        self.evidence.append(Evidence("state", "price", str(chosen.price), chosen.name))
        return replace(
            verdict, price=chosen.price, doubt=None, source=Source.STATE,
            currency=chosen.currency or verdict.currency, stock=chosen.availability,
        )  # fmt: skip

    def _no_choice(self, verdict: Verdict) -> Verdict:
        return replace(verdict, doubt=f"the page has no choice {self.rules.choice!r} any more")

    def _by_rules(self, verdict: Verdict) -> tuple[Verdict, str | None]:
        """The user's own rules stand above every reader."""
        title = None
        if self.rules.title:
            title = clean(self._find(self.rules.title, "title")[0])
        if self.rules.price:
            verdict = self._rule_price(verdict, self.rules.price)
        if self.rules.list_price:
            text, _ = self._find(self.rules.list_price, "list_price")
            told = read_price(text or "", locale=self.locale, currency=verdict.currency)
            verdict = replace(verdict, list_price=told.amount if told else None)
        return verdict, title

    def _rule_price(self, verdict: Verdict, text: str) -> Verdict:
        found, why = self._find(text, "price")
        if not found:
            return replace(verdict, price=None, doubt=why, source=None)
        hint = self.rules.currency or verdict.currency or CURRENCY_OF.get(self.country or "")
        told = read_price(found, locale=self.locale, currency=hint)
        if told is None or told.amount is None or told.amount == 0:
            said = told.doubt if told and told.doubt else "it is no price"
            return replace(verdict, price=None, doubt=f"the rule finds {found[:40]!r}: {said}")
        return replace(
            verdict, price=told.amount, currency=told.currency or hint, source=Source.RULE,
            doubt=None, low=told.low, high=told.high,
            tax=told.tax if told.tax is not Tax.UNKNOWN else verdict.tax,
        )  # fmt: skip

    def _find(self, text: str, field: str) -> tuple[str, str]:
        """What a rule finds, or "" and why not."""
        try:
            found = rule.find(rule.compile_rule(text), self.doc)
        except RuleError as error:
            return "", f"the rule cannot be used: {error}"
        if found is None:
            return "", "the rule finds nothing on the page any more"
        self.evidence.append(Evidence("rule", field, found[0][:120], found[1]))
        return found[0], ""

    def _stock(self, view: visible.View) -> stock.Stock:
        if self.rules.availability:
            text, _ = self._find(self.rules.availability, "availability")
            said = read_availability(text) or Availability.UNKNOWN
            proof = Evidence("rule", "availability", text[:80], self.rules.availability)
            return stock.Stock(said, proof, mixed=True)
        return stock.read(self.doc, view.places)

    def _placeholder(self, court: Court, verdict: Verdict, view: visible.View) -> Reading | None:
        """A page whose only price is a 0, as of a group of products without prices, has none.

        Goods in stock for 0 are another thing: somebody should look at that page.
        """
        if verdict.doubt != ZERO or court.shown.now is not None or self.rules.price:
            return None
        asked = pageclass.why_no_price(self.body_text).kind in ("call", "login", "withdrawn")
        stocked = verdict.told and verdict.told.availability is Availability.IN_STOCK
        if stocked and not asked:
            return None
        made = self._without_price(court, view, ZERO)
        return replace(
            made, availability=verdict.told.availability if verdict.told else Availability.UNKNOWN
        )

    def _nothing_here(
        self,
        court: Court,
        verdict: Verdict,
        things: int,
        view: visible.View,
        choices: tuple[Choice, ...],
    ) -> Reading | None:
        """not_product, with what the page says instead of a price."""
        if self.rules.price:
            return None  # the user has said where the price stands
        told = any(
            t.priced or (t.own and (t.zero or t.doubt or t.multibuy)) or t.first for t in court.told
        )
        sold = told or bool(choices)
        if sold and things <= 1:
            return None
        if (
            things > 1
            and not self._only_listed(court)
            and verdict.source is not Source.VISIBLE
            and verdict.price is None
        ):
            return self._without_price(court, view, "the page lists many products, none its own")
        if verdict.price is None and not verdict.doubt and verdict.low is None:
            return self._only_listed(court) or self._without_price(court, view)
        if not sold and not looks_like_goods(self.doc, self.body_text, self.head.kind, court, view):
            return self._without_price(court, view)
        return None

    def _only_listed(self, court: Court) -> Reading | None:
        """One amount that stands in a list or as bare text: kept aside for a person to judge."""
        told = next((t for t in court.told if not t.own and t.price is not None), None)
        if told is None and '"@type"' in self.doc.html and not self.doc.ldjson:
            told, _ = tell(state.loose_graphs(self.doc), None, self.doc.url, None)
        if told is None or told.price is None:
            return None
        return Reading(
            Outcome.DOUBTFUL, told.doubt or "the markup stands outside its script",
            title=told.title,
            price=told.price, currency=told.currency, source=told.source, ids=told.ids,
            availability=told.availability, evidence=evidence_of(court),
        )  # fmt: skip

    def _without_price(self, court: Court, view: visible.View, reason: str = "") -> Reading:
        found = pageclass.why_no_price(self.body_text)
        if view.doubts and not found.kind and not reason and not view.plain:
            return Reading(Outcome.DOUBTFUL, view.doubts[0], title=view.title)
        reason = found.reason or reason or "no product price stands on the page"
        if not found.reason and view.cards + view.elsewhere > 3:
            reason = "the page lists other products, none its own"
        low = min((t.low for t in court.told if t.low is not None), default=None)
        high = max((t.high for t in court.told if t.high is not None), default=None)
        return Reading(
            Outcome.NOT_PRODUCT, reason, title=clean(view.title), low=low, high=high,
            currency=next((t.currency for t in court.told if t.currency), None),
            evidence=evidence_of(court),
        )  # fmt: skip
