from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from store_books import BATTERY, DAY, HOUR, NOON, full_book, keep, offer, page, seen

from scrapers import Availability, Tax
from service.errors import InputError, NotFoundError
from service.flows.ports import Doubt, Gap
from service.model.book import Book
from service.model.prices import Observation, Offer, Spell
from service.store.database import SqlStore


def write(store: SqlStore, *observations: Observation) -> None:
    with store.write() as unit:
        unit.log.record(observations)


def spells(store: SqlStore, *listings: int, since: datetime | None = None) -> list[Spell]:
    with store.read() as unit:
        return unit.log.spells(listings, since)


def brief(store: SqlStore, listing: int) -> list[tuple[str, int, int, int]]:
    """Price, first and last hour after noon, polls."""
    return [
        (str(s.offer.price), (s.first_seen - NOON) // HOUR, (s.last_seen - NOON) // HOUR, s.polls)
        for s in spells(store, listing)
    ]


def test_equal_offers_are_one_spell_and_another_ends_it(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    for hour, price in ((0, "39.90"), (6, "39.90"), (12, "39.90"), (18, "34.90"), (24, "39.90")):
        write(store, seen(one, NOON + hour * HOUR, price))
    assert brief(store, one) == [("39.90", 0, 12, 3), ("34.90", 18, 18, 1), ("39.90", 24, 24, 1)]


@pytest.mark.parametrize(
    "other",
    [
        offer("39.91"),
        offer("39.90", was="49.90"),
        offer("39.90", stock=Availability.LOW_STOCK),
        Offer(Decimal("39.90"), "GBP", None, Availability.IN_STOCK, Tax.INCLUDED),
    ],
)
def test_every_part_of_an_offer_counts(store: SqlStore, other: Offer) -> None:
    one = keep(store)[BATTERY]
    write(store, Observation(one, NOON, offer("39.90")))
    write(store, Observation(one, NOON + HOUR, other))
    assert [spell.offer for spell in spells(store, one)] == [offer("39.90"), other]


def test_what_is_read_back_equals_what_was_seen(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    first, last = NOON + timedelta(microseconds=1), NOON + HOUR
    was = offer("0.0050", was="12.3456", stock=Availability.BACKORDER)
    write(store, Observation(one, first, was, "hand"), Observation(one, last, was, "hand"))
    assert spells(store, one) == [Spell(one, was, first, last, 2, 3599.0, "hand")]


def test_a_batch_may_hold_several_readings_of_a_listing_in_any_order(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    batch = [seen(one, NOON + h * HOUR, p) for h, p in ((3, "3"), (0, "1"), (2, "1"), (1, "2"))]
    write(store, *batch)
    assert brief(store, one) == [
        ("1.00", 0, 0, 1),
        ("2.00", 1, 1, 1),
        ("1.00", 2, 2, 1),
        ("3.00", 3, 3, 1),
    ]


def test_the_same_reading_twice_counts_once(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    for _ in range(3):
        write(store, seen(one, NOON, "5"), seen(one, NOON + HOUR, "5"))
    assert brief(store, one) == [("5.00", 0, 1, 2)]


def test_a_pause_longer_than_a_price_may_be_used_is_a_gap_of_its_spell(store: SqlStore) -> None:
    """Design: stale after max(48 h, 4 x every); an unobserved stretch does not split a spell."""
    ids = keep(store)
    quick, slow = ids[BATTERY], ids["https://quill.example/p/4s-3000"]  # every 6 h, every 24 h
    for at in (NOON, NOON + 2 * DAY, NOON + 5 * DAY):
        write(store, seen(quick, at, "5"), seen(slow, at, "5"))
    with store.read() as unit:
        assert unit.log.gaps([quick, slow]) == [Gap(quick, NOON + 2 * DAY, NOON + 5 * DAY)]
        assert unit.log.gaps([quick], since=NOON + 5 * DAY) == []
    assert [s.longest_gap for s in spells(store, quick, slow)] == [259_200.0, 259_200.0]
    assert [s.polls for s in spells(store, quick)] == [3]


def test_another_interval_moves_the_bound_of_a_gap(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    keep(store, Book(listings=(page("4s-3300", "battery", hours=48),)))
    write(store, seen(one, NOON + 8 * DAY, "5"))
    with store.read() as unit:
        assert unit.log.gaps([one]) == []


def test_a_poll_after_the_clock_was_set_back_is_still_the_newest(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    write(store, seen(one, NOON - HOUR, "6"))
    assert [(str(s.offer.price), s.first_seen) for s in spells(store, one)] == [
        ("5.00", NOON),
        ("6.00", NOON + timedelta(microseconds=1)),
    ]


def test_a_price_by_hand_for_an_earlier_day_takes_its_place_there(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5", "hand"), seen(one, NOON + DAY, "7", "hand"))
    write(store, seen(one, NOON - DAY, "6", "hand"))
    assert brief(store, one) == [("6.00", -24, -24, 1), ("5.00", 0, 0, 1), ("7.00", 24, 24, 1)]


def test_a_listing_that_is_not_stored_is_named(store: SqlStore) -> None:
    keep(store)
    with pytest.raises(NotFoundError, match="4711"):
        write(store, seen(4711, NOON, "5"))


def test_two_stores_on_one_database_agree(url: str, store: SqlStore) -> None:
    """Each remembers what runs; the other's changes must not be missed."""
    from service.store.database import open_store

    one = keep(store)[BATTERY]
    with open_store(url) as other:
        write(store, seen(one, NOON, "5"))
        write(other, seen(one, NOON + HOUR, "6"))
        write(store, seen(one, NOON + 2 * HOUR, "5"))
        write(other, seen(one, NOON + 3 * HOUR, "6"))
        write(other, seen(one, NOON + 4 * HOUR, "6"))
        write(store, seen(one, NOON + 5 * HOUR, "6"))
    assert brief(store, one) == [
        ("5.00", 0, 0, 1),
        ("6.00", 1, 1, 1),
        ("5.00", 2, 2, 1),
        ("6.00", 3, 5, 3),
    ]


def test_a_transaction_that_failed_leaves_no_false_memory(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    with pytest.raises(NotFoundError), store.write() as unit:  # noqa: PT012 -- one transaction
        unit.log.record([seen(one, NOON + HOUR, "6")])
        unit.catalogue.move_listing("nothing", "https://quill.example/x", now=NOON)
    write(store, seen(one, NOON + 2 * HOUR, "6"))
    write(store, seen(one, NOON + 3 * HOUR, "6"))
    assert brief(store, one) == [("5.00", 0, 0, 1), ("6.00", 2, 3, 2)]


def test_spells_since_are_those_seen_then_or_later(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    for hour, price in enumerate(("1", "2", "3")):
        write(store, seen(one, NOON + hour * HOUR, price))
    found = spells(store, one, since=NOON + HOUR)
    assert [str(s.offer.price) for s in found] == ["2.00", "3.00"]


def test_as_of_any_time(store: SqlStore) -> None:
    ids = keep(store)
    one, other = ids[BATTERY], ids["quill/spar"]
    write(
        store,
        seen(one, NOON, "5"),
        seen(one, NOON + 6 * HOUR, "5"),
        seen(one, NOON + 12 * HOUR, "6"),
    )
    write(store, seen(one, NOON + 9 * DAY, "6"), seen(other, NOON + 12 * HOUR, "9", "hand"))
    cases = [
        (NOON - HOUR, None),
        (NOON, ("5.00", NOON)),
        (NOON + 3 * HOUR, ("5.00", NOON + 3 * HOUR)),
        (NOON + 9 * HOUR, ("5.00", NOON + 6 * HOUR)),
        (NOON + 12 * HOUR, ("6.00", NOON + 12 * HOUR)),
        (NOON + 5 * DAY, ("6.00", NOON + 12 * HOUR)),  # in the gap: last seen where it began
        (NOON + 90 * DAY, ("6.00", NOON + 9 * DAY)),
    ]
    with store.read() as unit:
        for at, expected in cases:
            every, some = unit.log.as_of(at), unit.log.as_of(at, [one])
            now = every.get(one)
            assert now == some.get(one)
            assert (now and (str(now.offer.price), now.seen_at)) == expected
        assert set(unit.log.as_of(NOON + DAY)) == {one, other}
        assert unit.log.as_of(NOON + DAY, []) == {}


def test_doubts_are_kept_aside_and_mark_the_price(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    doubt = Doubt(one, NOON + HOUR, "a tenth of the usual price", {"price": "0.50"})
    with store.write() as unit:
        unit.log.keep_doubt(doubt)
        unit.log.keep_doubt(Doubt(one, NOON + 2 * HOUR, "again", {"price": "0.50"}, 2))
    with store.read() as unit:
        assert unit.log.doubts() == unit.log.doubts([one])
        assert [(d.reason, d.seen, d.reading) for d in unit.log.doubts()] == [
            ("again", 2, {"price": "0.50"})
        ]
        assert unit.log.as_of(NOON + HOUR)[one].doubtful is None
        assert unit.log.as_of(NOON + 2 * HOUR)[one].doubtful == "again"
    with store.write() as unit:
        unit.log.clear_doubt(one)
        assert unit.log.doubts() == []


def test_the_database_itself_refuses_an_impossible_spell(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    good = f"({one}, 10, 11, 1, 0, 1, 'EUR', NULL, 0, 0, 0)"
    backwards = good.replace("11", "9")
    for rows in (backwards, f"{good}, {good}"):
        with pytest.raises(IntegrityError), store.engine.begin() as conn:
            conn.execute(text(f"INSERT INTO spell VALUES {rows}"))


# Old readings.


def test_imported_readings_take_their_place_in_time(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    for hour, price in ((0, "5"), (6, "5"), (120, "5"), (126, "6")):
        write(store, seen(one, NOON + hour * HOUR, price))
    past = [
        seen(one, NOON - 9 * HOUR, "4", "import"),  # before
        seen(one, NOON - 3 * HOUR, "5", "import"),  # before, same as what follows
        seen(one, NOON + 3 * HOUR, "5", "import"),  # known
        seen(one, NOON + 4 * HOUR, "9", "import"),  # contradicts
        seen(one, NOON + 60 * HOUR, "7", "import"),  # in the gap
        seen(one, NOON + 123 * HOUR, "5.5", "import"),  # between two spells
        seen(one, NOON + 130 * HOUR, "8", "import"),  # after
    ]
    with store.write() as unit:
        placed = unit.log.place_past(past)
    assert (placed.new, placed.known, len(placed.refused)) == (5, 1, 1)
    assert placed.refused[0].observation == past[3]
    assert "5.00 EUR (in_stock) was seen from 2026-03-01" in placed.refused[0].reason
    assert brief(store, one) == [
        ("4.00", -9, -9, 1),
        ("5.00", -3, 6, 3),
        ("7.00", 60, 60, 1),
        ("5.00", 120, 120, 1),
        ("5.50", 123, 123, 1),
        ("6.00", 126, 126, 1),
        ("8.00", 130, 130, 1),
    ]
    assert [s.origin for s in spells(store, one)] == [
        "import",
        "poll",
        "import",
        "poll",
        "import",
        "poll",
        "import",
    ]
    with store.write() as unit:
        again = unit.log.place_past(past)
        assert (again.new, again.known, len(again.refused)) == (0, 6, 1)
        assert unit.log.gaps([one]) == []


def test_an_imported_reading_in_a_gap_confirms_it_there(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    write(store, seen(one, NOON + 5 * DAY, "5"))
    with store.write() as unit:
        assert unit.log.insert_past([seen(one, NOON + DAY, "5", "import")]) == 1
        assert unit.log.gaps([one]) == [Gap(one, NOON + DAY, NOON + 5 * DAY)]
    assert [(s.polls, s.longest_gap) for s in spells(store, one)] == [(3, 4 * 86_400.0)]


def test_polls_go_on_after_an_import(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    with store.write() as unit:
        unit.log.insert_past([seen(one, NOON - HOUR, "5", "import")])
    write(store, seen(one, NOON + HOUR, "5"))
    assert brief(store, one) == [("5.00", -1, 1, 3)]


# Listings that move or change.


def test_a_page_at_a_new_address_keeps_its_history(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    with store.write() as unit:
        moved = unit.catalogue.move_listing(BATTERY, "https://www.quill.example/new/4s", now=NOON)
        assert unit.catalogue.listing(BATTERY) is None
    with store.read() as unit:
        assert unit.catalogue.listing(moved.key) == moved
        assert (moved.id, moved.url) == (one, "https://www.quill.example/new/4s")
        assert unit.polls.hosts_of([one]) == {"quill.example": [one]}
        assert {t.subject for t in unit.catalogue.targets()} == {"battery", moved.key}
    assert brief(store, one) == [("5.00", 0, 0, 1)]


def test_a_page_cannot_move_onto_another_listing(store: SqlStore) -> None:
    keep(store)
    with pytest.raises(InputError, match="is a listing already"), store.write() as unit:
        unit.catalogue.move_listing(BATTERY, "https://quill.example/p/4s-3000", now=NOON)
    with pytest.raises(NotFoundError), store.write() as unit:
        unit.catalogue.move_listing("nothing", "https://quill.example/x", now=NOON)


def test_a_page_that_sells_something_else_is_cut_in_two(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    for hour, price in ((0, "5"), (6, "6"), (12, "6"), (18, "6"), (24, "7")):
        write(store, seen(one, NOON + hour * HOUR, price))
    other = page("4s-3300", "strap")
    with store.write() as unit:
        new = unit.catalogue.split_listing(BATTERY, NOON + 10 * HOUR, other, now=NOON)
    assert new.id != one
    with store.read() as unit:
        old = unit.catalogue.listing(f"{BATTERY}@2026-03-01")
        assert old is not None
        assert (old.id, old.url) == (one, None)
        assert [x.id for x in unit.catalogue.listings_of("strap")][-1] == new.id
        assert unit.polls.due(NOON + 90 * DAY)["quill.example"].count(new.id) == 1
        assert unit.polls.states([one]) == {}
    before, after = brief(store, one), brief(store, new.id)
    assert [row[0] for row in before] == ["5.00", "6.00"]
    assert [row[0] for row in after] == ["6.00", "7.00"]
    assert before[-1][3] + after[0][3] == 3  # the polls of the divided spell
    cut = NOON + 10 * HOUR
    assert spells(store, one)[-1].last_seen < cut <= spells(store, new.id)[0].first_seen


def test_a_removed_listing_keeps_its_history_and_may_come_back(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    write(store, seen(one, NOON, "5"))
    with store.write() as unit:
        assert unit.catalogue.remove_listing(BATTERY)
        assert not unit.catalogue.remove_listing(BATTERY)
        assert unit.catalogue.listing(BATTERY) is None
        assert unit.polls.due(NOON + DAY).get("quill.example", []) == [4]
    assert brief(store, one) == [("5.00", 0, 0, 1)]
    assert keep(store, Book(listings=(full_book().listings[0],)))[BATTERY] == one
