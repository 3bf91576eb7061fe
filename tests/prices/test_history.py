"""The object of `history --json`: its keys, its forms, and that nothing is made up."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from scrapers import Availability, Tax
from service.model.prices import Offer, Spell
from service.prices.calendar import ShopSale
from service.prices.history import Question, Subject, history_object
from service.prices.lowest import lowest_over
from service.prices.track import Silence

START = datetime(2026, 1, 1, 8, tzinfo=UTC)
DAY = timedelta(days=1)
URL = "https://quillfeather.example/p/4s-3300"


def log_of(
    *runs: tuple[str, float], listing: int = 1, currency: str = "EUR", struck: str | None = None
) -> list[Spell]:
    """Runs of days; the last one shows `struck` as its list price."""
    spells, day = [], 0.0
    for price, length in runs:
        listed = Decimal(struck) if struck and len(spells) == len(runs) - 1 else None
        offer = Offer(Decimal(price), currency, listed, Availability.IN_STOCK, Tax.INCLUDED)
        first, last = START + day * DAY, START + (day + length - 0.25) * DAY
        spells.append(Spell(listing, offer, first, last, polls=int(4 * length)))
        day += length
    return spells


def ask(spells: list[Spell], **more: Any) -> dict[str, Any]:
    at = more.pop("at", spells[-1].last_seen if spells else START)
    gaps = {1: more.pop("gaps", ())}
    return history_object(Subject(URL, {1: spells}, {1: URL}, gaps), Question(at, **more))


# Normal 100, 80 three weeks ago, 70 now: to be measured from 80, 12.5 %, not 30 %
# (National Law Review, 9 December 2022)
SALE = ask(log_of(("100.00", 40), ("80.00", 2), ("100.00", 21), ("70.00", 7), struck="100.00"))


def test_the_whole_object() -> None:
    answer = SALE
    assert answer == {
        "subject": URL,
        "span": {"from": "2026-01-01T08:00:00Z", "to": "2026-03-12T02:00:00Z", "gaps_days": 0},
        "spells": SALE["spells"],
        "stats": {
            "now": "70.00",
            "low_30d": "70.00",
            "low_90d": "70.00",
            "low_365d": "70.00",
            "low_ever": "70.00",
            "high_ever": "100.00",
            "median_90d": "100.00",
            "percentile": "0.0",
            "days_since_lower": None,
            "spells": 4,
            "changes_per_30d": "1.29",
            "implied_days": "22.7",
            "regular": "100.00",
            "on_sale": True,
            "sale_share": "0.125",
            "sale_depth": "0.250",
            "days_between_sales": 23,
        },
        "discount": {
            "prior_price": "80.00",
            "sale_began": "2026-03-05T08:00:00Z",
            "real_percent": "12.5",
            "claimed_percent": "30.0",
            "verdict": "contradicted",
            "readings": 280,
            "days": 70,
        },
        "calendar": [],
        "advice": {
            "verdict": "not enough known",
            "chance": None,
            "interval": None,
            "episodes": 2,
            "expected_saving": None,
            "need_by": None,
            "reasons": [
                "70.00 EUR is at or below 80.00 EUR, the usual price of its sales",
                "2 of 2 past waits for 80.00 EUR ended with it",
                "a chance needs at least 5",
            ],
        },
    }


def test_spells_as_they_were_seen() -> None:
    assert len(SALE["spells"]) == 4
    assert SALE["spells"][-1] == {
        "listing": URL,
        "price": "70.00",
        "currency": "EUR",
        "list_price": "100.00",
        "availability": "in_stock",
        "tax": "included",
        "first_seen": "2026-03-05T08:00:00Z",
        "last_seen": "2026-03-12T02:00:00Z",
        "polls": 28,
    }


def test_it_is_json_without_floats() -> None:
    def floats(value: Any) -> list[float]:
        if isinstance(value, dict):
            return [f for inner in value.values() for f in floats(inner)]
        if isinstance(value, list):
            return [f for inner in value for f in floats(inner)]
        return [value] if isinstance(value, float) else []

    assert floats(SALE) == []
    assert json.loads(json.dumps(SALE)) == SALE


def test_nothing_seen() -> None:
    answer = ask([])
    assert answer["span"] == {"from": None, "to": None, "gaps_days": 0}
    assert answer["stats"].pop("spells") == 0
    assert set(answer["stats"].values()) == {None}
    assert answer["discount"]["verdict"] is None
    assert answer["advice"]["verdict"] == "not enough known"
    assert history_object(Subject("p", {}), Question(START))["spells"] == []


def test_gaps_are_told() -> None:
    hole = Silence(START + 10 * DAY, START + 20 * DAY)
    assert ask(log_of(("100", 30)), gaps=[hole])["span"]["gaps_days"] == 10


def test_since_hides_spells_but_not_what_they_say() -> None:
    answer = ask(log_of(("80", 30), ("100", 20), ("90", 10)), since=START + 40 * DAY)
    assert [s["price"] for s in answer["spells"]] == ["100.00", "90.00"]
    assert answer["stats"]["low_ever"] == "80.00"


def test_currency_without_minor_units() -> None:
    answer = ask(log_of(("4980", 30), currency="JPY"))
    assert answer["stats"]["now"] == "4980"


@pytest.mark.parametrize(
    ("prior", "now", "percent"),
    [("40.00", "37.50", "6.3"), ("80", "85", "-6.3"), ("3", "2", "33.3")],
)
def test_reductions_have_one_decimal_half_up(prior: str, now: str, percent: str) -> None:
    runs = (
        [(prior, 40.0), (now, 2.0)]
        if Decimal(now) < Decimal(prior)
        else [(prior, 40.0), ("100", 5.0), (now, 2.0)]
    )
    assert ask(log_of(*runs))["discount"]["real_percent"] == percent


def test_chance_and_need_by() -> None:
    answer = ask(
        log_of(*([("100", 30.0), ("80", 5.0)] * 6), ("100", 3.0)), need_by=START + 270 * DAY
    )
    assert answer["advice"] == {
        "verdict": "wait",
        "chance": "1.00",
        "interval": ["0.54", "1.00"],
        "episodes": 6,
        "expected_saving": "19.61",
        "need_by": "2026-09-28T08:00:00Z",
        "reasons": answer["advice"]["reasons"],
    }
    assert answer["advice"]["reasons"][0] == "6 of 7 past waits for 80.00 EUR ended with it"


class TestPart:
    """Two listings of one part: 1 in boxes of two, 2 in single pieces."""

    boxes = log_of(("60", 40), ("50", 5), ("60", 20), listing=1)
    pieces = log_of(("28", 60), ("24", 5), listing=2, struck="28")
    at = pieces[-1].last_seen

    def ask(self, at: datetime) -> dict[str, Any]:
        def each(spell: Spell) -> Spell:
            offer = spell.offer
            return Spell(
                spell.listing,
                Offer(offer.price / 2, offer.currency),
                spell.first_seen,
                spell.last_seen,
            )

        lowest = lowest_over({1: [each(s) for s in self.boxes], 2: self.pieces}, at=at)
        sale = ShopSale(START + 60 * DAY, START + 61 * DAY, 5, 12, Decimal("0.15"))
        subject = Subject(
            "battery-4s",
            {1: self.boxes, 2: self.pieces},
            {1: "a", 2: "b"},
            lowest=lowest,
            shop_sales={"quillfeather": [sale]},
        )
        return history_object(subject, Question(at))

    def test_lowest_per_unit_but_spells_per_unit_of_sale(self) -> None:
        answer = self.ask(self.at)
        assert (
            answer["stats"]["now"],
            answer["stats"]["low_ever"],
            answer["stats"]["high_ever"],
        ) == ("24.00", "24.00", "28.00")
        assert answer["stats"]["spells"] == 4
        assert [(s["listing"], s["price"]) for s in answer["spells"]] == [
            ("a", "60.00"),
            ("b", "28.00"),
            ("a", "50.00"),
            ("a", "60.00"),
            ("b", "24.00"),
        ]

    def test_the_claim_of_the_cheapest_listing_is_judged(self) -> None:
        discount = self.ask(self.at)["discount"]
        assert (discount["prior_price"], discount["real_percent"], discount["verdict"]) == (
            "28.00",
            "14.3",
            "not contradicted",
        )

    def test_without_a_usable_price_there_is_no_now(self) -> None:
        late = self.ask(self.at + 10 * DAY)
        assert (late["stats"]["now"], late["stats"]["on_sale"], late["stats"]["low_ever"]) == (
            None,
            None,
            "24.00",
        )
        assert late["advice"]["verdict"] == "not enough known"

    def test_shop_wide_sales_stand_in_the_calendar(self) -> None:
        (fact,) = self.ask(self.at)["calendar"]
        assert fact["text"] == "quillfeather, 2026-03-02: 5 of 12 listings fell, 15 % in the middle"
        assert (fact["kind"], fact["listings"], fact["of"], fact["depth"]) == (
            "shop_sale",
            5,
            12,
            "0.150",
        )
        assert self.ask(START + 50 * DAY)["calendar"] == []

    def test_endless_digits_are_cut(self) -> None:
        third = [Spell(1, Offer(Decimal(38) / Decimal("0.27"), "EUR"), START, START + DAY)]
        subject = Subject("sheet", {1: self.boxes}, {1: "a"}, lowest=third)
        assert history_object(subject, Question(START + DAY))["stats"]["now"] == "140.74"


def test_calendar_of_earlier_years() -> None:
    first = date(2024, 11, 1)
    days = [
        (date(2024, 11, 26), "30"),
        (date(2024, 12, 3), "40"),
        (date(2025, 11, 25), "30"),
        (date(2025, 12, 2), "40"),
    ]
    spells, price, start = [], "40", first
    for day, following in [*days, (date(2026, 11, 10), "40")]:
        begin, end = (datetime(d.year, d.month, d.day, tzinfo=UTC) for d in (start, day))
        last = end if day.year == 2026 else end - DAY / 4
        spells.append(Spell(1, Offer(Decimal(price), "EUR"), begin, last, polls=9))
        start, price = day, following
    calendar = ask(spells)["calendar"]
    assert calendar[0] == {
        "kind": "yearly_sale",
        "text": "cheapest in two years: the last week of November, 25 % down, twice",
        "week": "the last week of November",
        "years": [2024, 2025],
        "depth": "0.250",
    }
    assert [fact["text"] for fact in calendar[1:]] == [
        "2025-11-10 to 2025-12-08: lowest 30.00 EUR, 25 % below the regular price",
        "2024-11-10 to 2024-12-08: lowest 30.00 EUR, 25 % below the regular price",
    ]
