"""Whatever comes in whatever order, the log says what a naive list of readings says."""

from __future__ import annotations

import shutil
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from store_books import HOUR, NOON, many, offer

from service.model.prices import Observation, Spell
from service.store.database import SqlStore, open_store
from service.store.timeline import CONFLICT, KNOWN, NEW, Terms, Timeline

LISTINGS = 3
FRESH = 48

# (listing, hours since the one before, price): pauses on both sides of 48 h.
steps = st.lists(
    st.tuples(
        st.integers(1, LISTINGS),
        st.sampled_from([1, 6, 47, 48, 49, 200]),
        st.sampled_from(["1.00", "2.00", "3.00"]),
    ),
    max_size=40,
)


def readings(drawn: list[tuple[int, int, str]]) -> list[Observation]:
    at = NOON
    result = []
    for listing, hours, price in drawn:
        at += hours * HOUR
        result.append(Observation(listing, at, offer(price)))
    return result


def naive(observed: list[Observation]) -> list[Spell]:
    """Runs of equal offers, listing by listing, straight from the raw readings."""
    result = []
    for listing in range(1, LISTINGS + 1):
        runs: list[list[Observation]] = []
        for one in sorted((o for o in observed if o.listing == listing), key=lambda o: o.at):
            if runs and runs[-1][-1].offer == one.offer:
                runs[-1].append(one)
            else:
                runs.append([one])
        for run in runs:
            pauses = [(b.at - a.at).total_seconds() for a, b in pairwise(run)]
            result.append(
                Spell(
                    listing, run[0].offer, run[0].at, run[-1].at, len(run), max(pauses, default=0.0)
                )
            )
    return result


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "book.db"
    with open_store(f"sqlite:///{path}") as store, store.write() as unit:
        unit.catalogue.save(many(LISTINGS), now=NOON)
    return path


def copy(empty: Path, name: str) -> SqlStore:
    path = empty.with_name(name)
    for old in path.parent.glob(f"{name}*"):
        old.unlink()
    shutil.copy(empty, path)
    return open_store(f"sqlite:///{path}")


bounded = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def kept(store: SqlStore) -> list[Spell]:
    with store.read() as unit:
        return unit.log.spells(range(1, LISTINGS + 1))


@bounded
@given(steps, st.lists(st.integers(1, 10), min_size=1, max_size=5))
def test_batches_of_any_size_give_the_spells_of_the_raw_readings(
    empty: Path, drawn: list[tuple[int, int, str]], sizes: list[int]
) -> None:
    observed = readings(drawn)
    with copy(empty, "batches.db") as store:
        rest, turn = observed, 0
        while rest:
            size = sizes[turn % len(sizes)]
            with store.write() as unit:
                unit.log.record(rest[:size])
            rest, turn = rest[size:], turn + 1
        assert kept(store) == naive(observed)
        with store.read() as unit:
            gaps = [(g.listing, g.start, g.end) for g in unit.log.gaps(range(1, LISTINGS + 1))]
    pauses = [
        (a.listing, a.at, b.at)
        for listing in range(1, LISTINGS + 1)
        for a, b in pairwise([o for o in observed if o.listing == listing])
        if a.offer == b.offer and b.at - a.at > FRESH * HOUR
    ]
    assert gaps == pauses


@bounded
@given(steps)
def test_an_import_in_time_order_rebuilds_the_same_spells(
    empty: Path, drawn: list[tuple[int, int, str]]
) -> None:
    observed = readings(drawn)
    with copy(empty, "rebuilt.db") as store, store.write() as unit:
        placed = unit.log.place_past(observed)
        assert (placed.new, placed.refused) == (len(observed), ())
        assert unit.log.spells(range(1, LISTINGS + 1)) == naive(observed)


@bounded
@given(st.permutations(range(20)), steps)
def test_no_order_of_imports_makes_spells_overlap(
    empty: Path, order: list[int], drawn: list[tuple[int, int, str]]
) -> None:
    observed = readings(drawn)
    shuffled = [observed[i] for i in order if i < len(observed)]
    with copy(empty, "shuffled.db") as store:
        for one in shuffled:
            with store.write() as unit:
                unit.log.insert_past([one])
        spells = kept(store)
        with store.read() as unit:
            gaps = unit.log.gaps(range(1, LISTINGS + 1))
    for before, after in pairwise(spells):
        assert before.first_seen <= before.last_seen
        if before.listing == after.listing:
            assert before.last_seen < after.first_seen
            assert before.offer != after.offer
    for gap in gaps:
        owners = [
            s
            for s in spells
            if s.listing == gap.listing and s.first_seen <= gap.start and gap.end <= s.last_seen
        ]
        assert len(owners) == 1
    assert sum(s.polls for s in spells) <= len(shuffled)


@given(
    st.lists(st.tuples(st.integers(0, 400), st.integers(1, 2)), max_size=25),
    st.integers(1, 400),
)
def test_a_cut_timeline_keeps_every_spell_on_its_side(
    placed: list[tuple[int, int]], cut: int
) -> None:
    line = Timeline([], [], fresh=20)
    results = [line.place(at, Terms(price, "EUR", None, 0, 0), 0) for at, price in placed]
    assert set(results) <= {NEW, KNOWN, CONFLICT}
    polls = sum(span.polls for span in line.spans)
    covered = {at for span in line.spans for at in range(span.first, span.last + 1)}
    tail = line.cut(cut)
    assert all(span.last < cut for span in line.spans)
    assert all(span.first >= cut for span in tail.spans)
    left = {at for span in [*line.spans, *tail.spans] for at in range(span.first, span.last + 1)}
    assert left <= covered
    assert polls <= sum(span.polls for span in [*line.spans, *tail.spans]) <= polls + 1
    assert all(span.polls >= 1 for span in [*line.spans, *tail.spans])
