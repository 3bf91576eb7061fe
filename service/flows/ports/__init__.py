"""What the flows need from outside: a store, a fetcher, channels and a clock."""

from service.flows.ports.deps import Channel, Clock, Deps, PageFetcher
from service.flows.ports.records import (
    CLOCKS,
    Doubt,
    Gap,
    HostState,
    Lease,
    ListingState,
    Placed,
    Refused,
    VisitRow,
)
from service.flows.ports.stores import (
    CatalogueStore,
    DealStore,
    OrderStore,
    Outbox,
    PollStore,
    PriceLog,
    PurchaseStore,
    RateStore,
    Store,
    Unit,
    WorkshopStore,
)

__all__ = [
    "CLOCKS",
    "CatalogueStore",
    "Channel",
    "Clock",
    "DealStore",
    "Deps",
    "Doubt",
    "Gap",
    "HostState",
    "Lease",
    "ListingState",
    "OrderStore",
    "Outbox",
    "PageFetcher",
    "Placed",
    "PollStore",
    "PriceLog",
    "PurchaseStore",
    "RateStore",
    "Refused",
    "Store",
    "Unit",
    "VisitRow",
    "WorkshopStore",
]
