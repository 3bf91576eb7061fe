"""The schema, the same on SQLite and PostgreSQL.

Keys and what is searched for are columns; the rest of a catalogue thing is
JSON text (`data`). The price log is made of finished spells and, apart from
them, the one spell of each listing that still runs: a poll that finds nothing
new touches only a narrow row there.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    text,
)

from service.store.types import AvailabilityCode, Day, Exact, Instant, OriginCode, TaxCode

NAMES: Final = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = MetaData(naming_convention=NAMES)

# SQLite gives out row numbers only for a column of exactly this type.
_Id: Final = BigInteger().with_variant(Integer, "sqlite")


def _base() -> ForeignKey:
    """Checked at commit: a version may be stored before the build that it derives from."""
    return ForeignKey("build.key", deferrable=True, initially="DEFERRED")


def _of_listing() -> ForeignKey:
    return ForeignKey("listing.id", ondelete="CASCADE")


setting = Table(
    "setting",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

supplier = Table(
    "supplier",
    metadata,
    Column("key", Text, primary_key=True),
    Column("data", Text, nullable=False),
)

part = Table(
    "part",
    metadata,
    Column("key", Text, primary_key=True),
    Column("data", Text, nullable=False),
)

# Which parts may stand in for which: `part` can be filled with `other`, says `owner`.
stand_in = Table(
    "stand_in",
    metadata,
    Column("part", Text, primary_key=True),
    Column("owner", Text, ForeignKey("part.key", ondelete="CASCADE"), primary_key=True),
    Column("other", Text, primary_key=True, index=True),
)

listing = Table(
    "listing",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("supplier", Text, ForeignKey("supplier.key"), nullable=False, index=True),
    Column("host", Text),
    Column("fresh", BigInteger, nullable=False),  # microseconds that a price may be used for
    Column("removed_at", Instant),
    Column("data", Text, nullable=False),
)

supply = Table(
    "supply",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("part", Text, ForeignKey("part.key"), primary_key=True, index=True),
)

build = Table(
    "build",
    metadata,
    Column("key", Text, primary_key=True),
    Column("base", Text, _base(), index=True),
    Column("data", Text, nullable=False),
)

line = Table(
    "line",
    metadata,
    Column("build", Text, ForeignKey("build.key", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("part", Text, ForeignKey("part.key"), index=True),
    Column("need", Text),  # the names of its requirements, sorted
    Column("data", Text, nullable=False),
)

# Every part that a build may use, named by a line, an alternative or a replacement.
build_part = Table(
    "build_part",
    metadata,
    Column("build", Text, ForeignKey("build.key", ondelete="CASCADE"), primary_key=True),
    Column("part", Text, ForeignKey("part.key"), primary_key=True, index=True),
)

Index("ix_line_need", line.c.need)

target = Table(
    "target",
    metadata,
    Column("key", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False, index=True),
    Column("data", Text, nullable=False),
)

met = Table(
    "met",
    metadata,
    Column("target", Text, primary_key=True),
    Column("since", Instant, nullable=False),
)

purchase = Table(
    "purchase",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("part", Text, ForeignKey("part.key"), nullable=False, index=True),
    Column("day", Day),
    Column("data", Text, nullable=False),
)

order_head = Table(
    "order_head",
    metadata,
    Column("key", Text, primary_key=True),
    Column("supplier", Text, ForeignKey("supplier.key"), index=True),
    Column("day", Day, nullable=False),
    Column("data", Text, nullable=False),
)

# A line of an order is a purchase with a state; `data` tells how it came to it.
order_line = Table(
    "order_line",
    metadata,
    Column("purchase", _Id, ForeignKey("purchase.id", ondelete="CASCADE"), primary_key=True),
    Column("head", Text, ForeignKey("order_head.key", ondelete="CASCADE"), nullable=False),
    Column("position", Integer, nullable=False),
    Column("state", Text, nullable=False),
    Column("data", Text, nullable=False),
    CheckConstraint(
        "state in ('ordered', 'part arrived', 'arrived', 'wrong', 'cancelled', 'returned', "
        "'refunded')",
        name="state",
    ),
)

Index("ix_order_line_head", order_line.c.head, order_line.c.position)

bill = Table(
    "bill",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("head", Text, ForeignKey("order_head.key", ondelete="CASCADE"), nullable=False),
    Column("day", Day, nullable=False),
    Column("data", Text, nullable=False),
)

Index("ix_bill_head", bill.c.head)

# What parts did after they came: used by a build, moved, sold, written off, found still good.
movement = Table(
    "movement",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("part", Text, ForeignKey("part.key"), nullable=False, index=True),
    Column("build", Text, index=True),
    Column("day", Day, nullable=False),
    Column("data", Text, nullable=False),
)

offcut = Table(
    "offcut",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("part", Text, ForeignKey("part.key"), nullable=False, index=True),
    Column("data", Text, nullable=False),
)


def _terms() -> list[Column[Any]]:
    """What a spell repeats."""
    return [
        Column("price", Exact, nullable=False),
        Column("currency", Text, nullable=False),
        Column("list_price", Exact),
        Column("availability", AvailabilityCode, nullable=False),
        Column("tax", TaxCode, nullable=False),
        Column("origin", OriginCode, nullable=False),
    ]


def _run() -> list[Column[Any]]:
    """How long, how often and with what longest pause (whole seconds) it was seen."""
    return [
        Column("last_seen", Instant, nullable=False),
        Column("polls", Integer, nullable=False),
        Column("pause", Integer, nullable=False),
    ]


spell = Table(
    "spell",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("first_seen", Instant, primary_key=True),
    *_run(),
    *_terms(),
    CheckConstraint("first_seen <= last_seen", name="order"),
    CheckConstraint("polls > 0", name="polls"),
    sqlite_with_rowid=False,
)

running = Table(
    "running",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("first_seen", Instant, nullable=False),
    *_run(),
    *_terms(),
    Column("fresh", BigInteger, nullable=False),  # microseconds: a longer pause is a gap
    CheckConstraint("first_seen <= last_seen", name="order"),
    CheckConstraint("polls > 0", name="polls"),
)

# `polls`: how often the spell had been seen before the pause.
gap = Table(
    "gap",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("start", Instant, primary_key=True),
    Column("until", Instant, nullable=False),
    Column("polls", Integer, nullable=False),
    CheckConstraint("start < until", name="order"),
    sqlite_with_rowid=False,
)

# One row: grows with every change of the price log; `rebuilt` with those that touch the past.
log_version = Table(
    "log_version",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("version", BigInteger, nullable=False),
    Column("rebuilt", BigInteger, nullable=False),
)

doubt = Table(
    "doubt",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("at", Instant, nullable=False),
    Column("reason", Text, nullable=False),
    Column("reading", Text, nullable=False),
    Column("seen", Integer, nullable=False),
)

poll = Table(
    "poll",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("next_due_at", Instant, nullable=False, index=True),
    Column("failures", Integer, nullable=False),
    Column("missing", Integer, nullable=False),
    Column("last_visit_at", Instant),
    Column("last_outcome", Text),
    Column("last_reason", Text),
)

# What the last whole page was: changes seldom, so it lies apart from the due time.
page = Table(
    "page",
    metadata,
    Column("listing", _Id, _of_listing(), primary_key=True),
    Column("etag", Text),
    Column("last_modified", Text),
    Column("digest", Text),
    Column("verdict", Text),
    Column("verdict_reason", Text),
    Column("last_full_at", Instant),
    Column("evidence", Text, nullable=False),
    Column("identity", Text, nullable=False),
)

visit = Table(
    "visit",
    metadata,
    Column("id", _Id, primary_key=True),
    Column("listing", _Id, _of_listing(), nullable=False),
    Column("at", Instant, nullable=False, index=True),
    Column("outcome", Text, nullable=False),
    Column("reason", Text),
    Column("status", Integer),
)

Index("ix_visit_listing_at", visit.c.listing, visit.c.at)

host = Table(
    "host",
    metadata,
    Column("host", Text, primary_key=True),
    Column("owner", Text),
    Column("until", Instant),
    Column("token", BigInteger, nullable=False),
    Column("next_allowed_at", Instant),
    Column("failures", Integer, nullable=False, server_default=text("0")),
    Column("robots", Text),
    Column("visits_today", Integer, nullable=False, server_default=text("0")),
    Column("day", Day),
    Column("parked_reason", Text),
)

deal = Table(
    "deal",
    metadata,
    Column("key", Text, primary_key=True),
    Column("target", Text, nullable=False, index=True),
    Column("open", Boolean(create_constraint=False), nullable=False),
    Column("opened_at", Instant, nullable=False, index=True),
    Column("data", Text, nullable=False),
)

Index("ix_deal_open", deal.c.open)

notice = Table(
    "notice",
    metadata,
    Column("key", Text, primary_key=True),
    Column("channel", Text, nullable=False),
    Column("state", Text, nullable=False),  # waiting | sent | undelivered
    Column("not_before", Instant, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("owner", Text),
    Column("until", Instant),
    Column("sent_at", Instant),
    Column("reason", Text),
    Column("data", Text, nullable=False),
    CheckConstraint("state in ('waiting', 'sent', 'undelivered')", name="state"),
)

Index("ix_notice_state_not_before", notice.c.state, notice.c.not_before)

# `rate`: the published decimal text, units of the currency for one euro.
rate = Table(
    "rate",
    metadata,
    Column("currency", Text, primary_key=True),
    Column("day", Day, primary_key=True),
    Column("rate", Text, nullable=False),
    sqlite_with_rowid=False,
)
