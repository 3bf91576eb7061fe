"""Pages without a price of their own: what they say instead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from scrapers.model import Availability, Choice, Ids, Outcome, Reading, SiteRules, Source
from scrapers.readers import pageclass, state, visible
from scrapers.readers.dom import Doc
from scrapers.readers.values import clean
from scrapers.reconcile.court import ZERO, Court, Verdict
from scrapers.reconcile.goods import looks_like_goods
from scrapers.reconcile.notforsale import not_for_sale
from scrapers.reconcile.proofs import evidence_of
from scrapers.reconcile.tell import tell


@dataclass(frozen=True, slots=True)
class Nothing:
    """One page asked why it has no price. `kind`: what its metas call it; `text`: all it says."""

    doc: Doc
    rules: SiteRules
    kind: str | None
    text: Callable[[], str]

    def placeholder(self, court: Court, verdict: Verdict, view: visible.View) -> Reading | None:
        """A page whose only price is a 0, as of a group of products without prices, has none.

        Goods in stock for 0 are another thing: somebody should look at that page.
        """
        if verdict.doubt != ZERO or court.shown.now is not None or self.rules.price:
            return None
        asked = pageclass.why_no_price(self.text()).kind in ("call", "login", "withdrawn")
        stocked = verdict.told and verdict.told.availability is Availability.IN_STOCK
        if stocked and not asked:
            return None
        made = self._without_price(court, view, ZERO)
        return replace(
            made, availability=verdict.told.availability if verdict.told else Availability.UNKNOWN
        )

    def elsewhere(self, court: Court, verdict: Verdict, view: visible.View) -> Reading | None:
        """not_product, where the markup's price is none of this page's."""
        if self.rules.price:
            return None
        why = not_for_sale(self.doc, self.kind, self.text, court, verdict, view)
        return self._without_price(court, view, why) if why else None

    def nothing_here(
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
        if not sold and not looks_like_goods(self.doc, self.text(), self.kind, court, view):
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

    def _why(self, view: visible.View) -> pageclass.PageClass:
        asked = pageclass.asks(self.doc, view.places)
        if asked is not None:
            return pageclass.PageClass("call", f'the page states no price ("{asked[1]}")')
        return pageclass.why_no_price(self.text())

    def _without_price(self, court: Court, view: visible.View, reason: str = "") -> Reading:
        found = self._why(view)
        if view.doubts and not found.kind and not reason and not view.plain:
            return Reading(Outcome.DOUBTFUL, view.doubts[0], title=view.title)
        reason = found.reason or reason or "no product price stands on the page"
        if not found.reason and view.cards + view.elsewhere > 3:
            reason = "the page lists other products, none its own"
        low = min((t.low for t in court.told if t.low is not None), default=None)
        high = max((t.high for t in court.told if t.high is not None), default=None)
        gone = Availability.DISCONTINUED if found.kind == "withdrawn" else Availability.UNKNOWN
        return Reading(
            Outcome.NOT_PRODUCT, reason, title=clean(view.title), low=low, high=high,
            availability=gone, ids=next((t.ids for t in court.told if t.own), Ids()),
            currency=next((t.currency for t in court.told if t.currency), None),
            evidence=evidence_of(court),
        )  # fmt: skip
