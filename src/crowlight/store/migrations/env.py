"""Run by Alembic: migrate the connection that `crowlight.store.database` hands over."""

from __future__ import annotations

from alembic import context
from sqlalchemy import Connection

from crowlight.store.schema import metadata


def migrate(connection: Connection) -> None:
    """Run the migrations that were asked for, each in a transaction of its own."""
    context.configure(
        connection=connection,
        target_metadata=metadata,
        compare_type=True,
        compare_server_default=True,
        render_as_batch=True,
        transactional_ddl=True,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()


# Only Alembic gives a configuration; without one the module was merely imported.
config = getattr(context, "config", None)
if config is not None:
    migrate(config.attributes["connection"])
