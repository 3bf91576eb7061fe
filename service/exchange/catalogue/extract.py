"""Part of a book: one build with all it needs, or what may be shown to others."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from service.builds.portions import portions
from service.builds.specs import canonical, spec_keys
from service.errors import NotFoundError
from service.exchange.catalogue.links import parts_used
from service.exchange.catalogue.values import nearest
from service.model.book import Book

if TYPE_CHECKING:
    from service.model.builds import Build, Line
    from service.model.catalogue import Part
    from service.model.orders import Purchase

GONE = frozenset({"cancelled", "returned", "refunded", "wrong"})


def selection(book: Book, key: str) -> Book:
    """The build, what it derives from, its parts, where they are sold, its targets.

    NotFoundError: no such build.
    """
    builds = _with_bases(book, key)
    parts = _needed(book, builds)
    listings = tuple(one for one in book.listings if any(s.part in parts for s in one.supplies))
    parts |= {supply.part for one in listings for supply in one.supplies}
    purchases = tuple(one for one in _kept(book) if one.part in parts)
    shops = {one.supplier for one in listings} | {one.supplier for one in purchases}
    subjects = parts | {one.key for one in builds} | {one.key for one in listings}
    return Book(
        suppliers=tuple(one for one in book.suppliers if one.key in shops),
        parts=tuple(_within(one, parts) for one in book.parts if one.key in parts),
        listings=listings,
        builds=builds,
        purchases=purchases,
        targets=tuple(one for one in book.targets if one.subject in subjects),
    )


def _kept(book: Book) -> list[Purchase]:
    """Purchases of which the goods were kept; what happened to each stays in the whole book."""
    lines = {line.purchase: line for order in book.orders for line in order.lines}
    return [
        one
        for place, one in enumerate(book.purchases)
        if place not in lines or portions(lines[place], one.count).state not in GONE
    ]


def public_copy(book: Book) -> Book:
    """Parts, requirements and amounts alone."""
    return Book(
        parts=tuple(replace(part, keep=None) for part in book.parts),
        builds=tuple(_bare(build) for build in book.builds),
    )


def _with_bases(book: Book, key: str) -> tuple[Build, ...]:
    known = {build.key: build for build in book.builds}
    if key not in known:
        raise NotFoundError(f'there is no build "{key}"{nearest(key, known)}')
    wanted: set[str] = set()
    step: str | None = key
    while step is not None and step in known and step not in wanted:
        wanted.add(step)
        step = known[step].base
    return tuple(build for build in book.builds if build.key in wanted)


def _needed(book: Book, builds: tuple[Build, ...]) -> set[str]:
    """Parts that the builds name, their equivalents, and parts that may meet a requirement."""
    parts = set().union(*(parts_used(build) for build in builds))
    needs = [_asked(line) for build in builds for line in build.lines if line.need]
    for part in book.parts:
        have = spec_keys(part)
        if any(need <= have for need in needs):
            parts.add(part.key)
    for part in book.parts:
        if part.key in parts:
            parts |= {other.part for other in part.equivalents}
    for part in book.parts:
        if part.key in parts:
            parts |= set(part.mix_of)
    return parts


def _asked(line: Line) -> set[str]:
    """Specification keys of a requirement; a goods class is no specification."""
    return {canonical(key) for key in line.need if key != "class"}


def _within(part: Part, parts: set[str]) -> Part:
    kept = tuple(other for other in part.equivalents if other.part in parts)
    return replace(part, equivalents=kept)


def _bare(build: Build) -> Build:
    lines = tuple(_bare_line(line) for line in build.lines)
    return replace(
        build,
        lines=lines,
        budget=None,
        need_by=None,
        destination=None,
        state="planned",
        labour_rate=None,
    )


def _bare_line(line: Line) -> Line:
    return replace(line, listing=None, note="")
