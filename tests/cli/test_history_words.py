"""`history` for people: a chart, the tables, and the discount in words.

Directive 98/6/EC Art. 6a: measured from the lowest price of the 30 days before.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from book_kit import MOTOR, kit
from command import ebbmark

from scrapers import Availability, Tax
from service.model.prices import Observation, Offer


def test_chart_table_and_words(tmp_path):
    with kit(tmp_path) as book:
        start = datetime.now(UTC) - timedelta(days=83, hours=12)  # the command reads the real clock
        seen = []
        for day in range(84):
            sale = day >= 80
            offer = Offer(
                Decimal("80.00" if sale else "100.00"),
                "EUR",
                Decimal("100.00") if sale else None,
                Availability.IN_STOCK,
                Tax.INCLUDED,
            )
            seen.append(Observation(book.ids()[MOTOR], start + timedelta(days=day), offer))
        with book.deps.store.write() as unit:
            for one in seen:
                unit.log.record([one])
        listing, url = MOTOR, book.deps.store.url
        ran = ebbmark("history", listing, "--db", url)
    assert ran.code == 0, ran.err
    assert "lowest, 90 days" in ran.out
    assert "the discount fits what was seen on 84 days" in ran.out
    frame = [line for line in ran.out.splitlines() if " | " in line]
    dots = [char for line in frame for char in line if "\u2801" <= char <= "\u28ff"]
    assert len(dots) > 40, "a line over the whole width"  # Unicode: Braille Patterns


def test_one_reading_needs_no_chart(tmp_path):
    with kit(tmp_path) as book:
        offer = Offer(Decimal("80.00"), "EUR")
        with book.deps.store.write() as unit:
            unit.log.record([Observation(book.ids()[MOTOR], datetime.now(UTC), offer)])
        ran = ebbmark("history", MOTOR, "--db", book.deps.store.url)
    assert ran.code == 0, ran.err
    assert " | " not in ran.out
