from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from store_books import BATTERY, DAY, NOON, amount, full_book, keep, page

from service.errors import StoreError
from service.model.book import Book
from service.model.builds import Build, Line
from service.model.catalogue import Listing, Supplier, Supply
from service.store.database import SqlStore


def plain(book: Book) -> Book:
    """Without the store's numbers, in the order of the keys."""
    return Book(
        tuple(sorted(book.suppliers, key=lambda one: one.key)),
        tuple(sorted(book.parts, key=lambda one: one.key)),
        tuple(replace(one, id=0) for one in book.listings),
        tuple(sorted(book.builds, key=lambda one: one.key)),
        tuple(replace(one, id=0) for one in book.purchases),
        tuple(sorted(book.targets, key=lambda one: one.key)),
    )


def test_a_book_comes_back_as_it_was_saved(store: SqlStore) -> None:
    keep(store)
    with store.read() as unit:
        assert plain(unit.catalogue.book()) == plain(full_book())


def test_saving_again_changes_nothing(store: SqlStore) -> None:
    with store.write() as unit:
        assert unit.catalogue.save(full_book(), now=NOON) == 2 + 5 + 4 + 4 + 2 + 2
    with store.write() as unit:
        due = unit.polls.due(NOON)
        assert unit.catalogue.save(full_book(), now=NOON + DAY) == 0
        assert unit.catalogue.save(unit.catalogue.book(), now=NOON + DAY) == 0
        assert unit.polls.due(NOON) == due


def test_only_what_differs_is_counted_and_what_is_not_named_stays(store: SqlStore) -> None:
    keep(store)
    book = full_book()
    curlew = next(build for build in book.builds if build.key == "curlew")
    shorter = replace(curlew, lines=curlew.lines[:2])
    changed = Book(suppliers=(replace(book.suppliers[0], name="Quill"),), builds=(shorter,))
    with store.write() as unit:
        assert unit.catalogue.save(changed, now=NOON) == 2
        assert unit.catalogue.build("curlew") == shorter
        assert unit.catalogue.suppliers()["quill"].name == "Quill"
        assert len(unit.catalogue.parts()) == 5


def test_a_saved_listing_keeps_its_number(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    faster = replace(full_book().listings[0], every=timedelta(hours=1), least=amount("2"))
    with store.write() as unit:
        assert unit.catalogue.save(Book(listings=(faster,)), now=NOON) == 1
        assert unit.catalogue.listing(BATTERY) == replace(faster, id=one)
        assert unit.catalogue.listings([one]) == [replace(faster, id=one)]


def test_pages_are_due_at_once_prices_by_hand_never(store: SqlStore) -> None:
    ids = keep(store)
    with store.read() as unit:
        assert unit.polls.due(NOON - DAY) == {}
        assert unit.polls.due(NOON) == {"quill.example": [1, 4], "tarn.example": [2]}
        assert ids["quill/spar"] not in unit.polls.states(ids.values())
        assert unit.polls.hosts_of([ids["quill/spar"]]) == {}


def test_a_shorter_interval_brings_the_next_visit_forward(store: SqlStore) -> None:
    one = keep(store)[BATTERY]
    with store.write() as unit:
        state = unit.polls.states([one])[one]
        unit.polls.save_states([replace(state, next_due_at=NOON + 5 * DAY)])
        unit.catalogue.save(Book(listings=(page("4s-3300", "battery", hours=2),)), now=NOON)
        assert unit.polls.states([one])[one].next_due_at == NOON + timedelta(hours=2)


def test_listings_of_a_part_include_sets(store: SqlStore) -> None:
    ids = keep(store)
    with store.read() as unit:
        assert [one.id for one in unit.catalogue.listings_of("strap")] == [
            ids["https://tarn.example/kit#blue"]
        ]
        assert [one.id for one in unit.catalogue.listings_of("spar")] == [ids["quill/spar"]]
        assert unit.catalogue.listings_of("nothing") == []


@pytest.mark.parametrize(
    ("key", "builds"),
    [
        # named by a line of curlew; its version too; dunlin needs 4 cells and a capacity
        (BATTERY, {"curlew", "curlew-light", "dunlin"}),
        # stands in for the battery both ways, but states no capacity
        ("https://quill.example/p/4s-3000", {"curlew", "curlew-light", "dunlin"}),
        # an alternative of a line
        ("quill/spar", {"curlew", "curlew-light"}),
        # a set: resin for curlew, straps for ruff
        ("https://tarn.example/kit#blue", {"curlew", "curlew-light", "ruff"}),
    ],
)
def test_builds_that_a_price_can_change(store: SqlStore, key: str, builds: set[str]) -> None:
    ids = keep(store)
    with store.read() as unit:
        found = unit.catalogue.builds_using([ids[key]])
        assert {build.key for build in found} == builds
        assert unit.catalogue.builds_using([]) == []


def test_a_requirement_is_met_only_by_parts_that_state_it(store: SqlStore) -> None:
    ids = keep(store)
    alone = replace(full_book().parts[0], equivalents=())
    with store.write() as unit:
        unit.catalogue.save(Book(parts=(alone,)), now=NOON)
        found = unit.catalogue.builds_using([ids["https://quill.example/p/4s-3000"]])
        assert found == []


def test_versions_of_versions_are_found(store: SqlStore) -> None:
    ids = keep(store)
    third = Build("curlew-lighter", "Lighter", "EUR", base="curlew-light")
    with store.write() as unit:
        unit.catalogue.save(Book(builds=(third,)), now=NOON)
        keys = {build.key for build in unit.catalogue.builds_using([ids[BATTERY]])}
    assert "curlew-lighter" in keys


def test_what_refers_to_nothing_is_refused_whole(store: SqlStore) -> None:
    keep(store)
    lonely = Listing("nobody/strap", "nobody", (Supply("strap", amount("1")),))
    for bad in (
        Book(suppliers=(Supplier("new", "New"),), listings=(lonely,)),
        Book(
            suppliers=(Supplier("new", "New"),),
            builds=(Build("x", "X", "EUR", (Line(amount("1"), part="gone"),)),),
        ),
        Book(suppliers=(Supplier("new", "New"),), builds=(Build("x", "X", "EUR", base="gone"),)),
    ):
        with pytest.raises(StoreError, match="contradict"), store.write() as unit:
            unit.catalogue.save(bad, now=NOON)
        with store.read() as unit:
            assert "new" not in unit.catalogue.suppliers()


def test_odd_keys_are_kept_as_they_are(store: SqlStore) -> None:
    keys = ("it's", "ünïcode ½", "a\nb", '"; DROP TABLE supplier; --', "%_", "\U0001f6e9")
    keep(store, Book(suppliers=tuple(Supplier(key, key * 3) for key in keys)))
    with store.read() as unit:
        assert set(unit.catalogue.suppliers()) == set(keys)
        assert all(one.name == key * 3 for key, one in unit.catalogue.suppliers().items())


def test_equal_purchases_are_two_and_loading_them_again_adds_none(store: SqlStore) -> None:
    keep(store)
    one = full_book().purchases[0]
    with store.write() as unit:
        third = unit.purchases.add(one)
        assert len(unit.purchases.all()) == 3
        assert unit.catalogue.save(unit.catalogue.book(), now=NOON) == 0
        assert {p.id for p in unit.purchases.all()} >= {third}
        later = replace(one, on=None, count=Decimal(7))
        unit.purchases.add(later)
        assert replace(unit.purchases.all()[-1], id=0) == later
