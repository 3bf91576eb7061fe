"""The usual price: the median by time of what was watched, or nothing where that is too little.

Hand sums; a weighted median is the least value with at least half of the weight at or below it
(common practice).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from service.errors import InputError
from service.model.prices import Offer, Spell
from service.prices.stats import LEAST, describe_track, usual_price
from service.prices.track import Silence, make_track
from service.settings import load_settings, read_setting

D = Decimal
NOW = datetime(2026, 11, 24, tzinfo=UTC)
DAY = timedelta(days=1)


def spell(price: str, begun: int, last: int) -> Spell:
    """A price from so many to so many days ago."""
    return Spell(1, Offer(D(price), "EUR"), NOW - begun * DAY, NOW - last * DAY)


def track(*spells: Spell, gaps=()):
    return make_track(spells, gaps, at=NOW)


def test_half_of_the_time_was_at_or_below_it() -> None:  # 60 days at 50, 30 at 40
    known = track(spell("50", 90, 30), spell("40", 30, 0))
    assert usual_price(known, 90) == D(50)
    assert usual_price(known, 90) == describe_track(known).median_90d
    assert usual_price(track(spell("50", 89, 60), spell("40", 60, 0)), 90) == D(40)


def test_a_year_may_say_something_else_than_a_quarter() -> None:
    known = track(spell("50", 365, 80), spell("40", 80, 0))
    assert (usual_price(known, 90), usual_price(known, 365)) == (D(40), D(50))


def test_what_nobody_saw_has_no_weight() -> None:  # 60 days at 50, of which 50 are a gap
    hole = Silence(NOW - 85 * DAY, NOW - 35 * DAY)
    assert usual_price(track(spell("50", 90, 30), spell("40", 30, 0), gaps=[hole]), 90) == D(40)


def test_less_than_a_week_says_nothing() -> None:
    assert usual_price(track(spell("50", 7, 0)), 90) == D(50)
    assert usual_price(track(spell("50", 6, 0)), 90) is None
    assert usual_price(track(), 90) is None
    assert usual_price(track(spell("50", 300, 200)), 90) is None
    assert timedelta(days=7) == LEAST


def test_the_setting_takes_a_quarter_or_a_year(monkeypatch, tmp_path) -> None:
    assert read_setting("usual_days", 365) == 365
    with pytest.raises(InputError, match="90 or 365"):
        read_setting("usual_days", 30)
    monkeypatch.setenv("EBBMARK_USUAL_DAYS", "365")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert load_settings().usual_days == 365
