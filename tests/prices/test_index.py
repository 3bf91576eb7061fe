"""Index numbers against the PPI Manual's example, and a build's cost line by line."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.prices import formulas as f
from service.prices.index import Change, Edition, Quote, change_words, compare, linked

# Six goods, five periods: PPI Manual 2004, Tables 19.1 and 19.2 (artificial data; the
# same set stands in Balk 2008, Tables 3.1 and 3.2). Rows are goods, columns periods.
PRICES = list(
    zip(
        [1, 1.2, 1, 0.8, 1],
        [1, 3, 1, 0.5, 1],
        [1, 1.3, 1.5, 1.6, 1.6],
        [1, 0.7, 0.5, 0.3, 0.1],
        [1, 1.4, 1.7, 1.9, 2],
        [1, 0.8, 0.6, 0.4, 0.2],
        strict=True,
    )
)
QUANTITIES = list(
    zip(
        [1, 0.8, 1, 1.2, 0.9],
        [1, 0.9, 1.1, 1.2, 1.2],
        [2, 1.9, 1.8, 1.9, 2],
        [1, 1.3, 3, 6, 12],
        [4.5, 4.7, 5, 5.6, 6.5],
        [0.5, 0.6, 0.8, 1.3, 2.5],
        strict=True,
    )
)
# Fixed-base and chained results; two independent packages of index numbers agree on them
WEIGHTED = {
    f.laspeyres: ([1, 1.42, 1.345, 1.355, 1.44], [1, 1.42, 1.36461, 1.335139, 1.330577]),
    f.paasche: (
        [1, 1.382353, 1.20315, 1.02093, 0.796813],
        [1, 1.382353, 1.273966, 1.205975, 1.123405],
    ),
    f.fisher: (
        [1, 1.40105, 1.272099, 1.176163, 1.071172],
        [1, 1.40105, 1.318509, 1.268915, 1.22261],
    ),
    f.tornqvist: (
        [1, 1.405162, 1.289013, 1.226816, 1.247661],
        [1, 1.405162, 1.311201, 1.26244, 1.222405],
    ),
    f.walsh: (
        [1, 1.401718, 1.284968, 1.219266, 1.184986],
        [1, 1.401718, 1.320654, 1.273118, 1.230432],
    ),
    f.marshall_edgeworth: (
        [1, 1.40099, 1.265639, 1.14375, 0.980057],
        [1, 1.40099, 1.316511, 1.265142, 1.215548],
    ),
}
UNWEIGHTED = {
    f.carli: ([1, 1.4, 1.05, 0.916667, 0.983333], [1, 1.4, 1.166453, 0.923633, 0.944563]),
    f.jevons: (
        [1, 1.24192, 0.956335, 0.725581, 0.632456],
        [1, 1.24192, 0.956335, 0.725581, 0.632456],
    ),
    f.dutot: ([1, 1.4, 1.05, 0.916667, 0.983333], [1, 1.4, 1.05, 0.916667, 0.983333]),
    f.harmonic: (
        [1, 1.125967, 0.866856, 0.586244, 0.331034],
        [1, 1.125967, 0.783415, 0.569832, 0.414423],
    ),
    f.cswd: (
        [1, 1.255529, 0.954043, 0.733069, 0.570541],
        [1, 1.255529, 0.955937, 0.725476, 0.625659],
    ),
}


def test_the_data_are_the_published_ones() -> None:
    # expenditure as published: 10, 14.1, 15.28, 17.56, 20
    spent = [f.value(p, q) for p, q in zip(PRICES, QUANTITIES, strict=True)]
    assert spent == pytest.approx([10, 14.1, 15.28, 17.56, 20])


@pytest.mark.parametrize("formula", WEIGHTED, ids=lambda g: g.__name__)
def test_weighted_formulas(formula: f.Weighted) -> None:
    fixed, chained = WEIGHTED[formula]
    for t in range(5):
        got = formula(PRICES[0], PRICES[t], QUANTITIES[0], QUANTITIES[t])
        assert got == pytest.approx(fixed[t], abs=5e-7)
        assert f.chained(formula, PRICES[: t + 1], QUANTITIES[: t + 1]) == pytest.approx(
            chained[t], abs=5e-7
        )


@pytest.mark.parametrize("formula", UNWEIGHTED, ids=lambda g: g.__name__)
def test_unweighted_formulas(formula: f.Unweighted) -> None:
    fixed, chained = UNWEIGHTED[formula]
    for t in range(5):
        assert formula(PRICES[0], PRICES[t]) == pytest.approx(fixed[t], abs=5e-7)
        assert f.chained_unweighted(formula, PRICES[: t + 1]) == pytest.approx(chained[t], abs=5e-7)


def test_swap_and_back() -> None:
    # two prices change places and back: chained Carli says +56 %, the others nothing
    bounce = [(10, 20), (20, 10), (10, 20)]
    assert f.chained_unweighted(f.carli, bounce) == pytest.approx(1.5625)
    assert f.chained_unweighted(f.jevons, bounce) == pytest.approx(1)
    assert f.chained_unweighted(f.dutot, bounce) == pytest.approx(1)


prices_strategy = st.lists(
    st.tuples(st.floats(0.1, 100), st.floats(0.1, 100), st.floats(0.1, 9), st.floats(0.1, 9)),
    min_size=1,
    max_size=8,
)


@given(prices_strategy)
def test_bounds_between_the_formulas(rows: list[tuple[float, float, float, float]]) -> None:
    p0, pt, q0, qt = zip(*rows, strict=True)
    assert f.carli(p0, pt) >= f.jevons(p0, pt) - 1e-9
    assert f.jevons(p0, pt) >= f.harmonic(p0, pt) - 1e-9
    low, high = sorted((f.laspeyres(p0, pt, q0, qt), f.paasche(p0, pt, q0, qt)))
    assert low - 1e-9 <= f.fisher(p0, pt, q0, qt) <= high + 1e-9
    # time reversal, which Fisher, Walsh and Tornqvist pass (PPI Manual, chapter 16)
    for formula in (f.fisher, f.walsh, f.tornqvist):
        assert formula(p0, pt, q0, qt) * formula(pt, p0, qt, q0) == pytest.approx(1)


def test_an_index_of_nothing() -> None:
    with pytest.raises(ValueError, match="at least one"):
        f.carli([], [])
    with pytest.raises(ValueError, match="zip"):
        f.dutot([1, 2], [1])


# -- a build -------------------------------------------------------------------

BASKET = {"motor": Decimal(1), "esc": Decimal(1), "battery": Decimal(2), "plywood": Decimal(3)}
THEN = {
    k: Quote(Decimal(p))
    for k, p in {"motor": "79", "esc": "64.90", "battery": "32.50", "plywood": "7.95"}.items()
}
NOW = {
    k: Quote(Decimal(p))
    for k, p in {"motor": "85", "esc": "59.90", "battery": "39", "plywood": "8.25"}.items()
}


def test_build_index_and_contributions() -> None:
    c = compare(BASKET, THEN, NOW)
    assert (c.before, c.after) == (Decimal("232.75"), Decimal("247.65"))
    assert float(c.index or 0) == pytest.approx(1.064017, abs=5e-7)
    points = [float(line.points) for line in c.contributions]
    assert points == pytest.approx([2.5779, -2.1482, 5.5854, 0.3867], abs=5e-5)
    assert sum(line.change for line in c.contributions) == c.after - c.before


def test_it_is_the_lowe_index() -> None:
    p0, pt = ([float(q[k].price) for k in BASKET] for q in (THEN, NOW))
    assert f.lowe(p0, pt, [float(q) for q in BASKET.values()]) == pytest.approx(1.064017, abs=5e-7)


def test_in_words() -> None:
    c = compare(BASKET, THEN, NOW)
    assert change_words(c, "EUR", "in March", {"battery": "4S battery"}) == (
        "14.90 EUR more than in March, 13.00 EUR of it 4S battery"
    )
    assert change_words(compare(BASKET, NOW, THEN), "EUR", "in March") == (
        "14.90 EUR less than in March, 13.00 EUR of it battery"
    )
    assert change_words(compare(BASKET, NOW, NOW), "EUR", "in March") == "as much as in March"


def test_one_line_that_moved_more_than_the_whole() -> None:
    c = compare(
        {"a": Decimal(1), "b": Decimal(1)},
        {"a": Quote(Decimal(10)), "b": Quote(Decimal(10))},
        {"a": Quote(Decimal(20)), "b": Quote(Decimal(4))},
    )
    assert (
        change_words(c, "EUR", "then") == "4.00 EUR more than then; most of all a: 10.00 EUR more"
    )


def test_stale_lines_are_carried_and_marked_missing_ones_left_out() -> None:
    now = {**NOW, "esc": Quote(Decimal("64.90"), stale=True)}
    del now["plywood"]
    c = compare(BASKET, THEN, now)
    assert (c.carried, c.missing) == (("esc",), ("plywood",))
    assert c.before == Decimal("208.90")
    assert [line.line for line in c.contributions] == ["motor", "esc", "battery"]


def test_nothing_to_compare() -> None:
    assert compare({}, {}, {}) == Change(Decimal(0), Decimal(0), None)
    assert compare({"a": Decimal(1)}, {}, {}).missing == ("a",)


class TestLinking:
    old: ClassVar = {"a": Decimal(1)}
    new: ClassVar = {"a": Decimal(1), "b": Decimal(2)}

    def test_an_edit_is_no_price_change(self) -> None:
        editions = [Edition(0, self.old), Edition(2, self.new)]
        at = [
            {"a": Quote(Decimal(a)), "b": Quote(Decimal(b))}
            for a, b in ((10, 5), (11, 5), (11, 5), (11, 6))
        ]
        points = linked(editions, list(enumerate(at)))
        assert [p.cost for p in points] == [10, 11, 21, 23]
        # 10 -> 11 by price; the edit adds nothing; then 21 -> 23
        assert [float(p.index) for p in points] == pytest.approx([1, 1.1, 1.1, 1.1 * 23 / 21])

    def test_prices_that_move_on_the_day_of_the_edit_count_by_the_old_basket(self) -> None:
        editions = [Edition(0, self.old), Edition(1, self.new)]
        points = linked(
            editions,
            [
                (0, {"a": Quote(Decimal(10))}),
                (1, {"a": Quote(Decimal(12)), "b": Quote(Decimal(100))}),
            ],
        )
        assert float(points[1].index) == pytest.approx(1.2)

    def test_a_price_that_goes_missing_is_carried(self) -> None:
        points = linked(
            [Edition(0, self.new)],
            [
                (0, {"a": Quote(Decimal(10)), "b": Quote(Decimal(5))}),
                (1, {"a": Quote(Decimal(11))}),
                (2, {"a": Quote(Decimal(11)), "b": Quote(Decimal(7))}),
            ],
        )
        assert [p.carried for p in points] == [(), ("b",), ()]
        assert [p.cost for p in points] == [20, 21, 25]
        assert [float(p.index) for p in points] == pytest.approx([1, 1.05, 1.25])

    def test_a_line_that_gets_its_first_price_late_does_not_jump(self) -> None:
        points = linked(
            [Edition(0, self.new)],
            [
                (0, {"a": Quote(Decimal(10))}),
                (1, {"a": Quote(Decimal(10)), "b": Quote(Decimal(5))}),
                (2, {"a": Quote(Decimal(10)), "b": Quote(Decimal(6))}),
            ],
        )
        assert [p.missing for p in points] == [("b",), (), ()]
        assert [float(p.index) for p in points] == pytest.approx([1, 1, 1.1])

    def test_before_the_first_edition_there_is_no_build(self) -> None:
        assert [
            p.at for p in linked([Edition(1, self.old)], [(0, {}), (1, {"a": Quote(Decimal(1))})])
        ] == [1]
        assert linked([], [(0, {})]) == []


def test_a_change_by_one_line_alone() -> None:
    c = compare(BASKET, THEN, {**THEN, "motor": Quote(Decimal("79.50"))})
    assert change_words(c, "EUR", "in March") == "0.50 EUR more than in March, 0.50 EUR of it motor"
