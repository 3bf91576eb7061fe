"""`[supplier.KEY]`: a shop, what it charges for delivery, and how to treat it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from service.exchange.catalogue import values as v
from service.model.catalogue import Fee, ShippingRow, Supplier

if TYPE_CHECKING:
    from service.exchange.catalogue.table import Table

LEAST_GAP = timedelta(seconds=2)


def read_supplier(key: str, table: Table) -> Supplier:
    """One supplier; what is wrong is noted in the table's problems."""
    currency = table.maybe("currency", v.currency)
    lacks = currency is None and not table.has("currency")
    if lacks and table.has("shipping", "fee", "min_order"):
        table.problem('missing; its fees need one, write such as currency = "EUR"', "currency")
    supplier = Supplier(
        key=key,
        name=table.need("name", v.words(), "", f'write such as name = "{key.title()}"'),
        home=table.maybe("home", v.url),
        country=table.maybe("country", v.country),
        currency=currency,
        prices=_prices(table),
        shipping=tuple(_shipping(row) for row in table.tables("shipping")),
        min_gap=table.maybe(
            "min_gap", v.at_least(LEAST_GAP, "a host is left alone for 2 s or more")
        ),
        min_order=table.maybe("min_order", v.price),
        contact_note=table.maybe("contact_note", v.words(2000, lines=True)),
        fees=tuple(_fee(row) for row in table.tables("fee")),
    )
    table.done()
    return supplier


def _prices(table: Table) -> Literal["with-tax", "without-tax"]:
    read = v.one_of("with-tax", "without-tax")
    return "without-tax" if table.get("prices", read, "") == "without-tax" else "with-tax"


def _shipping(row: Table) -> ShippingRow:
    found = ShippingRow(
        to=row.need("to", v.anywhere, "*", 'write a country such as to = "NL", or to = "*"'),
        fee=row.need("fee", v.price, Decimal(0), 'write such as fee = "4.95", or "0"'),
        free_from=row.maybe("free_from", v.price),
        up_to_g=row.maybe("up_to_g", v.positive),
        up_to=row.maybe("up_to", v.price),
        days=row.maybe("days", v.promise),
        classes=row.each("class", v.key),
        not_classes=row.each("not_class", v.key),
    )
    row.done()
    return found


def _fee(row: Table) -> Fee:
    row.only_one(("amount", "percent"), 'write such as amount = "2.50" or percent = "1.5 %"')
    when = row.table("when")
    found = Fee(
        name=row.need("name", v.words(), "", 'write what it is for, such as name = "packing"'),
        amount=row.maybe("amount", v.price),
        percent=row.maybe("percent", v.percent),
        when_class=when.maybe("class", v.key),
    )
    when.done()
    row.done()
    return found
