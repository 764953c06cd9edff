"""Runs migrations inside one transaction; two servers starting at once take turns."""

from contextlib import nullcontext

from alembic import context
from flask import current_app
from sqlalchemy import text

from lathhouse.store import walls

MIGRATION_LOCK = 7_283_001

engine = current_app.extensions["migrate"].db.engine
metadata = current_app.extensions["migrate"].db.metadata

with engine.connect() as connection:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=True,
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        on_postgresql = connection.dialect.name == "postgresql"
        # BEGIN IMMEDIATE does the same on SQLite.
        if on_postgresql:
            connection.execute(text(f"SELECT pg_advisory_xact_lock({MIGRATION_LOCK})"))
        at = context.get_context().get_current_revision()
        waits = on_postgresql and at != context.get_head_revision()
        with walls.lowered(connection) if waits else nullcontext():
            context.run_migrations()
