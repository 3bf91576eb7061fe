"""What an order plan has to bring: the lines of several builds, less what is there already."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from scrapers import UnitError
from service.builds import plan_texts as texts
from service.builds.amounts import line_need
from service.builds.bodies import is_cut
from service.builds.mixes import whole_build
from service.builds.offers import Market
from service.builds.own import Own, Portion
from service.builds.requirements import parts_meeting, successors
from service.builds.row import Row
from service.model.builds import Alternative, Build, Line
from service.model.catalogue import Part


@dataclass(frozen=True, slots=True)
class Asked:
    """A build to plan for. `person`: who pays for it; empty: the user, whose stock it uses."""

    build: Build
    person: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """A part that fills a line, and how much of it is still to be bought, in base units.

    `row`: the line at work with what it takes from stock; None for the shelf. `note` tells
    why the part may, where the line names another.
    """

    part: Part
    amount: Fraction
    row: Row | None = None
    note: str = ""

    @property
    def cut(self) -> bool:
        """Whether the shape of what is sold matters."""
        return self.row is not None and is_cut(self.row)


@dataclass(frozen=True, slots=True)
class Want:
    """One thing to bring for a build, or for the shelf (`build` empty). `line` as it is cut."""

    name: str
    build: str
    person: str
    ways: tuple[Way, ...]
    line: Line | None = None


@dataclass(frozen=True, slots=True)
class Wants:
    """All that is to be brought. `lacking`: what cannot be, with the reason; `covered`: lines
    that need nothing.
    """

    wants: tuple[Want, ...]
    lacking: tuple[tuple[Want, str], ...] = ()
    covered: int = 0


class _Shelf(Own):
    """One stock for several builds: what one takes the next no longer finds."""

    def __init__(
        self,
        build: str,
        market: Market,
        used: defaultdict[str, Fraction],
        called: defaultdict[str, Fraction],
    ) -> None:
        super().__init__(build, market)
        self._used, self._called = used, called


class _Reader:
    """Goes through the builds in turn; the user's own stock serves the user's builds."""

    def __init__(self, market: Market) -> None:
        self.market = market
        self.used: defaultdict[str, Fraction] = defaultdict(Fraction)
        self.called: defaultdict[str, Fraction] = defaultdict(Fraction)
        self.wants: list[Want] = []
        self.lacking: list[tuple[Want, str]] = []
        self.covered = 0
        self.kept: dict[tuple[str, str], Fraction] = {}  # tools and the like, by person and part

    def read(self, asked: Asked) -> None:
        build = whole_build(asked.build, self.market.view)
        own = _Shelf(build.key, self.market, self.used, self.called)
        held: defaultdict[str, Fraction] = defaultdict(Fraction)
        for line in build.lines:
            if line.counts.kind != "owned":
                self._line(line, asked, own, held)
        for part, amount in held.items():
            key = (asked.person, part)
            self.kept[key] = max(amount, self.kept.get(key, amount))

    def _line(self, line: Line, asked: Asked, own: Own, held: defaultdict[str, Fraction]) -> None:
        ways, problem = _ways(line, self.market)
        if line.counts.kind in ("tool", "shared") and len(ways) == 1:
            ways = self._again(ways[0], asked.person, held)
            if not ways:
                self.covered += 1
                return
        want = Want(_name(line, ways), asked.build.key, asked.person, tuple(ways), line)
        if not ways:
            self.lacking.append((want, problem))
            return
        left = self._left(want, line, own)
        if not left:
            self.covered += 1
            return
        self.wants.append(Want(want.name, want.build, want.person, tuple(left), line))

    def _again(self, way: Way, person: str, held: defaultdict[str, Fraction]) -> list[Way]:
        """A tool or a part that models share serves the person's next build, too.

        `held`: what this build has asked for so far; it counts beside itself, and against what
        builds before it have brought.
        """
        before = max(self.kept.get((person, way.part.key), Fraction(0)), held[way.part.key])
        held[way.part.key] += way.amount
        more = held[way.part.key] - before
        if more <= 0:
            return []
        return [way] if more >= way.amount else [replace(way, amount=more)]

    def _left(self, want: Want, line: Line, own: Own) -> list[Way]:
        """The ways that are left once the stock has given what it has."""
        portions = [own.portion(way.part, line, way.amount) for way in want.ways]
        if want.person:  # what lies on the user's shelf is not for others
            portions = [Portion(found.taken) for found in portions]
        whole = (n for n, way in enumerate(want.ways) if portions[n].whole >= way.amount)
        place = next(whole, 0)
        first, there = want.ways[place], portions[place]
        own.use(first.part, there)
        if first.row is not None:
            first.row.taken, first.row.on_hand = there.taken, there.on_hand
            first.row.coming = there.coming
        return _rest(want.ways, first, first.amount - there.whole)

    def shelf(self, low: Iterable[tuple[Part, Fraction]]) -> None:
        """`low`: parts with the least amount that the user keeps, in base units."""
        for part, keep in low:
            stock = self.market.stock(part.key)
            free = Fraction(stock.free) - self.used[part.key] if stock else Fraction(0)
            coming = Fraction(stock.coming) - self.called[part.key] if stock else Fraction(0)
            lack = keep - max(free, Fraction(0)) - max(coming, Fraction(0))
            if lack > 0:
                self.wants.append(Want(part.key, "", "", (Way(part, lack),)))


def _rest(ways: Sequence[Way], first: Way, missing: Fraction) -> list[Way]:
    """What a line lacks, by each of its ways; a line that is cut may lack a shape only."""
    if missing <= 0:
        return [replace(first, amount=Fraction(0))] if first.cut else []
    part = missing / first.amount
    return [replace(way, amount=way.amount * part) for way in ways]


def wants_of(
    builds: Sequence[Asked], market: Market, low: Iterable[tuple[Part, Fraction]] = ()
) -> Wants:
    """What the builds still need, in their order, and what runs low on the shelf."""
    reader = _Reader(market)
    for asked in builds:
        reader.read(asked)
    reader.shelf(low)
    return Wants(tuple(reader.wants), tuple(reader.lacking), reader.covered)


def _ways(line: Line, market: Market) -> tuple[list[Way], str]:
    """Every part that may fill the line: its own, what meets it, alternatives, equivalents."""
    parts = market.view.parts
    named = [(Alternative(line.part, line.amount), "")] if line.part else []
    met = parts_meeting(parts.values(), line.need) if line.need else []
    named += [(Alternative(part.key, line.amount), "") for part in met]
    named += [(way, texts.INSTEAD.format(part=line.part)) for way in line.choose]
    if line.part and line.part in parts and not line.listing:
        named += [
            (Alternative(part.key, line.amount), texts.EQUIVALENT.format(part=line.part, note=note))
            for part, note in successors(parts[line.part], parts)
        ]
    return _readable(line, named, market)


def _readable(
    line: Line, named: Sequence[tuple[Alternative, str]], market: Market
) -> tuple[list[Way], str]:
    found: dict[str, Way] = {}
    problem = texts.NOTHING_MEETS
    for way, note in named:
        part = market.view.parts.get(way.part)
        if part is None:
            problem = texts.NOT_A_PART.format(part=way.part)
            continue
        try:
            amount = line_need(line, way.amount, part)
        except UnitError as error:
            problem = problem if found else str(error)
            continue
        row = Row(line, way.amount, part, need=amount)
        found.setdefault(part.key, Way(part, amount, row, note.removesuffix(": ")))
    return list(found.values()), problem


def _name(line: Line, ways: Sequence[Way]) -> str:
    return line.part or (ways[0].part.key if ways else texts.NEED.format(need=line.need))
