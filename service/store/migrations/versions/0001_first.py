"""The first schema. New databases are made from the tables at once, so nothing is left to do."""

from __future__ import annotations

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Where every database begins."""
