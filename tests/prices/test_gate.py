"""The gate: what is believed at once, what waits for later readings, what waits for the user."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scrapers import Ids, Outcome, Reading, Tax
from service.model.prices import Offer, Spell
from service.prices.gate import GateVerdict, judge

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Aside:
    at: datetime
    reading: dict[str, Any] = field(default_factory=dict)
    seen: int = 1


def reading(
    price: str | None, listed: str | None = None, currency: str = "EUR", **more: Any
) -> Reading:
    return Reading(
        outcome=more.pop("outcome", Outcome.OK),
        price=None if price is None else Decimal(price),
        list_price=None if listed is None else Decimal(listed),
        currency=currency,
        **more,
    )


def history(
    *runs: str, currency: str = "EUR", until: datetime = NOW - DAY / 4, **offer: Any
) -> list[Spell]:
    """`"30d@24.90"` or `"30d@80/100"` (list price behind the slash), the last one ends at `until`."""
    spells, end = [], until
    for run in reversed(runs):
        days, price = run.split("d@")
        price, _, listed = price.partition("/")
        start = end - int(days) * DAY + DAY / 4
        terms = Offer(Decimal(price), currency, Decimal(listed) if listed else None, **offer)
        spells.append(Spell(1, terms, start, end, polls=max(1, int(days) * 4)))
        end = start - DAY / 4
    return spells[::-1]


def ask(price: str, runs: list[Spell], listed: str | None = None, **more: Any) -> GateVerdict:
    currency = more.pop("currency", "EUR")
    return judge(reading(price, listed, currency), runs, at=NOW, **more)


def test_first_reading_is_believed() -> None:
    assert judge(reading("24.90"), [], at=NOW) == GateVerdict(accept=True)


def test_same_price_again_is_believed() -> None:
    assert ask("24.90", history("30d@24.90")).accept


@pytest.mark.parametrize("price", ["22.90", "25.90", "20.00", "30.00"])
def test_ordinary_changes_of_a_flat_price_pass(price: str) -> None:
    # e.g. the flat series 24.9 x 9 then 22.9: with MAD = 0 a floor must keep it in
    assert ask(price, history("90d@24.90")).accept


@pytest.mark.parametrize(
    ("price", "words"),
    [
        ("2.49", "1/10"),
        ("249.0", "10 times"),
        ("0.25", "1/100"),
        ("2490", "100 times"),
        ("24900", "1000 times"),
    ],
)
def test_exact_powers_of_ten_are_named(price: str, words: str) -> None:
    # the slips 2.49 and 249.0 around 25: the two must be caught alike (log scale)
    verdict = ask(price, history("90d@24.90"))
    assert (verdict.accept, verdict.kind) == (False, "factor")
    assert words in (verdict.reason or "")


def test_a_struck_through_price_does_not_excuse_a_decimal_slip() -> None:
    assert ask("2.49", history("90d@24.90"), "24.90").kind == "factor"


def test_slip_of_the_list_price() -> None:
    assert ask("3.00", history("60d@24.90/29.99")).kind == "factor"


@pytest.mark.parametrize("price", ["80", "70", "60", "50"])
def test_real_sales_pass_without_delay_when_the_page_says_so(price: str) -> None:
    assert ask(price, history("90d@100"), "100").accept


@pytest.mark.parametrize("price", ["70", "60", "50"])
def test_the_same_falls_wait_when_nothing_says_why(price: str) -> None:
    verdict = ask(price, history("90d@100"))
    assert (verdict.accept, verdict.kind, verdict.needs) == (False, "jump", 2)
    assert f"{100 - int(price)} %" in (verdict.reason or "")


def test_list_price_below_what_was_paid_explains_nothing() -> None:
    assert ask("50", history("90d@100"), "60").kind == "jump"


def test_deeper_than_half_waits_even_when_struck() -> None:
    assert ask("30", history("90d@100"), "100").kind == "jump"


def test_back_from_a_sale_to_the_list_price_or_an_earlier_price() -> None:
    assert ask("100", history("30d@60/100")).accept
    assert ask("100", history("60d@100", "10d@60/100")).accept
    assert ask("60", history("60d@100", "10d@60/100", "60d@100")).accept


def test_a_scattered_price_has_a_wider_scale() -> None:
    scattered = history(*[f"10d@{p}" for p in (60, 100, 140, 80, 120, 60, 100, 150, 70, 130)])
    assert ask("190", scattered).accept
    assert not ask("190", history("100d@100")).accept


@pytest.mark.parametrize(
    ("price", "rate"),
    # 119.00 gross is 100.00 net at 19 %, 121.00 at 21 %, 120.00 at 20 %, 125.50 at 25.5 %
    [("119.00", "19"), ("121.00", "21"), ("120.00", "20"), ("125.50", "25.5")],
)
def test_exact_tax_factors_are_named(price: str, rate: str) -> None:
    up = ask(price, history("60d@100.00"))
    down = ask("100.00", history(f"60d@{price}"))
    assert up.kind == down.kind == "vat"
    assert f"plus {rate} %" in (up.reason or "")
    assert f"less {rate} %" in (down.reason or "")


def test_a_factor_that_the_page_explains_is_a_sale() -> None:
    assert ask("100.00", history("60d@125.00"), "125.00").accept


def test_tax_factor_of_the_suppliers_country_only() -> None:
    assert ask("121.00", history("60d@100.00"), vat_rates=(Decimal(19),)).accept


def test_tax_rates_within_rounding_but_not_beside_it() -> None:
    # 49.90 / 1.19 = 41.9328
    assert ask("41.93", history("60d@49.90")).kind == "vat"
    assert ask("41.95", history("60d@49.90")).accept
    assert ask("0.62", history("60d@0.52")).accept  # too few digits to say anything


def test_tax_footing_that_changes() -> None:
    runs = history("60d@100", tax=Tax.INCLUDED)
    assert judge(reading("100", tax=Tax.EXCLUDED), runs, at=NOW).kind == "tax"
    assert judge(reading("100", tax=Tax.UNKNOWN), runs, at=NOW).accept


def test_currency_flip() -> None:
    verdict = ask("24.90", history("60d@24.90"), currency="USD")
    assert (verdict.accept, verdict.kind) == (False, "currency")
    assert "same figure" in (verdict.reason or "")
    assert (
        ask("27.10", history("60d@24.90"), currency="USD").reason
        == "currency changed from EUR to USD"
    )


def test_list_and_sale_swapped() -> None:
    assert ask("100", history("30d@80/100"), "80").kind == "swapped"
    assert judge(reading("100", "80"), [], at=NOW).kind == "swapped"


@pytest.mark.parametrize("price", ["0.01", "9999", "99999.99", "1234.56"])
def test_placeholders_wait_for_the_user(price: str) -> None:
    same = [Aside(NOW - DAY, {"price": price, "currency": "EUR"}, seen=20)]
    verdict = ask(price, history("60d@38.00"), kept_aside=same)
    assert (verdict.accept, verdict.kind, verdict.needs) == (False, "placeholder", 0)
    assert judge(reading(price), [], at=NOW).kind == "placeholder"


def test_a_price_that_was_accepted_is_no_placeholder() -> None:
    assert ask("0.01", history("10d@0.01")).accept
    assert ask("9999", history("10d@9500")).accept
    assert judge(reading("9999", currency="JPY"), [], at=NOW).accept


@pytest.mark.parametrize(
    "broken",
    [
        reading(None),
        reading("24.90", outcome=Outcome.DOUBTFUL, reason="choice needed"),
        replace(reading("24.90"), currency=None),
        reading("0"),
        reading("-5"),
    ],
)
def test_what_is_no_price_never_passes(broken: Reading) -> None:
    verdict = judge(broken, [], at=NOW)
    assert (verdict.accept, verdict.kind) == (False, "reading")
    assert verdict.reason == (broken.reason or "no price was read")


class TestIdentity:
    runs = history("60d@38.00")

    def judged(self, now: Reading, **known: Any) -> GateVerdict:
        return judge(now, self.runs, at=NOW, **known)

    def test_another_gtin(self) -> None:
        # GTIN-13 4006381333931 is the GS1 example form; GTIN-14 pads it with a zero
        known = Ids(gtin="4006381333931")
        assert self.judged(reading("38.00", ids=Ids(gtin="04006381333931")), known_ids=known).accept
        verdict = self.judged(reading("38.00", ids=Ids(gtin="4012345678901")), known_ids=known)
        assert (verdict.kind, verdict.needs) == ("identity", 4)
        assert "GTIN" in (verdict.reason or "")

    def test_another_sku_unless_a_stronger_one_agrees(self) -> None:
        known = Ids(mpn="B4S-3300", sku="100")
        assert self.judged(
            reading("38.00", ids=Ids(mpn="b4s 3300", sku="200")), known_ids=known
        ).accept
        assert not self.judged(reading("38.00", ids=Ids(sku="200")), known_ids=known).accept

    def test_other_figures_in_the_title(self) -> None:
        verdict = self.judged(
            reading("38.00", title="Battery 4S 5000 mAh"), known_title="Battery 4S 3300 mAh"
        )
        assert verdict.kind == "identity"

    def test_another_title_altogether_but_not_a_longer_one(self) -> None:
        known = "4S 3300 mAh battery"
        assert self.judged(
            reading("38.00", title="4S 3300 mAh battery, XT60, in stock"), known_title=known
        ).accept
        assert not self.judged(
            reading("38.00", title="Carbon tube pultruded"), known_title=known
        ).accept

    def test_an_identifier_that_agrees_outweighs_a_new_title(self) -> None:
        now = reading("38.00", title="Power pack for gliders", ids=Ids(sku="100"))
        assert self.judged(now, known_title="4S 3300 mAh battery", known_ids=Ids(sku="100")).accept

    def test_sold_as_and_spec(self) -> None:
        assert (
            self.judged(reading("38.00", sold_as="2 pieces"), known_sold_as="1 piece").kind
            == "identity"
        )
        now = reading("38.00", spec={"cells": "6", "capacity_mAh": "3300"})
        verdict = self.judged(now, known_spec={"cells": "4", "capacity_mAh": "3300"})
        assert verdict.reason == "cells is 6, before 4"

    def test_nothing_known_nothing_doubted(self) -> None:
        now = reading("38.00", title="Anything", ids=Ids(gtin="4012345678901"), sold_as="1 piece")
        assert self.judged(now).accept


class TestCorroboration:
    runs = history("90d@100")
    said: ClassVar = {"price": "60.00", "currency": "EUR"}

    def ask(self, price: str, *kept: Any, **more: Any) -> GateVerdict:
        return ask(price, self.runs, kept_aside=kept, **more)

    def test_two_later_full_readings_make_it_a_price(self) -> None:
        assert self.ask("60").needs == 2
        assert self.ask("60", Aside(NOW - DAY, self.said)).needs == 1
        assert self.ask("60", Aside(NOW - DAY, self.said, seen=2)).accept
        assert self.ask("60", Aside(NOW - DAY, self.said), Aside(NOW - DAY / 2, self.said)).accept
        assert self.ask("60", self.said, reading("60")).accept

    def test_each_kind_of_kept_reading_counts_once_unless_it_says_more(self) -> None:
        assert self.ask("60", self.said).needs == 1
        assert self.ask("60", reading("60")).needs == 1
        assert self.ask("60", {**self.said, "seen": 2}).accept
        assert self.ask("60", Aside(NOW + DAY, self.said, seen=2)).needs == 2

    def test_another_price_in_between_starts_anew(self) -> None:
        other = {"price": "61.00", "currency": "EUR"}
        kept = [Aside(NOW - 3 * DAY, self.said, seen=2), Aside(NOW - DAY, other)]
        assert self.ask("60", *kept).needs == 2

    def test_another_currency_does_not_agree(self) -> None:
        assert (
            self.ask("60", Aside(NOW - DAY, {"price": "60", "currency": "USD"}, seen=5)).needs == 2
        )

    def test_too_close_together_does_not_count(self) -> None:
        kept = Aside(NOW - timedelta(minutes=5), self.said, seen=2)
        assert not self.ask("60", kept, apart=timedelta(hours=1)).accept
        assert self.ask("60", kept, apart=timedelta(minutes=5)).accept

    def test_a_decimal_slip_that_stays_is_the_price(self) -> None:
        assert self.ask("10", Aside(NOW - DAY, {"price": "10", "currency": "EUR"}, seen=2)).accept

    def test_a_reading_that_was_doubtful_in_itself_supports_none(self) -> None:
        said = {**self.said, "outcome": "doubtful"}
        assert self.ask("60", Aside(NOW - DAY, said, seen=5)).needs == 2
        assert self.ask("60", Aside(NOW - DAY, {**said, "outcome": "ok"}, seen=5)).accept
        unsure = reading("60", outcome=Outcome.DOUBTFUL)
        assert self.ask("60", unsure, unsure).needs == 2

    def test_unreadable_kept_reading_never_agrees(self) -> None:
        assert (
            self.ask("60", Aside(NOW - DAY, {"price": "a lot", "currency": "EUR"}, seen=9)).needs
            == 2
        )


HOUR = timedelta(hours=1)
CENTS = {"price": "2490", "currency": "EUR"}  # 24.90 read as cents


class TestPowersOfTen:
    """A page that was misread once is misread each time (common practice of reading pages)."""

    runs = history("90d@24.90")

    def ask(self, price: str, *kept: Any, **more: Any) -> GateVerdict:
        return ask(price, self.runs, kept_aside=kept, **more)

    @dataclass(frozen=True)
    class Since(Aside):
        since: datetime | None = None

    @pytest.mark.parametrize("seen", [2, 3, 50])
    def test_readings_that_agree_for_less_than_a_day_are_not_believed(self, seen: int) -> None:
        first = NOW - 24 * HOUR + timedelta(seconds=1)
        verdict = self.ask("2490", self.Since(NOW - HOUR, CENTS, seen, first))
        assert (verdict.accept, verdict.kind, verdict.needs) == (False, "factor", 1)
        assert verdict.until == NOW + timedelta(seconds=1)

    @pytest.mark.parametrize(("seen", "needs"), [(1, 1), (2, 0), (3, 0)])
    def test_a_day_and_three_readings_settle_it(self, seen: int, needs: int) -> None:
        kept = self.Since(NOW - HOUR, CENTS, seen, NOW - 24 * HOUR)
        verdict = self.ask("2490", kept)
        assert (verdict.accept, verdict.needs) == (not needs, needs)

    def test_the_day_starts_anew_with_another_price_in_between(self) -> None:
        other = {"price": "2500", "currency": "EUR"}
        kept = [Aside(NOW - 48 * HOUR, CENTS, seen=2), Aside(NOW - 2 * HOUR, other)]
        assert not self.ask("2490", *kept, Aside(NOW - HOUR, CENTS, seen=2)).accept

    def test_what_tells_no_time_tells_no_day(self) -> None:
        assert not self.ask("2490", reading("2490"), reading("2490"), reading("2490")).accept
        assert not self.ask("2490", {**CENTS, "seen": 9}).accept

    def test_the_reason_says_why_and_what_to_do(self) -> None:
        said = ask("2490", self.runs).reason or ""
        assert said.startswith("2490 is exactly 100 times 24.90: a decimal slip?")
        assert "misread each time" in said
        assert "24 hours" in said
        assert "you accept it" in said

    @pytest.mark.parametrize("price", ["2.49", "249", "24900", "0.25"])
    def test_down_and_up_alike(self, price: str) -> None:
        said = {"price": price, "currency": "EUR"}
        kept = self.Since(NOW - HOUR, said, 9, NOW - 23 * HOUR)
        assert not self.ask(price, kept).accept
        assert self.ask(price, replace(kept, since=NOW - 24 * HOUR)).accept

    @pytest.mark.parametrize(("before", "now"), [("2.49", "24.95"), ("2.50", "24.95")])
    def test_up_from_a_price_that_was_rounded(self, before: str, now: str) -> None:
        verdict = ask(now, history(f"60d@{before}"))
        assert (verdict.kind, verdict.until) == ("factor", NOW + 24 * HOUR)
        assert "to the cent 10 times" in (verdict.reason or "")

    @pytest.mark.parametrize("price", ["2.30", "230", "260"])
    def test_other_jumps_wait_no_day(self, price: str) -> None:
        said = {"price": price, "currency": "EUR"}
        assert ask(price, self.runs).until is None
        assert self.ask(price, Aside(NOW - timedelta(minutes=15), said, seen=2)).accept

    def test_another_doubt_beside_it_does_not_shorten_the_day(self) -> None:
        runs = history("60d@24.90", tax=Tax.INCLUDED)
        now = reading("2490", tax=Tax.EXCLUDED)
        kept = self.Since(NOW - HOUR, CENTS, 9, NOW - 5 * HOUR)
        verdict = judge(now, runs, at=NOW, kept_aside=[kept])
        assert (verdict.accept, verdict.kind, verdict.until) == (False, "tax", NOW + 19 * HOUR)
        assert judge(now, runs, at=NOW + 19 * HOUR, kept_aside=[kept]).accept

    def test_back_to_a_price_that_was_believed_is_believed(self) -> None:
        assert ask("24.90", history("60d@24.90", "2d@2490")).accept


class TestFlapping:
    def test_three_flips_within_six_readings(self) -> None:
        runs = [replace(s, polls=1) for s in history("60d@100", "1d@90", "1d@100")]
        verdict = ask("90", runs)
        assert (verdict.accept, verdict.kind) == (False, "flapping")
        assert verdict.reason == "the price flaps between 100 and 90"

    def test_slow_changes_to_and_fro_are_sales(self) -> None:
        assert ask("90", history("60d@100", "7d@90", "20d@100")).accept

    def test_two_flips_are_not_enough(self) -> None:
        assert ask("90", [replace(s, polls=1) for s in history("1d@90", "1d@100")]).accept

    def test_stock_changes_are_no_flips(self) -> None:
        runs = [replace(s, polls=1) for s in history("1d@100", "1d@90", "1d@90", "1d@90")]
        assert ask("100", runs).accept


def test_only_the_last_year_counts_but_the_last_price_always_does() -> None:
    old = history("60d@100", until=NOW - timedelta(days=500))
    assert ask("60", old).kind == "jump"
    recent = old + history("60d@200")
    assert ask("100", recent).kind == "jump"


def test_later_spells_than_the_time_asked_for_are_not_used() -> None:
    future = history("30d@60", until=NOW + 60 * DAY)
    assert ask("60", history("60d@100") + future).kind == "jump"


class TestBoundaries:
    """Both sides of every threshold that `gate` states."""

    flat = history("90d@100")

    @pytest.mark.parametrize(
        ("price", "kind"),
        # 3.5 scales of 0.07 on logs: 100 x exp(-0.245) = 78.27, 100 x exp(0.245) = 127.76
        [("78.28", None), ("78.26", "jump"), ("127.75", None), ("127.77", "jump")],
    )
    def test_jump(self, price: str, kind: str | None) -> None:
        assert ask(price, self.flat).kind == kind

    def test_jump_is_told_in_words(self) -> None:
        assert (
            ask("150", self.flat).reason
            == "the price rose by 50 % from 100 to 150, and nothing says why"
        )
        assert (
            ask("60", self.flat).reason
            == "the price fell by 40 % from 100 to 60, and nothing says why"
        )

    def test_near_the_usual_price_or_near_the_last_one_is_no_jump(self) -> None:
        sale = history("60d@100", "5d@60")
        assert ask("95", sale).accept
        assert ask("62", sale).accept
        assert ask("77", history("60d@130", "5d@60")).kind == "jump"

    @pytest.mark.parametrize(("price", "kind"), [("45", None), ("44.90", "jump")])
    def test_deepest_cut_that_a_struck_price_explains(self, price: str, kind: str | None) -> None:
        assert ask(price, self.flat, "100").kind == kind

    @pytest.mark.parametrize(("listed", "kind"), [("95", None), ("94.90", "jump"), ("60", "jump")])
    def test_how_near_the_struck_price_must_be(self, listed: str, kind: str | None) -> None:
        assert ask("60", self.flat, listed).kind == kind

    def test_a_rise_to_just_beside_the_list_price(self) -> None:
        assert ask("100.40", history("60d@60/100")).accept
        assert ask("101", history("60d@60/100")).kind == "jump"

    def test_list_price_equal_to_the_price_is_no_swap(self) -> None:
        assert ask("100", self.flat, "100").accept

    def test_tax_factors_from_one_up_and_to_the_half_cent(self) -> None:
        assert ask("1.00", history("60d@1.19")).kind == "vat"
        assert ask("0.99", history("60d@1.18")).accept
        assert ask("41.94", history("60d@49.90")).accept

    def test_placeholders_within_a_factor_of_two_are_prices_that_moved(self) -> None:
        assert ask("9999", history("60d@4999.50")).kind == "jump"
        assert ask("9999", history("60d@4999")).kind == "placeholder"
        assert ask("9999", history("60d@19998")).kind == "jump"
        assert ask("9999", history("60d@19999")).kind == "placeholder"

    def test_slips_cut_or_rounded_to_the_cent(self) -> None:
        assert ask("2.49", history("60d@24.95")).kind == "factor"
        assert ask("2.50", history("60d@24.95")).kind == "factor"
        assert ask("2.51", history("60d@24.95")).kind == "jump"

    @pytest.mark.parametrize(("between", "kind"), [((2, 3), "flapping"), ((3, 3), None)])
    def test_flips_within_six_readings(self, between: tuple[int, int], kind: str | None) -> None:
        first, low, high = history("60d@100", "1d@90", "1d@100")
        runs = [
            first,
            replace(low, polls=between[0]),
            replace(high, polls=1),
            replace(high, polls=between[1] - 1),
        ]
        assert ask("90", runs).kind == kind

    def test_a_third_price_is_no_flapping(self) -> None:
        runs = [replace(s, polls=1) for s in history("60d@100", "1d@90", "1d@100")]
        assert ask("91", runs).accept
        assert ask(
            "90", [replace(runs[0], offer=replace(runs[0].offer, price=Decimal(95))), *runs[1:]]
        ).accept

    def test_spells_that_begin_and_end_at_the_edges_of_the_year(self) -> None:
        edge = NOW - timedelta(days=365)
        old = history("60d@60", until=edge)
        assert ask("60", old + self.flat).accept
        older = history("60d@60", until=edge - DAY)
        assert ask("60", older + self.flat).kind == "jump"
        now = [Spell(1, Offer(Decimal(100), "EUR"), NOW, NOW)]
        assert ask("60", now).kind == "jump"


amounts = st.decimals("0.01", "99999", places=2)
past = st.lists(st.tuples(st.integers(1, 60), amounts, st.one_of(st.none(), amounts)), max_size=6)


@settings(max_examples=200, deadline=None)
@given(past, amounts, st.one_of(st.none(), amounts), st.sampled_from(["EUR", "USD", "JPY"]))
def test_any_reading_gets_a_verdict_that_ends(
    runs: list[tuple[int, Decimal, Decimal | None]],
    price: Decimal,
    listed: Decimal | None,
    currency: str,
) -> None:
    texts = [f"{days}d@{value}" + (f"/{struck}" if struck else "") for days, value, struck in runs]
    log = history(*texts) if texts else []
    now = reading(str(price), None if listed is None else str(listed), currency)
    verdict = judge(now, log, at=NOW)
    assert verdict.accept == (verdict.reason is None) == (verdict.kind is None)
    # the page goes on saying so: accepted after just as many more readings, or left to the user
    said = {"price": str(price), "currency": currency, "outcome": "ok"}
    for more in range(1, verdict.needs + 1):
        again = judge(now, log, at=NOW + more * DAY, kept_aside=[Aside(NOW, said, seen=more)])
        assert again.accept == (more == verdict.needs)
        assert again.needs == verdict.needs - more
    if not verdict.accept and not verdict.needs:
        assert verdict.kind == "placeholder"
    if (
        log
        and log[-1].offer.price == price
        and currency == "EUR"
        and (listed is None or listed >= price)
    ):
        assert verdict.accept
