"""Cost over time: every point equals repricing at that time."""

import random
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from builds_kit import NOW, Shop, amount, build, line, part, rates
from hypothesis import given, settings
from hypothesis import strategies as st

from service.builds import series
from service.builds.cost import price_build
from service.builds.series import cost_series
from service.model.catalogue import Supply
from service.model.money import Rates
from service.model.prices import Offer, PriceNow, Spell

D = Decimal
DAY = timedelta(days=1)


def spell(number: int, price: str, first: int, last: int, currency: str = "EUR") -> Spell:
    return Spell(number, Offer(D(price), currency), NOW - first * DAY, NOW - last * DAY)


def test_a_series_follows_prices_and_rates() -> None:
    shop = Shop(part("a"), part("b"))
    shop.sell("a", "1 piece", None)
    shop.sell("b", "1 piece", None)
    spells = [spell(1, "10.00", 9, 4), spell(1, "8.00", 4, 0), spell(2, "5.00", 6, 0, "USD")]
    times = [NOW - k * DAY for k in (10, 9, 6, 4, 0)]

    def rates_of(at: datetime) -> Rates:
        return rates(USD="1" if at < NOW else "2")

    lines = (line("a", "1 piece"), line("b", "1 piece"))
    points = cost_series(build(*lines), shop.view(), spells, times, rates_of)
    assert [(p.share, p.complete) for p in points] == [
        (D("10.00"), False),
        (D("15.00"), True),
        (D("13.00"), True),
        (D("10.50"), True),
    ]


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_every_point_equals_repricing_at_that_time(seed: int) -> None:
    rng = random.Random(seed)
    shop = Shop(*(part(f"p{k}", "m") for k in range(5)))
    spells = []
    for k in range(5):
        for _ in range(rng.randint(0, 2)):
            others = (Supply("p0", amount("1 m")),) if rng.random() < 0.2 and k else ()
            entry = shop.sell(f"p{k}", f"{rng.randint(1, 3)} m", None, others=others)
            day = 30
            while day > 0 and rng.random() < 0.8:
                end = day - rng.randint(1, 12)
                price = str(D(rng.randint(50, 900)) / 100)
                spells.append(spell(entry.id, price, day, max(end, 0), rng.choice(["EUR", "USD"])))
                day = end - rng.randint(0, 3)
    made = build(*(line(f"p{rng.randrange(5)}", "0.7 m") for _ in range(6)))
    times = [NOW - k * DAY for k in range(30, -1, -3)]
    view = shop.view(rates=rates(USD="1.1"))
    found = {p.at: p for p in cost_series(made, view, spells, times)}
    for at in times:
        known = [s for s in spells if s.first_seen <= at]
        prices = {s.listing: PriceNow(s.listing, s.offer, min(s.last_seen, at)) for s in known}
        if at not in found:
            assert not prices
            continue
        totals = price_build(made, replace(view, at=at, prices=prices)).totals
        assert (found[at].share, found[at].to_spend) == (totals.share, totals.to_spend)
        assert found[at].complete == totals.complete


def test_only_what_changed_is_priced_again(monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(*(part(f"p{k}") for k in range(20)))
    spells = []
    for k in range(20):
        entry = shop.sell(f"p{k}", "1 piece", None)
        spells.append(spell(entry.id, "5.00", 50, 20 if k == 0 else 0))
    spells.append(spell(1, "4.00", 20, 0))
    calls = []
    real = series.line_sums
    monkeypatch.setattr(series, "line_sums", lambda *a: (calls.append(1), real(*a))[1])
    made = build(*(line(f"p{k}", "1 piece") for k in range(20)))
    points = cost_series(made, shop.view(), spells, [NOW - k * DAY for k in range(50, -1, -1)])
    assert (points[0].share, points[-1].share) == (D("100.00"), D("99.00"))
    assert len(calls) == 21
