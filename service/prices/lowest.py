"""The price of a part over time: the lowest usable price per unit over its listings."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from scrapers import Availability
from service.model.prices import FRESH_AT_LEAST, Spell

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime, timedelta

    from service.prices.track import Stretch

NOT_TO_BE_HAD = frozenset({Availability.OUT_OF_STOCK, Availability.DISCONTINUED})


@dataclass(frozen=True, slots=True)
class _Window:
    """A stretch in which a spell's price could be paid."""

    start: datetime
    end: datetime
    spell: Spell


def lowest_over(
    spells_by_listing: Mapping[int, Sequence[Spell]],
    gaps_by_listing: Mapping[int, Sequence[Stretch]] | None = None,
    *,
    at: datetime,
    fresh: Mapping[int, timedelta] | None = None,
    unusable: Mapping[int, Sequence[Stretch]] | None = None,
) -> list[Spell]:
    """Step function of the lowest usable price up to `at`, as spells that say which listing it is.

    The offers' prices are per unit of the part, in one currency. Usable: in stock as far as known,
    seen within `fresh` (by listing, 48 h by default), and not `unusable` (a doubt kept aside).
    Each answer holds from `first_seen` until `last_seen`; times without any usable price are left
    out, so statistics take them with `fresh=timedelta(0)`. Of equal prices the listing that
    held it before stays, else the first by number.
    """
    windows = [
        window
        for listing, spells in spells_by_listing.items()
        for window in _usable(
            spells,
            (gaps_by_listing or {}).get(listing, ()),
            (unusable or {}).get(listing, ()),
            (fresh or {}).get(listing, FRESH_AT_LEAST),
            at,
        )
    ]
    return _merged(_cheapest(windows))


def _usable(
    spells: Sequence[Spell],
    gaps: Sequence[Stretch],
    unusable: Sequence[Stretch],
    fresh: timedelta,
    at: datetime,
) -> Iterator[_Window]:
    silences = [(gap.start + fresh, gap.end) for gap in gaps if gap.start + fresh < gap.end]
    holes = sorted([*silences, *((hole.start, hole.end) for hole in unusable)])
    for i, spell in enumerate(spells):
        if spell.first_seen > at or spell.offer.availability in NOT_TO_BE_HAD:
            continue
        following = spells[i + 1].first_seen if i + 1 < len(spells) else at
        end = min(at, following, spell.last_seen + fresh)
        yield from _without(_Window(spell.first_seen, end, spell), holes)


def _without(window: _Window, holes: Sequence[tuple[datetime, datetime]]) -> Iterator[_Window]:
    start = window.start
    for low, high in holes:
        if high <= start or low >= window.end:
            continue
        if low > start:
            yield _Window(start, low, window.spell)
        start = high
    if start < window.end or start == window.start:
        yield _Window(start, window.end, window.spell)


def _cheapest(windows: Sequence[_Window]) -> Iterator[_Window]:
    """Sweep over all beginnings and ends; between two of them the same windows are open."""
    moments = sorted({moment for w in windows for moment in (w.start, w.end)})
    starting = deque(sorted(windows, key=lambda w: w.start))
    open_now: list[_Window] = []
    last: Spell | None = None
    for start, end in zip(moments, [*moments[1:], moments[-1]] if moments else [], strict=True):
        while starting and starting[0].start <= start:
            open_now.append(starting.popleft())
        open_now = [w for w in open_now if w.end > start or w.end == w.start == start == end]
        if open_now and (start < end or len(moments) == 1):
            best = _best(open_now, last)
            last = best.spell
            yield _Window(start, end, best.spell)


def _best(windows: Sequence[_Window], last: Spell | None) -> _Window:
    def rank(window: _Window) -> tuple[object, ...]:
        listing = window.spell.listing
        return (window.spell.offer.price, last is None or listing != last.listing, listing)

    return min(windows, key=rank)


def _merged(windows: Iterator[_Window]) -> list[Spell]:
    """Neighbouring windows of one spell joined; polls in proportion to the time."""
    joined: list[_Window] = []
    for window in windows:
        if joined and joined[-1].spell is window.spell and joined[-1].end == window.start:
            joined[-1] = replace(joined[-1], end=window.end)
        else:
            joined.append(window)
    return [_as_spell(window) for window in joined]


def _as_spell(window: _Window) -> Spell:
    spell = window.spell
    whole = (spell.last_seen - spell.first_seen).total_seconds()
    held = (min(window.end, spell.last_seen) - window.start).total_seconds()
    share = held / whole if whole and held < whole else 1.0
    polls = max(1, round(spell.polls * max(share, 0.0)))
    return replace(spell, first_seen=window.start, last_seen=window.end, polls=polls)
