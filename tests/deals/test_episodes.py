"""Deals open once an episode and close once. Rules: docs/glossary.md, "episode"; common practice
of alerting: a condition that wobbles on the line rings once."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from service.deals.episodes import step
from service.deals.evaluate import Standing, is_met
from service.model.deals import DealState, Target, condition_text
from service.model.money import Money

AT = datetime(2026, 11, 24, 12, tzinfo=UTC)
TARGET = Target("t", "part", "battery", at_or_below=Money(Decimal(38), "EUR"))


def at_price(price: str, **more: object) -> Standing:
    return Standing(Money(Decimal(price), "EUR"), listing="shop/battery", since=AT, **more)


def test_opens_at_the_threshold_itself_and_not_above():
    assert step(TARGET, at_price("38.00"), None, at=AT).tell == "opened"
    assert step(TARGET, at_price("38.01"), None, at=AT).deal is None


def test_an_open_deal_is_not_told_again():
    deal = step(TARGET, at_price("37"), None, at=AT).deal
    again = step(TARGET, at_price("37"), deal, at=AT + timedelta(hours=6))
    assert (again.deal, again.tell) == (None, None)
    lower = step(TARGET, at_price("36"), deal, at=AT + timedelta(hours=6))
    assert lower.tell is None
    assert lower.deal is not None
    assert lower.deal.value == Money(Decimal(36), "EUR")


def test_closes_when_the_price_rises_and_says_why():
    deal = step(TARGET, at_price("37"), None, at=AT).deal
    closed = step(TARGET, at_price("41"), deal, at=AT + timedelta(days=1)).deal
    assert closed is not None
    assert closed.state is DealState.CLOSED
    assert "41.00 EUR is not at or below 38.00 EUR" in (closed.close_reason or "")


def test_unknown_neither_opens_nor_closes():
    deal = step(TARGET, at_price("37"), None, at=AT).deal
    assert step(TARGET, Standing(unknown="stale"), deal, at=AT).deal is None
    assert step(TARGET, Standing(unknown="stale"), None, at=AT).deal is None


def test_a_total_that_lacks_a_price_meets_nothing():
    assert is_met(TARGET, at_price("1", complete=False)) is None


def test_gone_closes_without_a_word():
    deal = step(TARGET, at_price("37"), None, at=AT).deal
    gone = step(TARGET, Standing(gone=True), deal, at=AT)
    assert gone.deal is not None
    assert gone.tell is None
    assert gone.deal.close_reason == "the page is gone"


def test_hold_waits_and_forgets_when_the_price_leaves():
    held = replace(TARGET, hold=timedelta(hours=12))
    first = step(held, at_price("37"), None, at=AT)
    assert first.deal is None
    assert first.met_since == AT
    early = step(held, at_price("37"), None, at=AT + timedelta(hours=6), met_since=AT)
    assert early.deal is None
    late = step(held, at_price("37"), None, at=AT + timedelta(hours=12), met_since=AT)
    assert late.tell == "opened"
    left = step(held, at_price("39"), None, at=AT + timedelta(hours=6), met_since=AT)
    assert left.met_since is None


def test_reopen_above_keeps_a_wobble_in_one_episode():
    wide = replace(TARGET, reopen_above=Money(Decimal(42), "EUR"))
    deal = step(wide, at_price("37"), None, at=AT).deal
    assert step(wide, at_price("40"), deal, at=AT).deal is None or (
        step(wide, at_price("40"), deal, at=AT).deal.state is DealState.OPEN
    )
    assert step(wide, at_price("43"), deal, at=AT).deal.state is DealState.CLOSED


def test_again_below_tells_once_more():
    again = replace(TARGET, again_below=Money(Decimal(30), "EUR"))
    deal = step(again, at_price("37"), None, at=AT).deal
    cheaper = step(again, at_price("29"), deal, at=AT)
    assert cheaper.tell == "cheaper again"
    assert step(again, at_price("28"), cheaper.deal, at=AT).tell is None


def test_until_ends_the_target():
    ended = replace(TARGET, until=date(2026, 11, 23))
    deal = step(TARGET, at_price("37"), None, at=AT).deal
    assert step(ended, at_price("37"), None, at=AT).deal is None
    assert step(ended, at_price("37"), deal, at=AT).deal.close_reason == "the target has ended"


def test_the_key_is_of_the_price_that_began_not_of_the_run():
    one = step(TARGET, at_price("37"), None, at=AT + timedelta(minutes=5)).deal
    two = step(TARGET, at_price("37"), None, at=AT + timedelta(hours=3)).deal
    assert one is not None
    assert two is not None
    assert one.key == two.key == "t@20261124T120000Z"


@pytest.mark.parametrize(
    ("condition", "standing", "met"),
    [
        ({"unit_at_or_below": Money(Decimal(12), "EUR"), "per": "m"}, {"unit_value": "12"}, True),
        (
            {"unit_at_or_below": Money(Decimal(12), "EUR"), "per": "m"},
            {"unit_value": "12.01"},
            False,
        ),
        ({"below_regular": Decimal("0.15")}, {"regular": "47.06"}, True),  # 40 <= 40.001
        ({"below_regular": Decimal("0.15")}, {"regular": "47.05"}, False),  # 40 > 39.9925
        ({"below_regular": Decimal("0.15")}, {}, None),
        ({"lowest_in": timedelta(days=90)}, {"lowest_before": "40"}, True),
        ({"lowest_in": timedelta(days=90)}, {"lowest_before": "39.99"}, False),
        ({"within_budget": "share"}, {"budget": "40"}, True),
        ({"within_budget": "share"}, {"budget": "39.99"}, False),
        ({"back_in_stock": True}, {"available": True}, True),
        ({"back_in_stock": True}, {"available": False}, False),
        ({"back_in_stock": True}, {}, None),
    ],
)
def test_conditions(condition, standing, met):
    target = Target("t", "part", "x", **condition)
    values = {
        key: Money(Decimal(value), "EUR") if key == "unit_value" else value
        for key, value in standing.items()
    }
    values = {k: Decimal(v) if isinstance(v, str) else v for k, v in values.items()}
    assert is_met(target, Standing(Money(Decimal(40), "EUR"), **values)) is met
    assert condition_text(target)
