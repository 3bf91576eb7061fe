"""The books: all money out is somewhere, nothing goes below nothing unsaid."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from builds_kit import amount, part
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds.ledger import (
    Bill,
    Bought,
    Event,
    Left,
    Used,
    balance,
    bought,
    estimate_error,
    shown,
)
from service.builds.shelf import aged, running_low
from service.model.money import Money
from service.model.orders import Purchase

D, F = Decimal, Fraction
START = date(2026, 3, 1)

days = st.integers(0, 30).map(lambda k: START + timedelta(days=k))
money = st.decimals("0", "99.99", places=2)
much = st.decimals("0.1", "9", places=1)
keys = st.sampled_from(["resin", "ply"])
orders = st.sampled_from([None, "o1", "o2"])
states = st.sampled_from(
    ["ordered", "part arrived", "arrived", "arrived", "wrong", "cancelled", "returned", "refunded"]
)
events = st.one_of(
    st.builds(Bought, keys, much, money, days, orders, states, much),
    st.builds(
        Bill,
        st.sampled_from(["o1", "o2"]),
        st.sampled_from(["postage", "customs", "carrier", "fee"]),
        money,
        days,
    ),
    st.builds(Used, keys, much, st.sampled_from(["curlew", "skua"]), days, st.booleans()),
    st.builds(Used, keys, much.map(lambda x: -x), st.sampled_from(["curlew", "skua"]), days),
    st.builds(
        Left,
        keys,
        much,
        st.sampled_from(["sold", "written off", "returned"]),
        days,
        st.sampled_from([None, "skua"]),
        money,
        money,
    ),
)


def spent(known: list[Event]) -> Fraction:
    """All money out, added up without any bookkeeping."""
    total = F(0)
    for event in known:
        match event:
            case Bought():
                total += F(event.cost) if event.state != "cancelled" else 0
            case Bill():
                total += F(event.cost)
            case Left():
                total += F(event.postage)
    return total


@given(st.lists(events, max_size=20))
@settings(max_examples=200, deadline=None)
def test_all_money_out_is_somewhere(known: list[Event]) -> None:
    state = balance(known)
    assert state.money_out == spent(known)
    buckets = state.buckets()
    assert sum(buckets.values()) == state.money_out
    assert all(value >= 0 for value in buckets.values())
    cents = shown(buckets, "EUR")
    assert F(sum(cents.values())) * 100 == int(state.money_out * 100 + F(1, 2))
    assert all(abs(F(cents[name]) - buckets[name]) < F(1, 100) for name in buckets)


@given(st.lists(events, max_size=20))
@settings(max_examples=100, deadline=None)
def test_amounts_are_kept_and_never_below_nothing(known: list[Event]) -> None:
    state = balance(known)
    for key in ("resin", "ply"):
        assert state.hand[key].amount >= 0
        came = sum(
            F(e.amount)
            for e in known
            if isinstance(e, Bought)
            and e.part == key
            and e.state in {"arrived", "ordered", "part arrived"}
        )
        inside = sum((heaps[key].amount for heaps in state.builds.values() if key in heaps), F(0))
        assert state.hand[key].amount + state.coming[key].amount + inside <= came


def test_first_in_first_out() -> None:  # common practice of stock keeping
    state = balance(
        [
            Bought("resin", D(100), D(3), START),
            Bought("resin", D(100), D(5), START + timedelta(days=1)),
            Used("resin", D(150), "curlew", START + timedelta(days=2)),
            Used("resin", D(10), "curlew", START + timedelta(days=3), repair=True),
        ]
    )
    assert state.cost_of("curlew") == F("5.5")
    assert state.cost_of("curlew", repair=True) == F("0.5")
    assert state.stock()["resin"].free == 40
    assert not state.warnings


def test_on_its_way_is_not_on_hand_but_not_bought_again() -> None:
    state = balance([Bought("ply", D(3), D(30), START, "o1", "part arrived", D(1))])
    assert (state.stock()["ply"].free, state.stock()["ply"].coming) == (1, 2)
    assert state.buckets()["on its way"] == 20


def test_a_late_bill_is_shared_by_price_also_over_what_is_used() -> None:
    known: list[Event] = [
        Bought("motor", D(1), D(75), START, "o1"),
        Bought("ply", D(1), D(25), START, "o1"),
        Used("motor", D(1), "curlew", START),
        Bill("o1", "postage", D(8), START),
        Bill("o1", "customs", D(20), START + timedelta(days=9)),
    ]
    assert balance(known, START).cost_of("curlew") == 75
    later = balance(known)
    assert later.cost_of("curlew") == 90
    assert later.buckets()["on hand"] == 30
    assert later.buckets()["postage"] == 8
    bills = [event for event in known if isinstance(event, Bill)]
    assert estimate_error(D(15), bills, "o1") == 5


def test_taking_more_than_there_is_warns() -> None:
    state = balance([Bought("ply", D(1), D(8), START), Used("ply", D(3), "curlew", START)])
    assert state.cost_of("curlew") == 8
    assert state.warnings == [f"{START}: 3 of ply taken where 1 were there"]


def test_parts_move_between_builds_at_what_they_cost() -> None:
    state = balance(
        [
            Bought("motor", D(1), D(80), START),
            Used("motor", D(1), "skua", START),
            Used("motor", D(-1), "skua", START),
            Used("motor", D(1), "curlew", START),
            Left("motor", D(1), "sold", START, "curlew", D(50)),
        ]
    )
    assert (state.cost_of("skua"), state.cost_of("curlew")) == (0, 0)
    assert (state.buckets()["sold"], state.money_in) == (80, 50)


def test_what_runs_low_or_grows_old() -> None:
    resin = part("resin", "g", keep=amount("200 g"), shelf_life=timedelta(days=365))
    state = balance([Bought("resin", D(150), D(6), START)])
    assert running_low([resin], state, START) == {"resin": F(50)}
    assert aged([resin], state, START + timedelta(days=365)) == {}
    assert aged([resin], state, START + timedelta(days=366)) == {"resin": F(150)}


def test_aged_stock_does_not_keep_a_part_from_running_low() -> None:
    # 300 g that are too old: all of the 200 g to keep lack, until they are found good again
    resin = part("resin", "g", keep=amount("200 g"), shelf_life=timedelta(days=365))
    state = balance([Bought("resin", D(300), D(12), START)])
    later = START + timedelta(days=400)
    assert running_low([resin], state, START) == {}
    assert running_low([resin], state, later) == {"resin": F(200)}
    assert running_low([resin], state, later, {"resin": later}) == {}


def test_purchases_count_by_what_was_debited() -> None:
    entry = Purchase(
        "motor", D(2), Money(D(80), "EUR"), D(1), debited=Money(D("81.20"), "EUR"), on=START
    )
    assert balance(bought([entry])).buckets()["on hand"] == F("81.2")
