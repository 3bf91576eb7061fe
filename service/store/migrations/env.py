"""Run by Alembic: uses the connection and the transaction of its caller."""

from __future__ import annotations

from alembic import context

from service.store.schema import VERSION_TABLE
from service.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
    render_as_batch=True,
    compare_type=True,
)
context.run_migrations()
