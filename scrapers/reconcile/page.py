"""One page weighed: its sources asked in order, held against each other, put together."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from scrapers.model import Outcome, Reading, SiteRules
from scrapers.readers import dropdown, jsonld, meta, pageclass, visible
from scrapers.readers.dom import Doc
from scrapers.reconcile.cents import in_cents
from scrapers.reconcile.choose import beside, by_list
from scrapers.reconcile.court import CHOICE_NEEDED, Court, Verdict
from scrapers.reconcile.finish import Around, reading
from scrapers.reconcile.nothing import Nothing
from scrapers.reconcile.numbers import gives_number, numbered
from scrapers.reconcile.once import bought_once
from scrapers.reconcile.script import states, with_state
from scrapers.reconcile.second import by_breaks, with_options
from scrapers.reconcile.settle import settle
from scrapers.reconcile.sources import ask, court_of
from scrapers.reconcile.stale import in_sight, lapsed
from scrapers.reconcile.subject import Subject
from scrapers.reconcile.told import Told
from scrapers.reconcile.variant import of_variant
from scrapers.reconcile.wishes import Wishes


class Visit:
    """One page being read: its sources, asked in order, the costly ones only if needed."""

    def __init__(self, doc: Doc, rules: SiteRules, day: date) -> None:
        """`day`: that of the visit, for markup whose price held until another."""
        self.doc = doc
        self.rules = rules
        self.day = day
        self.page = Subject(doc, rules)
        self.wishes = Wishes(doc, rules, self.page.locale, self.page.country)

    def reading(self) -> Reading:
        """The whole way: markup, page class, sight, weighing, assembly."""
        title = self.page.head.title
        blocks = jsonld.read(n.text() for n in self.doc.ldjson)
        named = [p.title for p in blocks.products if p.title and p.main]
        view = visible.view(self.doc, [*named[:3], *([title] if title else [])])
        told, things = ask(self.page, blocks.products, view.title)
        early = self._not_a_product(told, view)
        if early is not None:
            return early
        made = self._weigh(told, things, view)
        if made.outcome is Outcome.NOT_PRODUCT and blocks.refused:
            return Reading(Outcome.DOUBTFUL, blocks.refused)
        return made

    def _not_a_product(self, told: list[Told], view: visible.View) -> Reading | None:
        if any(t.priced for t in told):
            return None
        found = pageclass.challenge(self.doc, self.page.text())
        if found.kind == "barred":
            return Reading(Outcome.BARRED, found.reason)
        found = pageclass.lost(self.doc, view.title)
        if found.kind:
            return Reading(Outcome.NOT_PRODUCT, found.reason, title=view.title)
        return None

    def _weigh(self, told: list[Told], things: int, view: visible.View) -> Reading:
        """A verdict over all that is told and shown, and looked at again rule by rule."""
        page, doc, text = self.page, self.doc, self.page.text
        court, choices, where = court_of(page, told, view)
        court, verdict = with_state(page, court, settle(court), view)
        listed = dropdown.read(doc, view.places, page.locale, verdict.currency or court.currency)
        verdict = self.wishes.by_choice(verdict, choices, court, listed.all)
        verdict = by_breaks(doc, text, verdict, view, court, page.locale)
        verdict = _single(verdict, view, court)
        verdict = bought_once(with_options(doc, verdict, court), court)
        court, verdict = lapsed(text, verdict, view, court, self.day)
        verdict = in_cents(text, in_sight(doc, text, verdict, view, court), view, court)
        verdict = self._of_this_page(court, verdict, view)
        if not self.rules.choice:
            court, verdict = of_variant(doc, view.places, text, court, verdict)
            verdict = beside(page, view, by_list(doc, verdict, listed, view, court))
        verdict, title = self.wishes.by_rules(verdict)
        around = Around(
            rules=self.rules, view=view, title=title, stock=self.wishes.stock_of(view),
            choices=choices or listed.all, choices_where=where, text=text,
            net=meta.net_price(doc), evidence=tuple(self.wishes.evidence),
        )  # fmt: skip
        nothing = Nothing(doc, self.rules, page.head.kind, text)
        other = nothing.placeholder(court, verdict, view) if not choices else None
        other = other or nothing.elsewhere(court, verdict, view)
        other = other or nothing.nothing_here(court, verdict, things, view, choices)
        if other is not None and states(page, court, verdict, view):
            other = None
        return other or numbered(doc, reading(court, verdict, around), view)

    def _of_this_page(self, court: Court, verdict: Verdict, view: visible.View) -> Verdict:
        """Markup that names another product than the page, with no price in sight to back it."""
        told = verdict.told
        if told is None or not (told.title and told.goods) or court.shown.now or verdict.doubt:
            return verdict
        if self.page.akin(told, view.title) or gives_number(self.doc, told, view):
            return verdict
        return replace(
            verdict, price=None, doubt=f"the markup names {told.title[:60]!r}, the page does not"
        )


def _single(verdict: Verdict, view: visible.View, court: Court) -> Verdict:
    """The price of one piece where the page has quantity prices: its upper end, never a tier's."""
    tiered, now = {m.price for m in view.multibuy}, court.shown.now
    ends = {t.high for t in court.told} | ({now.amount, now.high} if now else {None})
    if verdict.doubt == CHOICE_NEEDED and verdict.low in tiered and verdict.high in ends - {None}:
        return replace(verdict, price=verdict.high, low=None, high=None, doubt=None)
    if verdict.price in tiered and now is None and verdict.doubt is None:
        single = ends - tiered - {None}
        if len(single) == 1:
            return replace(verdict, price=single.pop(), low=None, high=None)
        return replace(verdict, price=None, doubt="the price may hold only for several pieces")
    return verdict
