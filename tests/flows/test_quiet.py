"""Quiet hours: told when they end, whole nights also when the clocks change.

Clock changes: tz database, Europe/Amsterdam 2026 (29 March 02:00 -> 03:00, 25 October 03:00 ->
02:00); PEP 495 for times that are skipped or come twice. Whole-night rule: common practice.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from book_kit import MOTOR, kit
from shop_page import product_page

from service.errors import InputError
from service.flows.deliver import deliver_due
from service.flows.poll import poll_these
from service.flows.prefs import applied, keep
from service.model.quiet import parse_quiet, quiet_until

ZONE = "Europe/Amsterdam"
NIGHT = "22:00-07:00"


def until(span: str, at: str, zone: str = ZONE) -> str | None:
    found = quiet_until(parse_quiet(span), datetime.fromisoformat(at), zone)
    return None if found is None else found.astimezone(UTC).isoformat()


@pytest.mark.parametrize(
    ("span", "at", "end"),
    [
        (NIGHT, "2026-01-10T20:59:59+00:00", None),
        (NIGHT, "2026-01-10T21:00:00+00:00", "2026-01-11T06:00:00+00:00"),
        (NIGHT, "2026-01-11T05:59:59+00:00", "2026-01-11T06:00:00+00:00"),
        (NIGHT, "2026-01-11T06:00:00+00:00", None),
        (NIGHT, "2026-07-10T20:00:00+00:00", "2026-07-11T05:00:00+00:00"),
        # the night of 8 hours and the night of 10
        (NIGHT, "2026-03-28T21:00:00+00:00", "2026-03-29T05:00:00+00:00"),
        (NIGHT, "2026-10-24T20:00:00+00:00", "2026-10-25T06:00:00+00:00"),
        # 02:30 is skipped on 29 March: it is then 03:30 in summer time
        ("01:00-02:30", "2026-03-29T00:30:00+00:00", "2026-03-29T01:30:00+00:00"),
        ("01:00-02:30", "2026-03-29T01:30:00+00:00", None),
        # 02:30 comes twice on 25 October: the first ends them, for good
        ("01:00-02:30", "2026-10-25T00:29:00+00:00", "2026-10-25T00:30:00+00:00"),
        ("01:00-02:30", "2026-10-25T01:10:00+00:00", None),
        ("12:00-14:00", "2026-06-01T10:00:00+00:00", "2026-06-01T12:00:00+00:00"),
        ("12:00-14:00", "2026-06-01T22:00:00+00:00", None),
    ],
)
def test_when_they_end(span: str, at: str, end: str | None) -> None:
    assert until(span, at) == end


def test_every_night_of_a_year_is_quiet_once_and_wholly() -> None:
    """Counted by the quarter hour: 365 nights of 9 h, one of them 8 h long, one 10 h."""
    quiet, at = parse_quiet(NIGHT), datetime(2026, 1, 1, 12, tzinfo=UTC)
    lengths: list[int] = []
    before = None
    for _ in range(365 * 96):
        now = quiet_until(quiet, at, ZONE)
        if now is not None:
            assert now > at
            if before is None:
                lengths.append(0)
            lengths[-1] += 1
        before, at = now, at + timedelta(minutes=15)
    assert sorted(set(lengths)) == [32, 36, 40]
    assert (lengths.count(32), lengths.count(40), len(lengths)) == (1, 1, 365)


@pytest.mark.parametrize("text", ["22-7", "25:00-07:00", "22:00", "07:00-07:00", "22:00-07:60"])
def test_what_cannot_be_quiet_hours(text: str) -> None:
    with pytest.raises(InputError):
        parse_quiet(text)


def test_a_notice_waits_until_they_end(tmp_path) -> None:
    with kit(tmp_path) as made:
        made.fetcher.pages = {MOTOR: product_page("35.00")}
        asyncio.run(poll_these(made.deps, [made.ids()[MOTOR]]))
        made.clock.pass_(hours=6)
        made.fetcher.pages[MOTOR] = product_page("29.00", was="35.00")
        asyncio.run(poll_these(made.deps, [made.ids()[MOTOR]]))
        now = made.deps.clock()
        span = f"{now - timedelta(hours=1):%H:%M}-{now + timedelta(hours=2):%H:%M}"
        quiet = replace(made.deps, quiet_hours=parse_quiet(span), time_zone="UTC")
        assert asyncio.run(deliver_due(quiet)).sent == 0
        assert made.channel.sent == []
        made.clock.pass_(hours=2)
        assert asyncio.run(deliver_due(quiet)).sent == 1
        assert len(made.channel.sent) == 1


def test_the_book_keeps_what_was_chosen_and_the_file_goes_over_it(tmp_path) -> None:
    with kit(tmp_path) as made:
        chosen = {"currency": "GBP", "quiet_hours": NIGHT, "destination": "", "time_zone": ZONE}
        deps = keep(made.deps, chosen)
        assert (deps.currency, str(deps.quiet_hours), deps.time_zone) == ("GBP", NIGHT, ZONE)
        assert deps.destination is None
        bound = replace(made.deps, extra={**made.deps.extra, "fixed": {"currency": "a file"}})
        assert applied(bound).currency == made.deps.currency
        with pytest.raises(InputError, match="fixed by a file"):
            keep(bound, {"currency": "USD"})
