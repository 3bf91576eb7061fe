"""Orders with their lines and bills, movements of parts, offcuts by size.

Purchases stay as they are: what was bought before is on hand.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
STATES = "'ordered', 'part arrived', 'arrived', 'wrong', 'cancelled', 'returned', 'refunded'"


def upgrade() -> None:
    """New tables only."""
    _orders()
    _workshop()


def _orders() -> None:
    op.create_table(
        "order_head",
        sa.Column("key", sa.Text(), primary_key=True),
        sa.Column("supplier", sa.Text(), sa.ForeignKey("supplier.key")),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
    )
    op.create_index("ix_order_head_supplier", "order_head", ["supplier"])
    op.create_table(
        "order_line",
        sa.Column(
            "purchase", NUMBER, sa.ForeignKey("purchase.id", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column(
            "head", sa.Text(), sa.ForeignKey("order_head.key", ondelete="CASCADE"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.CheckConstraint(f"state in ({STATES})", name="state"),
    )
    op.create_index("ix_order_line_head", "order_line", ["head", "position"])
    op.create_table(
        "bill",
        sa.Column("id", NUMBER, primary_key=True),
        sa.Column(
            "head", sa.Text(), sa.ForeignKey("order_head.key", ondelete="CASCADE"), nullable=False
        ),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
    )
    op.create_index("ix_bill_head", "bill", ["head"])


def _workshop() -> None:
    op.create_table(
        "movement",
        sa.Column("id", NUMBER, primary_key=True),
        sa.Column("part", sa.Text(), sa.ForeignKey("part.key"), nullable=False),
        sa.Column("build", sa.Text()),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
    )
    op.create_index("ix_movement_part", "movement", ["part"])
    op.create_index("ix_movement_build", "movement", ["build"])
    op.create_table(
        "offcut",
        sa.Column("id", NUMBER, primary_key=True),
        sa.Column("part", sa.Text(), sa.ForeignKey("part.key"), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
    )
    op.create_index("ix_offcut_part", "offcut", ["part"])
