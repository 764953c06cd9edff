"""The second wall between nurseries in one PostgreSQL: row-level security on every table.

The first wall is the site's condition in every query. Behind it the database itself shows and takes
only rows of the site that the transaction has entered; one that entered none sees nothing. The
tables' owner is held to it too (FORCE), a superuser and a role with BYPASSRLS are not.

SQLite has no such thing: a file of it is for one nursery.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, text

from lathhouse.store.engine import is_sqlite

SETTING = "lathhouse.site"
POLICY = "own_site"
OWN = f"current_setting('{SETTING}', true)"
WITH_SITES = text(
    "SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid"
    " WHERE c.relkind IN ('r', 'p') AND c.relnamespace = current_schema()::regnamespace"
    " AND a.attname = 'site_id' AND NOT a.attisdropped ORDER BY c.relname"
)
WALLED = text(
    "SELECT tablename FROM pg_policies"
    " WHERE policyname = :policy AND schemaname = current_schema() ORDER BY tablename"
)
BYPASSES = text("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user")


def enter(connection: Connection, site_id: str) -> None:
    """Let this transaction, and no later one of its connection, see and write a site's rows."""
    if not is_sqlite(connection):
        entered = text("SELECT set_config(:setting, :site, true)")
        connection.execute(entered, {"setting": SETTING, "site": site_id})


def build(connection: Connection) -> None:
    """Put the wall around every table with a site; those that have it keep it."""
    walled = set(standing(connection))
    for table in connection.execute(WITH_SITES).scalars().all():
        _force(connection, table)
        if table not in walled:
            held = f"site_id = {OWN}"
            _run(connection, f"CREATE POLICY {POLICY} ON {table} USING ({held})")
    _force(connection, "sites")
    if "sites" not in walled:
        # Which sites there are is asked before one is entered; only the own one is ever changed.
        _run(connection, "CREATE POLICY any_site_seen ON sites FOR SELECT USING (true)")
        _run(connection, "CREATE POLICY new_site ON sites FOR INSERT WITH CHECK (true)")
        _run(connection, f"CREATE POLICY {POLICY} ON sites FOR UPDATE USING (id = {OWN})")
        _run(connection, f"CREATE POLICY own_site_ended ON sites FOR DELETE USING (id = {OWN})")


def pull_down(connection: Connection) -> None:
    """Take the wall away, as it was before there was one."""
    for name in ("any_site_seen", "new_site", "own_site_ended"):
        _run(connection, f"DROP POLICY IF EXISTS {name} ON sites")
    for table in standing(connection):
        _run(connection, f"DROP POLICY {POLICY} ON {table}")
        _run(connection, f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
        _run(connection, f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")


def standing(connection: Connection) -> list[str]:
    """Return the tables that have the wall."""
    return list(connection.execute(WALLED, {"policy": POLICY}).scalars())


def is_bypassed(connection: Connection) -> bool:
    """Say whether this role walks through the wall: a superuser, or one with BYPASSRLS."""
    return not is_sqlite(connection) and bool(connection.execute(BYPASSES).scalar())


@contextmanager
def lowered(connection: Connection) -> Iterator[None]:
    """Let a migration, run by the tables' owner, at every site's rows; then close every gap.

    A table that a migration has made gets its wall here, so that none is forgotten.
    """
    for table in standing(connection):
        _run(connection, f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    yield
    if standing(connection):
        build(connection)


def _force(connection: Connection, table: str) -> None:
    _run(connection, f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
    _run(connection, f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def _run(connection: Connection, statement: str) -> None:
    connection.execute(text(statement))
