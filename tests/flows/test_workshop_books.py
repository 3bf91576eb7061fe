"""What happens, on a real SQLite store: money out is somewhere, whatever order things come in."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from book_events import MORE, Plain, euro, events
from book_kit import CATALOGUE, kit
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InputError, ServiceError
from service.flows import ask, edit, order_list, orders, workshop
from service.flows.buying import Bought, buy
from service.flows.ordering import Terms, place, read_wanted
from service.flows.orders import Change
from service.flows.stock import stock, wishes
from service.flows.taking import take_all

D = Decimal


@contextmanager
def book(path: Path):
    with kit(path, CATALOGUE + MORE) as one:
        yield one


@pytest.fixture
def deps(tmp_path: Path):
    with book(tmp_path) as one:
        yield one.deps


@given(st.lists(events, min_size=1, max_size=9))
@settings(max_examples=40, deadline=None)
def test_all_money_out_is_in_builds_repairs_on_hand_returned_written_off_or_postage(known) -> None:
    """Double-entry bookkeeping (Pacioli, Summa de arithmetica, 1494): every sum has its place."""
    with tempfile.TemporaryDirectory() as folder, book(Path(folder)) as one:
        plain = Plain(one.deps)
        for event in known:
            plain.happen(event)
        found = stock(one.deps)
        sums = {name: D(text) for name, text in found["money"].items()}
        assert sums.pop("out") == plain.out
        assert sums.pop("back") == plain.back
        assert sum(sums.values()) == plain.out
        assert all(value >= 0 for value in sums.values())
        assert all(D(row["amount"]) > 0 for row in found["on_hand"])


def state(deps, key: str = "o1") -> list[str]:
    return [line["state"] for line in order_list.order(deps, key)["lines"]]


def test_states_by_line(deps) -> None:  # common practice of order keeping
    lines = [read_wanted("2 x motor @ 30.00 EUR"), read_wanted("1 x battery = 12.00 EUR")]
    with pytest.raises(InputError, match="one supplier"):
        place(deps, lines, Terms(), "o1")
    place(deps, [read_wanted("3 x motor @ 30.00 EUR")], Terms("motors"), "o1")
    assert state(deps) == ["ordered"]
    orders.arrive(deps, "o1", Change("motor", D(1)))
    assert state(deps) == ["part arrived"]
    orders.cancel(deps, "o1", Change("motor", D(1)))
    orders.arrive(deps, "o1", Change())
    assert state(deps) == ["arrived"]
    orders.wrong(deps, "o1", Change("motor", D(1)))
    assert state(deps) == ["wrong"]
    orders.give_back(deps, "o1", Change("motor", postage=euro("4.00")))
    assert state(deps) == ["arrived"]
    orders.arrive(deps, "o1", Change("motor", D(1)))  # the replacement
    line = order_list.order(deps, "o1")["lines"][0]
    assert (line["arrived"], line["returned"], line["cancelled"]) == ("2", "0", "1")
    orders.give_back(deps, "o1", Change(money=euro("60.00")))
    assert state(deps) == ["refunded"]
    with pytest.raises(InputError, match="nothing of it can be booked as cancelled"):
        orders.cancel(deps, "o1", Change())


def test_on_its_way_is_not_on_hand_but_not_bought_again(deps) -> None:
    edit.book_price(deps, "motor", euro("31.00"), "motors")
    assert ask.reprice(deps, "racer")["lines"][0]["buy"] == 1
    place(deps, [read_wanted("1 x motor @ 30.00 EUR")], Terms(), "o1")
    line = ask.reprice(deps, "racer")["lines"][0]
    assert (line["buy"], line["on_hand"], line["to_spend"]) == (0, "0", "0.00")
    assert "on its way" in line["hint"]
    orders.cancel(deps, "o1", Change())
    assert ask.reprice(deps, "racer")["lines"][0]["buy"] == 1
    assert ask.reprice(deps, "racer")["totals"]["spent"] is None


def test_what_a_build_has_taken_is_not_bought_again_and_others_do_not_get_it(deps) -> None:
    edit.book_price(deps, "glue", euro("5.00"), "motors", sold_as="100 g")
    buy(deps, "glue", D(1), euro("4.00"), Bought(supplier="motors"))
    told = workshop.use(deps, "glue", "60 g", "skua")
    assert (told["worth"], told["left"], told["warnings"]) == ("2.40", "40", [])
    found = ask.reprice(deps, "skua")
    line = found["lines"][0]
    assert (line["to_spend"], line["on_hand"], line["paid"]) == ("0.00", "0", "2.40")
    assert "60 g already in the build" in line["hint"]
    assert found["totals"]["spent"] == "4.00"  # the tub that was opened for it
    used = workshop.use(deps, "glue", "60 g", "old")
    assert used["repair"]
    assert len(used["warnings"]) == 1
    assert "60 of glue taken where 40 were there" in used["warnings"][0]
    assert stock(deps)["builds"] == [
        {"build": "old", "cost": "0.00", "repairs": "1.60"},
        {"build": "skua", "cost": "2.40", "repairs": "0.00"},
    ]


def test_late_bills_are_shared_by_price_and_the_estimate_is_judged(deps) -> None:
    # common practice: landed cost, charges shared in proportion to the value of the goods
    lines = [read_wanted("1 x motor @ 75.00 EUR"), read_wanted("1 x glue @ 25.00 EUR")]
    place(deps, lines[:1], Terms("motors"), "x1")
    with pytest.raises(InputError, match="one supplier"):
        place(deps, lines, Terms(), "o1")
    terms = Terms("motors", estimate=euro("15.00"), shipping=euro("8.00"))
    edit.book_price(deps, "glue", euro("25.00"), "motors")
    place(deps, lines, terms, "o1")
    orders.arrive(deps, "o1", Change())
    workshop.use(deps, "motor", "1", "racer")
    told = orders.bill(deps, "o1", "customs", euro("20.00"))
    assert (told["late_bills"], told["estimate_error"]) == ("20.00 EUR", "5.00 EUR")
    found = stock(deps)
    assert found["builds"] == [{"build": "racer", "cost": "90.00", "repairs": "0.00"}]
    assert (found["money"]["on_hand"], found["money"]["postage"]) == ("30.00", "8.00")


def test_a_set_is_shared_out_and_so_is_what_was_debited(tmp_path: Path) -> None:
    # by hand: 60 % and 40 % of 50.00; of 51.00 debited 30.60 and 20.40
    bundle = """
