"""Orders, bills, movements and offcuts on both databases."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from store_books import keep

from service.errors import StoreError
from service.model.builds import Cut
from service.model.money import Money
from service.model.orders import Movement, Offcut, Order, OrderBill, OrderLine, Purchase, Step
from service.store.database import SqlStore

DAY = date(2026, 3, 1)
TEN = Money(Decimal("10.0001"), "EUR")  # finer than a cent: kept as it is


def placed(store: SqlStore) -> tuple[Order, Purchase]:
    keep(store)
    with store.write() as unit:
        part = next(iter(unit.catalogue.parts()))
        bought = Purchase(part, Decimal("2.5"), TEN, on=DAY, order="Z-1")
        bought = replace(bought, id=unit.purchases.add(bought))
        order = Order("Z-1", DAY, "quill", (OrderLine(bought.id),), TEN, "by post")
        unit.orders.save(order, [bought])
    return order, bought


def test_an_order_comes_back_as_it_was_kept(store: SqlStore) -> None:
    order, bought = placed(store)
    step = Step("arrived", DAY, Decimal("1.5"), note="parcel 1")
    with store.write() as unit:
        assert unit.orders.get("Z-1") == order
        later = replace(order, lines=(OrderLine(bought.id, (step,)),))
        unit.orders.save(later, [bought])
        bill = OrderBill("Z-1", "customs", TEN, DAY, "at the door")
        bill = replace(bill, id=unit.orders.add_bill(bill))
    with store.read() as unit:
        assert unit.orders.all() == [later]
        assert unit.orders.bills() == [bill]
        assert unit.orders.get("Z-2") is None


def test_cancelled_purchases_are_left_out_unless_asked_for(store: SqlStore) -> None:
    order, bought = placed(store)
    gone = OrderLine(bought.id, (Step("cancelled", DAY, Decimal("2.5")),))
    with store.write() as unit:
        before = unit.purchases.all()
        unit.orders.save(replace(order, lines=(gone,)), [bought])
        assert unit.purchases.all() == [one for one in before if one.id != bought.id]
        assert unit.purchases.all(cancelled=True) == before
        book = unit.catalogue.book()
        place = book.purchases.index(bought)  # with what became of it, for another book
        assert book.orders[0].lines == (replace(gone, purchase=place),)


def test_movements_and_offcuts_come_back(store: SqlStore) -> None:
    _, bought = placed(store)
    late = Movement(bought.part, "used", Decimal("-0.25"), date(2026, 4, 1), "skua", repair=True)
    early = Movement(bought.part, "sold", Decimal(1), DAY, money=TEN, postage=TEN, note="fair")
    sheet = Offcut(bought.part, Cut(2, size=(Decimal(400), Decimal("299.5"))))
    with store.write() as unit:
        kept = [replace(one, id=unit.workshop.add(one)) for one in (late, early)]
        unit.workshop.set_offcuts(bought.part, [sheet])
        unit.workshop.set_offcuts(bought.part, [sheet])
    with store.read() as unit:
        assert unit.workshop.movements() == kept[::-1]
        assert [replace(one, id=0) for one in unit.workshop.offcuts()] == [sheet]


def test_what_refers_to_nothing_is_refused(store: SqlStore) -> None:
    keep(store)
    with pytest.raises(StoreError, match="contradict"), store.write() as unit:
        unit.workshop.add(Movement("no-such-part", "used", Decimal(1), DAY, "skua"))
    with pytest.raises(StoreError, match="contradict"), store.write() as unit:
        unit.orders.add_bill(OrderBill("no-such-order", "customs", TEN, DAY))


def test_settings_by_the_beginning_of_their_names(store: SqlStore) -> None:
    with store.write() as unit:
        for name in ("dismissed.a", "dismissed.b_c", "dismissedX", "other"):
            unit.set_setting(name, name.upper())
        assert unit.settings("dismissed.") == {
            "dismissed.a": "DISMISSED.A",
            "dismissed.b_c": "DISMISSED.B_C",
        }
