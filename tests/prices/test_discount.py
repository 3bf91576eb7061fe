"""Announced reductions against published cases and the text of the law."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from scrapers import Availability
from service.model.prices import Offer, Spell
from service.prices.discount import Discount, Verdict, discount_words, judge_discount
from service.prices.rules import DiscountRule, discount_rules, rule_for
from service.prices.track import Silence

START = datetime(2026, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
POLL = DAY / 4


def log_of(history: str, sale: str, was: str | None, days_on_sale: int = 0) -> list[Spell]:
    """`"40d@100|2d@80"`, then `sale` (struck through: `was`); four readings a day from midnight."""
    spells, at = [], START
    runs = [(int(d), p) for d, p in (run.split("d@") for run in history.split("|"))]
    for days, price in [*runs, (days_on_sale, sale)]:
        struck = Decimal(was) if was and price is sale else None
        last = max(at, at + days * DAY - POLL)
        spells.append(
            Spell(1, Offer(Decimal(price), "EUR", struck), at, last, polls=max(1, 4 * days))
        )
        at += days * DAY
    return spells


def judged(history: str, sale: str, was: str | None, **more: object) -> Discount:
    spells = log_of(history, sale, was)
    return judge_discount(spells, at=spells[-1].last_seen, **more)  # type: ignore[arg-type]


# Each: history, price now, struck price, prior price, real and claimed reduction, verdict.
CJEU = "CJEU C-330/23, 26 September 2024, ECLI:EU:C:2024:804: bananas 1.69, 30-day low 1.29"
NLR = "National Law Review 9 December 2022, worked example of the 30-day rule"
GP = "Gazeta Prawna 16 September 2025 on the Polish rule"
RP = "Rzeczpospolita 8 May 2023 on the explanations of the Polish competition office"
ART = "Directive 98/6/EC Art. 6a(2): the lowest price of at least 30 days before"
CASES = [
    pytest.param(
        None, "20d@1.29|10d@1.69", "1.29", "1.69", "1.29", "0.0", "23.7", "contradicted", id=CJEU
    ),
    pytest.param(
        None, "40d@100|2d@80|21d@100", "70", "100", "80", "12.5", "30.0", "contradicted", id=NLR
    ),
    pytest.param(
        None,
        "40d@100|2d@80|31d@100",
        "70",
        "100",
        "100",
        "30.0",
        "30.0",
        "not contradicted",
        id=ART,
    ),
    pytest.param(
        None,
        "30d@250",
        "200",
        "400",
        "250",
        "20.0",
        "50.0",
        "contradicted",
        id=f"{GP}, 20 % not 50 %",
    ),
    pytest.param(
        None,
        "15d@210|15d@250",
        "200",
        "250",
        "210",
        "4.8",
        "20.0",
        "contradicted",
        id=f"{GP}, saves 10",
    ),
    pytest.param(
        None,
        "20d@100|10d@130",
        "90",
        "130",
        "100",
        "10.0",
        "30.8",
        "contradicted",
        id="raised first",
    ),
    pytest.param(
        None,
        "30d@100|7d@80|14d@100",
        "85",
        "100",
        "80",
        "-6.3",
        "15.0",
        "contradicted",
        id="dearer",
    ),
    pytest.param(
        None,
        "10d@100|1d@80|29d@100",
        "85",
        "100",
        "80",
        "-6.3",
        "15.0",
        "contradicted",
        id="day -30",
    ),
    pytest.param(
        None,
        "10d@100|1d@80|30d@100",
        "85",
        "100",
        "100",
        "15.0",
        "15.0",
        "not contradicted",
        id="day -31",
    ),
    pytest.param(
        None,
        "30d@100|7d@90|7d@80",
        "70",
        "100",
        "80",
        "12.5",
        "30.0",
        "contradicted",
        id=f"{RP}, 3 steps",
    ),
    pytest.param(
        "PL",
        "30d@10|7d@8",
        "4",
        "10",
        "8",
        "50.0",
        "60.0",
        "contradicted",
        id=f"{RP}, 50 % not 60 %",
    ),
    pytest.param(
        "PL", "30d@10", "8", "10", "10", "20.0", "20.0", "not contradicted", id=f"{RP}, first step"
    ),
    pytest.param(
        "DE",
        "30d@100|7d@90|7d@80",
        "70",
        "100",
        "100",
        "30.0",
        "30.0",
        "not contradicted",
        id="PAngV s. 11(2)",
    ),
    pytest.param(
        "FI",
        "30d@100|25d@90|24d@80",
        "70",
        "100",
        "100",
        "30.0",
        "30.0",
        "not contradicted",
        id="FI, 49 days",
    ),
    pytest.param(
        "FI",
        "30d@100|31d@90|31d@80",
        "70",
        "100",
        "80",
        "12.5",
        "30.0",
        "contradicted",
        id="FI, 62 days",
    ),
    pytest.param(
        None,
        "10d@50",
        "40",
        "50",
        "50",
        "20.0",
        "20.0",
        "not enough history",
        id="10 days on the market",
    ),
]


@pytest.mark.parametrize(
    ("country", "history", "sale", "was", "prior", "real", "claimed", "verdict"), CASES
)
def test_published_cases(
    *,
    country: str | None,
    history: str,
    sale: str,
    was: str,
    prior: str,
    real: str,
    claimed: str,
    verdict: str,
) -> None:
    d = judged(history, sale, was, country=country)
    assert d.prior_price == Decimal(prior)
    assert (str(d.real_percent), str(d.claimed_percent), d.verdict) == (real, claimed, verdict)


def test_new_goods_where_the_state_allows_a_shorter_period() -> None:
    # Directive 98/6/EC Art. 6a(4)
    d = judged("10d@50", "40", "50", rule=DiscountRule(new_goods=True))
    assert (d.prior_price, d.verdict) == (Decimal(50), Verdict.NOT_CONTRADICTED)


def test_the_window_stays_at_the_start_of_the_sale() -> None:
    # Rzeczpospolita 8 May 2023: fixed on the day the promotion starts, even past 30 days
    spells = log_of("40d@100", "80", "100", days_on_sale=45)
    d = judge_discount(spells, at=spells[-1].last_seen)
    assert (d.prior_price, str(d.real_percent), d.verdict) == (
        Decimal(100),
        "20.0",
        "not contradicted",
    )
    assert d.sale_began == START + 40 * DAY
    assert (d.readings, d.days) == (340, 85)
    assert discount_words(d) == "the discount fits what was seen on 85 days"


def test_a_claim_outlives_the_time_a_sale_is_taken_for_one() -> None:
    spells = log_of("40d@100", "80", "100", days_on_sale=75)
    d = judge_discount(spells, at=spells[-1].last_seen)
    assert (d.sale_began, d.verdict) == (START + 40 * DAY, Verdict.NOT_CONTRADICTED)


def test_a_sale_begins_at_the_first_fall() -> None:
    spells = log_of("30d@100|7d@90|7d@80", "70", "100")
    assert judge_discount(spells, at=spells[-1].last_seen).sale_began == START + 30 * DAY


def test_to_and_fro_within_a_sale_is_no_new_reduction() -> None:
    d = judged("30d@100|7d@80|3d@85", "80", "100")
    assert (d.prior_price, str(d.real_percent)) == (Decimal(100), "20.0")
    # the third step down is one, whatever came between
    assert judged("30d@100|7d@80|3d@85", "75", "100").prior_price == Decimal(80)


def test_rounding_of_printed_percentages() -> None:
    # 10.00 from 14.90 is 32.9 %: shops print 33
    assert judged("40d@14.90", "10.00", None, claimed=Decimal(33)).verdict == "not contradicted"
    assert judged("40d@14.90", "10.00", None, claimed=Decimal("33.8")).verdict == "not contradicted"
    assert judged("40d@14.90", "10.00", None, claimed=Decimal(34)).verdict == "contradicted"


def test_one_point_of_rounding_is_allowed_and_no_more() -> None:
    assert judged("40d@100", "80", None, claimed=Decimal(21)).verdict == "not contradicted"
    assert judged("40d@100", "80", None, claimed=Decimal("21.1")).verdict == "contradicted"


def test_a_claim_begins_with_the_first_spell_that_makes_it() -> None:
    spells = log_of("60d@100", "100", "130", days_on_sale=5)
    last = spells[-1]
    sold_out = replace(last.offer, availability=Availability.OUT_OF_STOCK)
    after = last.last_seen + POLL
    spells += [
        Spell(1, sold_out, after, after + DAY),
        Spell(1, last.offer, after + 2 * DAY, after + 3 * DAY),
    ]
    assert judge_discount(spells, at=after + 3 * DAY).sale_began == START + 60 * DAY
    # one that was dropped and made again began anew
    plain = replace(last.offer, list_price=None)
    spells[-2] = Spell(1, plain, after, after + DAY)
    assert judge_discount(spells, at=after + 3 * DAY).sale_began == after + 2 * DAY


def test_new_goods_must_have_been_watched_as_well() -> None:
    spells = log_of("5d@50|5d@60", "40", "60")
    rule, at = DiscountRule(new_goods=True), spells[-1].last_seen
    assert judge_discount(spells, at=at, rule=rule).prior_price == Decimal(50)
    low = [replace(s, offer=replace(s.offer, list_price=None)) for s in spells]
    hole = [Silence(START + DAY, START + 3 * DAY)]
    assert (
        judge_discount(low, hole, at=at, rule=rule, claimed=Decimal(20)).verdict
        == "not enough history"
    )
    assert judge_discount(low, at=at, rule=rule, claimed=Decimal(20)).verdict == "not contradicted"


def test_a_struck_price_that_equals_the_price_claims_nothing() -> None:
    assert judged("40d@100", "80", "80").claimed_percent is None


def test_half_up() -> None:
    # 40.00 -> 37.50 is 6.25 %
    assert str(judged("40d@40.00", "37.50", None).real_percent) == "6.3"
    # 100.00 -> 100.04 while 130 is struck through
    assert str(judged("40d@100", "100.04", "130").real_percent) == "0.0"


def test_without_a_claim_there_is_nothing_to_contradict() -> None:
    d = judged("40d@100", "80", None)
    assert (d.prior_price, str(d.real_percent), d.claimed_percent, d.verdict) == (
        Decimal(100),
        "20.0",
        None,
        None,
    )
    assert discount_words(d) is None


def test_no_sale_no_claim() -> None:
    spells = log_of("40d@100", "100", None, days_on_sale=1)
    d = judge_discount(spells, at=spells[-1].last_seen)
    assert (d.prior_price, d.sale_began, d.real_percent, d.verdict, d.days) == (
        None,
        None,
        None,
        None,
        41,
    )


def test_a_list_price_that_appears_beside_an_unchanged_price() -> None:
    d = judged("60d@100", "100", "130")
    assert (d.prior_price, str(d.real_percent), str(d.claimed_percent)) == (
        Decimal(100),
        "0.0",
        "23.1",
    )
    assert (d.sale_began, d.verdict) == (START + 60 * DAY, Verdict.CONTRADICTED)
    assert "23.1 % claimed, 0.0 %" in (discount_words(d) or "")


def test_a_claim_at_a_price_that_rose() -> None:
    d = judged("60d@80", "85", "100")
    assert (str(d.real_percent), d.verdict) == ("-6.3", Verdict.CONTRADICTED)


def test_a_claim_that_was_always_there_cannot_be_judged() -> None:
    spells = [Spell(1, Offer(Decimal(80), "EUR", Decimal(100)), START, START + 60 * DAY, polls=240)]
    d = judge_discount(spells, at=START + 60 * DAY)
    assert (d.prior_price, d.real_percent, str(d.claimed_percent)) == (None, None, "20.0")
    assert d.verdict == Verdict.NOT_ENOUGH
    assert "60 days only" in (discount_words(d) or "")


def test_gaps_in_the_window_leave_it_undecided_but_a_lower_price_still_contradicts() -> None:
    spells = log_of("40d@100", "80", "100")
    hole = [Silence(START + 20 * DAY, START + 30 * DAY)]
    at = spells[-1].last_seen
    assert judge_discount(spells, hole, at=at).verdict == Verdict.NOT_ENOUGH
    small = [Silence(START + 20 * DAY, START + 23 * DAY)]
    assert judge_discount(spells, small, at=at).verdict == Verdict.NOT_CONTRADICTED
    low = log_of("20d@100|1d@70|19d@100", "80", "100")
    hole = [Silence(START + 25 * DAY, START + 39 * DAY)]
    assert judge_discount(low, hole, at=at).verdict == Verdict.CONTRADICTED


def test_only_what_was_seen_within_the_window_counts() -> None:
    # seen at 80 last at noon 31 days before; the next reading, a day later, showed 100
    noon = START + DAY / 2
    spells = [
        Spell(1, Offer(Decimal(80), "EUR"), START, noon, polls=2),
        Spell(1, Offer(Decimal(100), "EUR"), noon + DAY, noon + 30 * DAY, polls=30),
        Spell(1, Offer(Decimal(85), "EUR", Decimal(100)), noon + 31 * DAY, noon + 31 * DAY),
    ]
    assert judge_discount(spells, at=noon + 31 * DAY).prior_price == Decimal(100)


def test_days_are_counted_where_the_user_lives() -> None:
    # 80 is last seen at 23:00 UTC of day -31, which is midnight of day -30 in Helsinki
    fall = datetime(2026, 3, 1, 12, tzinfo=UTC)
    low = datetime(2026, 1, 29, 23, tzinfo=UTC)
    spells = [
        Spell(1, Offer(Decimal(80), "EUR"), low - DAY, low, polls=5),
        Spell(1, Offer(Decimal(100), "EUR"), low + POLL, fall - POLL, polls=5),
        Spell(1, Offer(Decimal(85), "EUR", Decimal(100)), fall, fall),
    ]
    assert judge_discount(spells, at=fall).prior_price == Decimal(100)
    helsinki = judge_discount(spells, at=fall, zone=ZoneInfo("Europe/Helsinki"))
    assert helsinki.prior_price == Decimal(80)


def test_empty_history() -> None:
    assert judge_discount([], at=START).verdict is None
    assert judge_discount([], at=START).days == 0


class TestRules:
    def test_general_rule_where_a_country_has_none(self) -> None:
        assert rule_for("NL", date(2026, 1, 1)) == rule_for(None, date(2026, 1, 1))
        assert rule_for("NL", date(2026, 1, 1)).window_days == 30

    def test_rules_are_dated(self) -> None:
        # Poland's rule came into force on 1 January 2023
        assert rule_for("PL", date(2022, 12, 31)).country is None
        assert rule_for("PL", date(2023, 1, 1)).country == "PL"

    def test_before_the_directive_applied_the_default_still_answers(self) -> None:
        assert rule_for("DE", date(2020, 1, 1)) == DiscountRule()

    def test_every_row_names_its_source(self) -> None:
        assert all(rule.source and rule.since >= date(2022, 5, 28) for rule in discount_rules())
