"""What the user asks of the page: a choice of its own, rules that stand above every reader."""

from __future__ import annotations

from dataclasses import replace

from scrapers.errors import RuleError
from scrapers.model import Availability, Choice, Evidence, SiteRules, Source, Tax
from scrapers.readers import picked, rule, stock, visible
from scrapers.readers.dom import Doc
from scrapers.readers.values import clean
from scrapers.reconcile.court import CHOICE_NEEDED, Court, Verdict
from scrapers.reconcile.places import CURRENCY_OF
from scrapers.texts import read_availability, read_price


class Wishes:
    """The user's rules at work on one page; `evidence` tells what they found."""

    def __init__(self, doc: Doc, rules: SiteRules, locale: str | None, country: str | None) -> None:
        self.doc = doc
        self.rules = rules
        self.locale = locale
        self.country = country
        self.evidence: list[Evidence] = []

    def by_choice(
        self,
        verdict: Verdict,
        choices: tuple[Choice, ...],
        court: Court,
        listed: tuple[Choice, ...] = (),
    ) -> Verdict:
        """The variant that the user means has its own price in the table.

        `listed`: what the page's own list names, where no table and no markup does.
        """
        wanted = (self.rules.choice or "").strip().casefold()
        if not wanted:
            return self._by_selection(verdict, choices)
        if not choices:
            offered = [c for t in court.told if len(t.choices) > 1 for c in t.choices]
            if any(_is_meant(c, wanted) for c in offered) or not (offered or listed):
                return verdict
            return self._wanted(verdict, listed, wanted, Source.VISIBLE)
        return self._wanted(verdict, choices, wanted, Source.STATE)

    def _wanted(
        self, verdict: Verdict, choices: tuple[Choice, ...], wanted: str, source: Source
    ) -> Verdict:
        found = next((c for c in choices if c.price and _is_meant(c, wanted)), None)
        if found is None:
            return replace(verdict, doubt=f"the page has no choice {self.rules.choice!r} any more")
        self.evidence.append(Evidence(str(source), "price", str(found.price), found.name))
        return replace(
            verdict, price=found.price, doubt=None, source=source,
            currency=found.currency or verdict.currency, stock=found.availability,
        )  # fmt: skip

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

    def by_rules(self, verdict: Verdict) -> tuple[Verdict, str | None]:
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

    def stock_of(self, view: visible.View) -> stock.Stock:
        if self.rules.availability:
            text, _ = self._find(self.rules.availability, "availability")
            said = read_availability(text) or Availability.UNKNOWN
            proof = Evidence("rule", "availability", text[:80], self.rules.availability)
            return stock.Stock(said, proof, mixed=True)
        return stock.read(self.doc, view.places)


def _is_meant(choice: Choice, wanted: str) -> bool:
    return wanted in {choice.name.casefold(), (choice.sku or "").casefold()}
