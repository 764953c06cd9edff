"""Runs migrations inside one transaction; two servers starting at once take turns."""

from alembic import context
from flask import current_app
from sqlalchemy import text

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
        # BEGIN IMMEDIATE does the same on SQLite.
        if connection.dialect.name == "postgresql":
            connection.execute(text(f"SELECT pg_advisory_xact_lock({MIGRATION_LOCK})"))
        context.run_migrations()
