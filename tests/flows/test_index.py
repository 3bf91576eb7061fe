"""The index of a build, from the store to the command.

Lowe index and linking: PPI Manual 2004, chapters 1 and 9 (the index is the basket's cost now by
its cost then; a new basket is priced on the day it takes over). The sums are done by hand.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from decimal import Decimal

import pytest
from book_kit import CELLS, MOTOR, kit
from command import ebbmark

from scrapers import Amount, Availability, Tax
from service.errors import InputError, NotFoundError
from service.flows import ask
from service.flows.index import index
from service.flows.upkeep import upkeep
from service.model.book import Book
from service.model.builds import Counts
from service.model.catalogue import Listing, Supply
from service.model.prices import Observation, Offer
from service.model.times import time_text


def see(book, key, price):
    """A price by hand at the clock's time."""
    offer = Offer(Decimal(price), "EUR", None, Availability.IN_STOCK, Tax.INCLUDED)
    with book.deps.store.write() as unit:
        unit.log.record([Observation(book.ids()[key], book.clock(), offer)])


def edit(book, amount):
    """The build takes so many motors from now on."""
    with book.deps.store.write() as unit:
        build = unit.catalogue.build("racer")
        motor, *others = build.lines
        lines = (replace(motor, amount=Amount(Decimal(amount), "piece")), *others)
        edited = Book(builds=(replace(build, lines=lines),))
        unit.catalogue.save(edited, now=book.clock())


@pytest.fixture
def book(tmp_path):
    with kit(tmp_path) as made:
        see(made, MOTOR, "30.00")
        see(made, CELLS, "40.00")  # two for the price: the build takes one of them
        asyncio.run(upkeep(made.deps))
        made.clock.pass_(hours=24 * 100)
        yield made


def test_the_cost_then_and_now_and_which_line_moved_it(book):
    see(book, MOTOR, "37.00")
    see(book, CELLS, "88.00")
    answer = index(book.deps, "racer")
    # 30 + 20 = 50 then, 37 + 44 = 81 now
    assert (answer["then"], answer["now"], answer["change"]) == ("50.00", "81.00", "31.00")
    assert answer["index"] == "1.6200"
    moved = {row["part"]: (row["change"], row["points"]) for row in answer["contributions"]}
    assert moved == {"motor": ("7.00", "14.00"), "battery": ("24.00", "48.00")}
    assert answer["words"].startswith("31.00 EUR more than in ")
    assert answer["words"].endswith(", 24.00 EUR of it Battery")
    # one basket: Laspeyres, Paasche and Fisher are the same; Jevons: sqrt(37/30 x 44/20)
    ratios = answer["formulas"]
    assert {ratios[name] for name in ("lowe", "laspeyres", "paasche", "fisher")} == {"1.6200"}
    assert ratios["jevons"] == "1.6472"


def test_a_part_that_nobody_saw_again_is_carried_and_named(book):
    see(book, MOTOR, "36.00")
    answer = index(book.deps, "racer")
    assert answer["carried"] == ["battery"]
    assert answer["now"] == "56.00"


def test_an_edit_is_no_price_change(book):
    see(book, MOTOR, "33.00")
    see(book, CELLS, "40.00")
    edit(book, 2)
    asyncio.run(upkeep(book.deps))
    book.clock.pass_(hours=24)
    see(book, MOTOR, "33.00")
    see(book, CELLS, "40.00")
    answer = index(book.deps, "racer")
    assert len(answer["edited"]) == 1
    # up to the edit (33 + 20) / (30 + 20), then unchanged
    assert answer["index"] == "1.0600"
    assert answer["points"][-1]["cost"] == "86.00"
    # Laspeyres 53/50; Paasche (66 + 20) / (60 + 20); Fisher: the root of their product
    assert answer["formulas"]["laspeyres"] == "1.0600"
    assert answer["formulas"]["paasche"] == "1.0750"
    assert answer["formulas"]["fisher"] == "1.0675"


