"""A mixed-integer programme as rows and columns, and what solving it proves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from service.builds.solver import new_solver

Lin = dict[int, float]  # column -> coefficient
FREE = float("inf")
EXACT = 1e-9  # a column is whole within this
HALF = 0.5 - 1e-6  # rounding half up: the least whole number above expression - HALF


@dataclass(frozen=True, slots=True)
class Solved:
    """The values of all columns, their cost, and the least that any solution can cost.

    `values` empty: there is none (`proved`), or none was found in time.
    """

    values: tuple[float, ...] = ()
    cost: float = FREE
    bound: float = -FREE
    proved: bool = False

    def on(self, column: int) -> bool:
        return self.values[column] > 0.5  # halfway between no and yes

    def count(self, column: int) -> int:
        return round(self.values[column])


@dataclass(slots=True)
class Programme:
    """Minimise the columns' cost; columns are whole numbers unless made otherwise."""

    _solver: Any = None
    costs: list[float] = field(default_factory=list)
    ceilings: list[float] = field(default_factory=list)
    _integer: list[int] = field(default_factory=list)
    _rows: list[tuple[float, float, Lin]] = field(default_factory=list)

    def column(self, most: float = 1.0, cost: float = 0.0, *, whole: bool = True) -> int:
        """A new column between 0 and `most`."""
        self.costs.append(cost)
        self.ceilings.append(most)
        place = len(self.costs) - 1
        if whole:
            self._integer.append(place)
        return place

    def row(self, terms: Mapping[int, float], low: float = -FREE, high: float = FREE) -> None:
        """Low <= terms <= high."""
        self._rows.append((low, high, {k: v for k, v in terms.items() if v}))

    def at_least(self, column: int, terms: Mapping[int, float], constant: float = 0.0) -> None:
        """Column >= terms + constant."""
        self.row(added({column: 1.0}, terms, -1.0), low=constant)

    def is_any(self, column: int, others: Iterable[int]) -> None:
        """Column = 1 exactly where one of the others is 1."""
        several = list(others)
        for other in several:
            self.row({column: 1.0, other: -1.0}, low=0.0)
        self.row({column: 1.0, **dict.fromkeys(several, -1.0)}, high=0.0)

    def solve(
        self,
        limit: float,
        *,
        closed: Iterable[int] = (),
        forced: Iterable[int] = (),
        most: Mapping[int, float] | None = None,
        costs: Mapping[int, float] | None = None,
        gap: float = 0.0,
    ) -> Solved:
        """In at most `limit` seconds. `closed` columns are 0, `forced` ones 1, others at
        most so much; `costs` instead of their own. `gap`: how far, as a part of the cost,
        it may be from the best.
        """
        solver = self._made(limit)
        solver.setOptionValue("mip_rel_gap", gap)
        bounds = dict.fromkeys(closed, (0.0, 0.0)) | dict.fromkeys(forced, (1.0, 1.0))
        bounds |= {place: (0.0, high) for place, high in (most or {}).items()}
        for place, (low, high) in bounds.items():
            solver.changeColBounds(place, low, high)
        if costs is not None:
            self._price(solver, [costs.get(place, 0.0) for place in range(len(self.costs))])
        solver.run()
        found = _read(solver)
        for place in bounds:
            solver.changeColBounds(place, 0.0, self.ceilings[place])
        if costs is not None:
            self._price(solver, self.costs)
        return found

    @staticmethod
    def _price(solver: Any, costs: Iterable[float]) -> None:
        for place, cost in enumerate(costs):
            solver.changeColCost(place, cost)

    def _made(self, limit: float) -> Any:
        import highspy  # noqa: PLC0415  # 0.1 s, only where an order is planned

        if self._solver is None:
            self._solver = solver = new_solver(limit)
            for name, value in OPTIONS.items():
                solver.setOptionValue(name, value)
            for cost, most in zip(self.costs, self.ceilings, strict=True):
                solver.addCol(cost, 0.0, min(most, highspy.kHighsInf), 0, [], [])
            for low, high, terms in self._rows:
                solver.addRow(low, high, len(terms), list(terms), list(terms.values()))
            for place in self._integer:
                solver.changeColIntegrality(place, highspy.HighsVarType.kInteger)
        self._solver.setOptionValue("time_limit", self._solver.getRunTime() + limit)
        self._solver.clearSolver()
        return self._solver


OPTIONS = {
    "mip_abs_gap": 0.015,  # less than the smallest difference of two costs
    "mip_feasibility_tolerance": 1e-8,
    "random_seed": 1,
}


def _read(solver: Any) -> Solved:
    import highspy  # noqa: PLC0415  # as above

    status, info = solver.getModelStatus(), solver.getInfo()
    if status == highspy.HighsModelStatus.kInfeasible:
        return Solved(proved=True)
    if info.primal_solution_status != FEASIBLE:
        return Solved()
    proved = status == highspy.HighsModelStatus.kOptimal
    values = tuple(solver.getSolution().col_value)
    cost = info.objective_function_value
    return Solved(values, cost, info.mip_dual_bound, proved)


FEASIBLE = 2  # kSolutionStatusFeasible of the library


def added(first: Mapping[int, float], other: Mapping[int, float], factor: float = 1.0) -> Lin:
    """First + factor x other."""
    found = dict(first)
    for place, value in other.items():
        found[place] = found.get(place, 0.0) + factor * value
    return found


def total(several: Iterable[Mapping[int, float]]) -> Lin:
    """The sum of expressions."""
    found: Lin = {}
    for one in several:
        found = added(found, one)
    return found
