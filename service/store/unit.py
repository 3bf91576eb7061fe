"""One transaction over everything that is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from service.store import tables
from service.store.bulk import upsert
from service.store.catalogue import Catalogue
from service.store.deals import Deals
from service.store.log import Log
from service.store.orders import Orders
from service.store.outbox import NoticeBox
from service.store.polls import Polls
from service.store.purchases import Purchases
from service.store.rates import RateTable
from service.store.workshop import Workshop

if TYPE_CHECKING:
    from service.flows.ports import (
        CatalogueStore,
        DealStore,
        OrderStore,
        Outbox,
        PollStore,
        PriceLog,
        PurchaseStore,
        RateStore,
        WorkshopStore,
    )
    from service.store.record import Known


class SqlUnit:
    """Unit on one connection; the transaction is its opener's."""

    def __init__(self, conn: Connection, known: Known) -> None:
        """`known`: the store's own memory of the spells that run, see `record`."""
        self.conn = conn
        self.catalogue: CatalogueStore = Catalogue(conn)
        self.log: PriceLog = Log(conn, known)
        self.polls: PollStore = Polls(conn)
        self.deals: DealStore = Deals(conn)
        self.outbox: Outbox = NoticeBox(conn)
        self.rates: RateStore = RateTable(conn)
        self.purchases: PurchaseStore = Purchases(conn)
        self.orders: OrderStore = Orders(conn)
        self.workshop: WorkshopStore = Workshop(conn)

    def setting(self, name: str) -> str | None:
        """A value kept with the data; None where it was never set."""
        table = tables.setting
        return self.conn.scalar(select(table.c.value).where(table.c.name == name))

    def settings(self, prefix: str) -> dict[str, str]:
        """All values whose names begin so."""
        table = tables.setting
        query = select(table.c.name, table.c.value)
        query = query.where(table.c.name.startswith(prefix, autoescape=True))
        return {row[0]: row[1] for row in self.conn.execute(query)}

    def set_setting(self, name: str, value: str) -> None:
        """Keep it in place of the one before."""
        upsert(self.conn, tables.setting, [{"name": name, "value": value}])
