"""The spells of one listing as a line in time: what may be put where.  Pure.

All values are as stored: times in microseconds, `Terms` as numbers. Spells
never overlap and lie in order; a pause longer than `fresh` inside a spell is a
gap of it, in which nobody looked.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

KNOWN: Final = "known"
NEW: Final = "new"
CONFLICT: Final = "conflict"
_SECOND: Final = 1_000_000


class Terms(NamedTuple):
    """What a spell repeats, as stored."""

    price: int
    currency: str
    list_price: int | None
    availability: int
    tax: int


@dataclass(slots=True)
class Span:
    """One spell. `pause`: whole seconds, the longest between two times it was seen."""

    first: int
    last: int
    polls: int
    pause: int
    terms: Terms
    origin: int


@dataclass(slots=True)
class Hole:
    """A gap. `polls`: how often its spell had been seen before it."""

    start: int
    until: int
    polls: int


def extend(span: Span, at: int, fresh: int) -> Hole | None:
    """See a spell once more, at a later time; answers the gap before it, if there was one."""
    hole = Hole(span.last, at, span.polls) if at - span.last > fresh else None
    span.pause = max(span.pause, (at - span.last) // _SECOND)
    span.last = at
    span.polls += 1
    return hole


class Timeline:
    """Spells and gaps of one listing, to be changed in place."""

    def __init__(self, spans: Iterable[Span], holes: Iterable[Hole], fresh: int) -> None:
        self.spans = sorted(spans, key=lambda span: span.first)
        self.holes = sorted(holes, key=lambda hole: hole.start)
        self.fresh = fresh
        self._firsts = [span.first for span in self.spans]

    def place(self, at: int, terms: Terms, origin: int) -> str:
        """Put one reading where it belongs.

        NEW: it says something that was not known. KNOWN: it repeats what was
        seen. CONFLICT: something else was seen around that time.
        """
        index = bisect_right(self._firsts, at) - 1
        if index >= 0 and at <= self.spans[index].last:
            return self._inside(index, at, terms, origin)
        return self._outside(index, at, terms, origin)

    def at(self, at: int) -> Span | None:
        """The spell that runs at a time, if one does."""
        index = bisect_right(self._firsts, at) - 1
        return self.spans[index] if index >= 0 and at <= self.spans[index].last else None

    def cut(self, at: int) -> Timeline:
        """Take off everything from `at` on and answer it; a spell that runs there is divided."""
        index = bisect_right(self._firsts, at - 1) - 1
        if index >= 0 and self.spans[index].last >= at:
            self._divide(index, at)
        later = [span for span in self.spans if span.first >= at]
        holes = [hole for hole in self.holes if hole.start >= at]
        tail = Timeline(later, holes, self.fresh)
        self.spans = [span for span in self.spans if span.first < at]
        self.holes = [hole for hole in self.holes if hole.until < at]
        self._firsts = [span.first for span in self.spans]
        return tail

    def _outside(self, index: int, at: int, terms: Terms, origin: int) -> str:
        before = self.spans[index] if index >= 0 else None
        after = self.spans[index + 1] if index + 1 < len(self.spans) else None
        if before is not None and before.terms == terms:
            self._extend(before, at)
        elif after is not None and after.terms == terms:
            self._extend_back(index + 1, at)
        else:
            self._add(index + 1, Span(at, at, 1, 0, terms, origin))
        return NEW

    def _extend(self, span: Span, at: int) -> None:
        if hole := extend(span, at, self.fresh):
            self._add_hole(hole)

    def _extend_back(self, index: int, at: int) -> None:
        span = self.spans[index]
        for hole in self._holes_of(span):
            hole.polls += 1
        if span.first - at > self.fresh:
            self._add_hole(Hole(at, span.first, 1))
        span.pause = max(span.pause, (span.first - at) // _SECOND)
        span.first = self._firsts[index] = at
        span.polls += 1

    def _inside(self, index: int, at: int, terms: Terms, origin: int) -> str:
        span = self.spans[index]
        hole = next((h for h in self.holes if h.start < at < h.until), None)
        if hole is None:
            return KNOWN if span.terms == terms else CONFLICT
        if span.terms == terms:
            self._confirm_in(span, hole, at)
        else:
            self._split_at(index, hole)
            self._add(index + 1, Span(at, at, 1, 0, terms, origin))
        return NEW

    def _confirm_in(self, span: Span, hole: Hole, at: int) -> None:
        for later in self._holes_of(span):
            if later.start > at:
                later.polls += 1
        span.polls += 1
        self.holes.remove(hole)
        parts = (Hole(hole.start, at, hole.polls), Hole(at, hole.until, hole.polls + 1))
        for part in parts:
            if part.until - part.start > self.fresh:
                self._add_hole(part)
        span.pause = self._longest(span, parts)

    def _longest(self, span: Span, parts: Iterable[Hole] = ()) -> int:
        """Pauses that are no gaps were not written down: at most `fresh`, at most the old one."""
        if span.first == span.last:
            return 0
        holes = [*self._holes_of(span), *parts]
        known = max(((h.until - h.start) // _SECOND for h in holes), default=0)
        return known or min(span.pause, self.fresh // _SECOND)

    def _split_at(self, index: int, hole: Hole) -> None:
        left = self.spans[index]
        right = Span(
            hole.until, left.last, left.polls - hole.polls, left.pause, left.terms, left.origin
        )
        self.holes.remove(hole)
        left.last, left.polls = hole.start, hole.polls
        for later in self._holes_of(right):
            later.polls -= hole.polls
        self._add(index + 1, right)
        left.pause, right.pause = self._longest(left), self._longest(right)

    def _divide(self, index: int, at: int) -> None:
        """At a gap where one lies there, else between two times that are not known singly."""
        span = self.spans[index]
        hole = next((h for h in self.holes if h.start < at <= h.until), None)
        if hole is not None:
            self._split_at(index, hole)
            return
        share = (at - span.first) / max(span.last - span.first, 1)
        polls = min(max(round(span.polls * share), 1), max(span.polls - 1, 1))
        later = [h for h in self._holes_of(span) if h.start >= at]
        right = Span(at, span.last, max(span.polls - polls, 1), span.pause, span.terms, span.origin)
        for known in later:
            known.polls = max(known.polls - polls, 1)
        span.last, span.polls = at - 1, polls
        self._add(index + 1, right)

    def _holes_of(self, span: Span) -> list[Hole]:
        return [h for h in self.holes if span.first <= h.start and h.until <= span.last]

    def _add(self, index: int, span: Span) -> None:
        self.spans.insert(index, span)
        self._firsts.insert(index, span.first)

    def _add_hole(self, hole: Hole) -> None:
        self.holes.insert(bisect_right([h.start for h in self.holes], hole.start), hole)
