"""What shows only over several hosts: no network, and more pages than a host's pause allows."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from book_kit import kit

from scrapers import Outcome, Page, Visited
from service.flows.check import check
from service.flows.keep import note_clocks
from service.flows.poll import NO_NETWORK, poll_these

if TYPE_CHECKING:
    from pathlib import Path

    from scrapers import VisitRequest

SHOP = """
[supplier.s{n}]
name = "Shop {n}"
country = "NL"
currency = "EUR"
[part.p{n}]
name = "Part {n}"
unit = "piece"
"""
LISTING = '[[part.p{n}.listing]]\nsupplier = "s{n}"\nurl = "{url}"\nsold_as = "1 piece"\n'


def catalogue(hosts: int, each: int = 1) -> str:
    return "".join(
        SHOP.format(n=n)
        + "".join(LISTING.format(n=n, url=f"https://shop{n}.example/{k}") for k in range(each))
        for n in range(hosts)
    )


class Fails:
    """Every visit ends so; `led_to`: the page that all of them come to."""

    def __init__(self, outcome: Outcome, clock, led_to: str | None = None) -> None:
        self._outcome, self._clock, self._led_to = outcome, clock, led_to

    async def visit(self, request: VisitRequest) -> Visited:
        at = self._clock()
        page = self._led_to and Page(self._led_to, b"<html>Sign on</html>", "text/html", at)
        return Visited(request.url, self._outcome, at, None if page else "down", page=page or None)

    async def aclose(self) -> None:
        pass


@pytest.mark.parametrize(
    ("outcome", "led_to", "hosts", "suspect"),
    [
        (Outcome.UNREACHABLE, None, 3, True),
        (Outcome.UNREACHABLE, None, 2, False),  # two shops may well be down at once
        (Outcome.OK, "http://portal.example/login", 3, True),
        (Outcome.BARRED, None, 3, False),
    ],
)
def test_a_pass_says_when_it_looks_like_our_own_network(
    tmp_path: Path, outcome: Outcome, led_to: str | None, hosts: int, suspect: bool
) -> None:
    with kit(tmp_path, catalogue(hosts)) as book:
        deps = replace(book.deps, fetcher=Fails(outcome, book.clock, led_to))
        report = asyncio.run(poll_these(deps, list(book.ids().values())))
        assert (report.waiting.get("network") == NO_NETWORK) is suspect
        with deps.store.read() as unit:
            assert unit.log.spells(list(book.ids().values())) == []


def test_more_pages_than_the_pause_allows_are_said(tmp_path: Path) -> None:
    """3,000 pages at 10 s take 8.3 h by arithmetic; 2,000 visits a day make it 36 h."""
    with kit(tmp_path, catalogue(1, each=3000)) as book:
        problems = [p for p in check(book.deps) if p["what"] == "shop0.example"]
    assert len(problems) == 1
    assert (
        "3000 pages with a pause of 10 s take 36.0 h a round, not 6.0 h" in problems[0]["problem"]
    )


def test_few_pages_are_no_problem(tmp_path: Path) -> None:
    with kit(tmp_path, catalogue(2, each=3)) as book:
        assert not [p for p in check(book.deps) if p["what"].startswith("shop")]


def test_the_default_rhythm_is_six_hours(tmp_path: Path) -> None:
    with kit(tmp_path, catalogue(1)) as book, book.deps.store.read() as unit:
        assert unit.catalogue.listings()[0].every == timedelta(hours=6)


@pytest.mark.parametrize(
    ("ahead", "told"),
    [
        ((0, 1, -1), None),
        ((0, 2, 7200), None),  # one host's clock is its own affair
        ((7200, 7201, 0), "120 min behind"),
        ((-1800, -1790, -1801), "30 min ahead of"),
        ((7200, 7200), None),  # too few to say
    ],
)
def test_a_wrong_clock_is_told_by_check(
    tmp_path: Path, ahead: tuple[int, ...], told: str | None
) -> None:
    """RFC 9110 section 6.6.1: a host with a clock says the time in Date."""
    with kit(tmp_path, catalogue(len(ahead))) as book:
        with book.deps.store.write() as unit:
            note_clocks(unit, {f"shop{n}.example": float(s) for n, s in enumerate(ahead)})
        found = [p["problem"] for p in check(book.deps) if p["what"] == "clock"]
    assert bool(found) is (told is not None)
    assert all(str(told) in problem for problem in found)


def test_a_clock_that_is_set_right_is_told_no_more(tmp_path: Path) -> None:
    hosts = [f"shop{n}.example" for n in range(3)]
    with kit(tmp_path, catalogue(3)) as book:
        for seconds in (900.0, 3.0):
            with book.deps.store.write() as unit:
                note_clocks(unit, dict.fromkeys(hosts, seconds))
        with book.deps.store.write() as unit:
            note_clocks(unit, dict.fromkeys(hosts))  # a visit that brought no Date
        assert not [p for p in check(book.deps) if p["what"] == "clock"]