[[set]]
supplier = "motors"
url = "https://motors.example/set"
supplies = [
  { part = "motor", amount = "1 piece", split = "60 %" },
  { part = "glue", amount = "20 g", split = "40 %" },
]
"""
    with kit(tmp_path, CATALOGUE + MORE + bundle) as one:
        line = read_wanted("1 x https://motors.example/set = 50.00 EUR")
        told = place(one.deps, [line], Terms(debited=euro("51.00")), "s1")
        sums = [(x["part"], x["total"], x["debited"]) for x in told["lines"]]
        assert sums == [("motor", "30.00", "30.60 EUR"), ("glue", "20.00", "20.40 EUR")]
        orders.arrive(one.deps, "s1", Change())
        hand = {x["part"]: (x["amount"], x["cost"]) for x in stock(one.deps)["on_hand"]}
        assert hand == {"motor": ("1", "30.60"), "glue": ("20", "20.40")}


def test_a_purchase_that_only_names_an_order_takes_its_late_bills(deps) -> None:
    buy(deps, "motor", D(2), euro("60.00"), Bought(order="T-1"))
    assert order_list.orders(deps)[0]["lines"][0]["state"] == "arrived"
    orders.bill(deps, "T-1", "carrier", euro("6.00"))
    assert workshop.use(deps, "motor", "1", "racer")["worth"] == "33.00"
    assert ask.reprice(deps, "racer")["totals"]["spent"] == "33.00"


def test_the_books_of_a_past_day_know_nothing_of_later(tmp_path: Path) -> None:
    with book(tmp_path) as one:
        buy(one.deps, "motor", D(2), euro("60.00"), Bought(on="2026-01-05"))
        workshop.use(one.deps, "motor", "1", "racer", on="2026-02-01")
        place(one.deps, [read_wanted("1 x motor @ 28.00 EUR")], Terms("motors", "2026-02-02"), "p")
        orders.arrive(one.deps, "p", Change(on="2026-02-09"))
        amounts = {
            day: [(x["part"], x["amount"]) for x in stock(one.deps, day)["on_hand"]]
            for day in ("2026-01-04", "2026-01-05", "2026-02-01", "2026-02-09")
        }
        assert list(amounts.values()) == [[], [("motor", "2")], [("motor", "1")], [("motor", "2")]]
        assert stock(one.deps, "2026-02-05")["coming"][0]["orders"] == ["p"]


def test_parts_move_at_what_they_cost_and_a_sale_brings_money_back(deps) -> None:
    buy(deps, "motor", D(1), euro("80.00"))
    workshop.use(deps, "motor", "1", "racer")
    buy(deps, "motor", D(1), euro("50.00"))
    assert workshop.move(deps, "motor", "1", "racer", "skua")["worth"] == "80.00"
    assert stock(deps)["builds"][1] == {
        "build": "skua",
        "cost": "80.00",
        "repairs": "0.00",
    }
    workshop.sell(deps, "motor", "1", euro("45.00"), build="skua")
    sums = stock(deps)["money"]
    assert (sums["sold"], sums["back"], sums["on_hand"]) == ("80.00", "45.00", "50.00")


def test_low_and_aged_stock(tmp_path: Path) -> None:
    with book(tmp_path) as one:
        deps = one.deps
        buy(deps, "resin", D(150), euro("6.00"))
        assert wishes(deps)["resin"].value == 50
        one.clock.now += timedelta(days=366)
        found = stock(deps)
        assert found["on_hand"][0]["aged"] == "150"
        with deps.store.read() as unit:
            from service.flows.load import price_view

            view = price_view(unit, deps, deps.clock())
        assert view.on_hand["resin"].free == 0
        assert "past its shelf life" in view.notes["resin"][0]
        workshop.still_good(deps, "resin")
        assert stock(deps)["on_hand"][0]["aged"] is None


def test_offcuts_by_size(deps) -> None:
    buy(deps, "ply", D(1), euro("9.00"))
    assert workshop.set_offcut(deps, "ply", "400 x 300 mm", 2)["offcuts"] == ["2 x 400 x 300 mm"]
    assert workshop.set_offcut(deps, "ply", "300 x 400 mm", 1)["offcuts"] == ["1 x 300 x 400 mm"]
    assert stock(deps)["on_hand"][0]["offcuts"] == ["1 x 300 x 400 mm"]
    assert workshop.set_offcut(deps, "ply", "300 x 400 mm", 0)["offcuts"] == []
    with pytest.raises(InputError, match="no size"):
        workshop.set_offcut(deps, "ply", "3 g", 1)


def test_offcuts_of_what_was_never_booked_are_told(deps) -> None:
    # 2 x 0.3 m x 0.4 m are 0.24 m2, of which the books hold none
    (said,) = workshop.set_offcut(deps, "ply", "300 x 400 mm", 2)["warnings"]
    assert "--count 0.24" in said
    buy(deps, "ply", D("0.24"), euro("0.00"))
    assert workshop.set_offcut(deps, "ply", "300 x 400 mm", 2)["warnings"] == []


@pytest.mark.parametrize(
    ("do", "words"),
    [
        (lambda _: read_wanted("two motors"), "2 x battery-4s"),
        (lambda d: place(d, [read_wanted("1 x motor")], Terms()), "no price is known"),
        (lambda d: place(d, [read_wanted("1 x rotor @ 1 EUR")], Terms()), "rotor"),
        (lambda d: place(d, [read_wanted("1 x glue @ 1 EUR")], Terms(on="2030-01-01")), "future"),
        (lambda d: orders.arrive(d, "nope", Change()), "no order"),
        (lambda d: workshop.use(d, "glue", "1 m", "racer"), "counted in g"),
        (lambda d: workshop.use(d, "glue", "1 g", "nope"), "no build"),
        (lambda d: workshop.move(d, "glue", "1", "racer", "racer"), "two builds"),
        (lambda d: workshop.still_good(d, "glue"), "shelf_life"),
    ],
)
def test_bad_input_says_what_to_do(deps, do, words) -> None:
    with pytest.raises(ServiceError, match=words):
        do(deps)
    assert stock(deps)["money"]["out"] == "0.00"


PAIRS = """
[part.hinge]
name = "Hinge"
unit = "pair"
keep = "5 pairs"
[part.rod]
name = "Push rod"
unit = "ft"
[build.wren]
name = "Wren"
currency = "EUR"
lines = [{ part = "hinge", amount = "3 pairs" }]
"""


def test_amounts_are_told_in_the_parts_own_unit(tmp_path: Path) -> None:
    # common practice: hinges are counted in pairs; a foot is 0.3048 m (agreement of 1959)
    with kit(tmp_path, CATALOGUE + PAIRS) as one:
        deps = one.deps
        buy(deps, "hinge", D(1), euro("3.60"), Bought(supplier="motors", sold_as="4 pairs"))
        buy(deps, "rod", D(1), euro("6.00"), Bought(supplier="motors", sold_as="6 ft"))
        hand = {x["part"]: (x["amount"], x["unit"]) for x in stock(deps)["on_hand"]}
        assert hand == {"hinge": ("4", "pair"), "rod": ("6", "ft")}
        low = stock(deps)["low"][0]
        figures = [low[name] for name in ("keep", "on_hand", "coming", "lacking", "unit")]
        assert figures == ["5 pair", "4", "0", "1", "pair"]
        assert str(wishes(deps)["hinge"].value) == "1"
        told = workshop.use(deps, "hinge", "2", "wren")
        assert (told["amount"], told["unit"], told["left"]) == ("2", "pair", "2")
        line = ask.reprice(deps, "wren")["lines"][0]
        assert (line["on_hand"], line["unit"]) == ("1", "pair")
        assert "2 pair already in the build" in line["hint"]
        taken = take_all(deps, "wren")["lines"][0]
        assert (taken["amount"], taken["unit"]) == ("1", "pair")
        workshop.use(deps, "hinge", "1 piece", "wren")
        assert stock(deps)["on_hand"][0]["amount"] == "0.5"
        beyond = workshop.use(deps, "hinge", "3 pairs", "wren")["warnings"]
        assert beyond == ["2026-11-24: 3 of hinge taken where 0.5 were there"]


def test_an_amount_that_its_unit_would_round_is_told_in_the_base_unit(tmp_path: Path) -> None:
    # 1 m is 3.2808398950131... ft: told so, all of it could not be taken again
    with kit(tmp_path, CATALOGUE + PAIRS) as one:
        buy(one.deps, "rod", D(1), euro("6.00"), Bought(supplier="motors", sold_as="1 m"))
        row = stock(one.deps)["on_hand"][0]
        assert (row["amount"], row["unit"]) == ("1", "m")
        workshop.use(one.deps, "rod", f"{row['amount']} {row['unit']}", "wren")
        assert stock(one.deps)["on_hand"] == []