def test_it_is_of_the_same_cost_that_reprice_shows(book):
    """Glossary, "share": waste, a third of a shared part, a whole purchase, no tool."""
    with book.deps.store.write() as unit:
        build = unit.catalogue.build("racer")
        motor, battery = build.lines
        lines = (
            replace(motor, waste=Decimal("0.1")),  # 33 of 30
            replace(motor, counts=Counts("tool")),
            replace(motor, counts=Counts("shared", 4)),  # a quarter of it
            replace(battery, counts=Counts("whole")),  # the two that are sold together
        )
        edited = Book(builds=(replace(build, lines=lines),))
        unit.catalogue.save(edited, now=book.clock())
    see(book, MOTOR, "40.00")
    see(book, CELLS, "40.00")
    answer = index(book.deps, "racer")
    shown = ask.reprice(book.deps, "racer")["totals"]["share"]
    assert (answer["then"], answer["now"], shown) == ("80.50", "94.00", "94.00")


def test_bad_questions(book):
    with pytest.raises(NotFoundError, match="racer"):
        index(book.deps, "nothing")
    with pytest.raises(InputError, match="not in the past"):
        index(book.deps, "racer", "2099-01-01")


def test_the_command(book):
    see(book, MOTOR, "37.00")
    url = book.deps.store.url
    words = ebbmark("index", "racer", "--db", url)
    assert words.code == 0, words.err
    assert "Racer:" in words.out
    assert "Outrunner" in words.out
    assert ebbmark("index", "racer", "--db", url, "--json").json["build"] == "racer"
    assert ebbmark("index", "nothing", "--db", url).code == 2


def plates(book, lines):
    """A second shop of the battery, one piece at 25.00 beside two for 40.00."""
    supply = (Supply("battery", Amount(Decimal(1), "piece")),)
    single = Listing("motors/battery", "motors", supply)
    with book.deps.store.write() as unit:
        build = unit.catalogue.build("racer")
        edited = Book(listings=(single,), builds=(replace(build, lines=lines(*build.lines)),))
        unit.catalogue.save(edited, now=book.clock())


def test_what_counts_whole_is_priced_as_reprice_does(book):
    """One battery alone at 25.00 is less than two for 40.00; a fixed listing stays (by hand)."""
    plates(
        book,
        lambda motor, battery: (
            replace(battery, counts=Counts("whole")),
            replace(battery, listing="motors/battery"),
            motor,
        ),
    )
    book.clock.pass_(hours=24)
    for key, price in ((MOTOR, "30.00"), (CELLS, "40.00"), ("motors/battery", "25.00")):
        see(book, key, price)
    asyncio.run(upkeep(book.deps))
    start = time_text(book.clock())
    book.clock.pass_(hours=24)
    see(book, MOTOR, "30.00")
    see(book, CELLS, "22.00")
    see(book, "motors/battery", "27.00")
    answer = index(book.deps, "racer", start)
    shown = ask.reprice(book.deps, "racer")["totals"]["share"]
    # then 25 + 25 + 30, now two for 22 opened, 27 fixed and 30
    assert (answer["then"], answer["now"], shown) == ("80.00", "79.00", "79.00")
    moved = [(row["part"], row["name"], row["change"]) for row in answer["contributions"]]
    assert moved == [
        ("battery", "Battery", "-3.00"),
        ("battery", "Battery", "2.00"),
        ("motor", "Outrunner", "0.00"),
    ]


def test_less_of_what_counts_whole_is_no_price_change(book):
    """Two batteries or one of a package: the package costs the same, and an edit is linked."""
    plates(book, lambda motor, battery: (motor, replace(battery, counts=Counts("whole"))))
    see(book, MOTOR, "30.00")
    see(book, CELLS, "20.00")
    asyncio.run(upkeep(book.deps))
    start = time_text(book.clock())
    book.clock.pass_(hours=24)
    plates(
        book,
        lambda motor, battery: (motor, replace(battery, amount=Amount(Decimal(2), "piece"))),
    )
    see(book, MOTOR, "30.00")
    see(book, CELLS, "20.00")
    asyncio.run(upkeep(book.deps))
    book.clock.pass_(hours=24)
    see(book, MOTOR, "30.00")
    see(book, CELLS, "20.00")
    answer = index(book.deps, "racer", start)
    assert len(answer["edited"]) == 1
    assert {point["index"] for point in answer["points"]} == {"1.0000"}
