"""Database connections: SQLite that loses nothing, or PostgreSQL by its address."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import OperationalError

from lathhouse.errors import Busy

# SQLite's own wait is not fair: writers of one process queue here instead.
SQLITE_WRITERS = threading.Lock()
PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON")
BUSY_SECONDS = 30
CONNECT_SECONDS = 10
# How long a writer waits for its turn: each holds a thread meanwhile, and with all of them waiting
# nothing is answered any more. A phone gives up after 20 s. Ours.
TURN_SECONDS = 10.0
COME_AGAIN_SECONDS = 15
# Who writes only by the way, as a reader does, gives up rather than wait. Ours.
HURRIED_MS = 100


def options(url: str) -> dict[str, Any]:
    """Return the engine options for a database address."""
    if url.startswith("sqlite"):
        return {"connect_args": {"timeout": BUSY_SECONDS, "check_same_thread": False}}
    return {"pool_pre_ping": True, "connect_args": {"connect_timeout": CONNECT_SECONDS}}


def prepare(engine: Engine) -> None:
    """Make a SQLite engine open its transactions itself.

    The driver's default begins a transaction at the first write only, and read-then-write loses
    updates in silence; `BEGIN IMMEDIATE` loses none.
    """
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _on_connect)
        event.listen(engine, "begin", _on_begin)


def _on_connect(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _on_begin(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("reading"):
        connection.exec_driver_sql("BEGIN")
    elif options.get("hurried"):
        _begin_hurried(connection)
    else:
        connection.exec_driver_sql("BEGIN IMMEDIATE")


def _begin_hurried(connection: Connection) -> None:
    waits = connection.exec_driver_sql("PRAGMA busy_timeout").scalar()
    connection.exec_driver_sql(f"PRAGMA busy_timeout={HURRIED_MS}")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout={waits}")


def is_sqlite(connection: Connection) -> bool:
    """Say whether this connection is to SQLite."""
    return connection.dialect.name == "sqlite"


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Yield a connection for reading one consistent state; on SQLite it blocks nobody."""
    with engine.connect() as connection:
        options: dict[str, Any] = {"reading": True}
        if not is_sqlite(connection):
            options["isolation_level"] = "REPEATABLE READ"
        with connection.execution_options(**options).begin():
            yield connection


def busy() -> Busy:
    """Return the refusal of whoever waited too long; another process may have the record."""
    says = "Nothing was stored. The app sends it again by itself."
    return Busy(says, retry_after_s=COME_AGAIN_SECONDS)


@contextmanager
def begun(engine: Engine, *, hurried: bool = False) -> Iterator[Connection]:
    """Yield a connection in a writing transaction; a hurried one waits for nobody.

    Raises:
        Busy: another writer has not ended in time, on SQLite.
        OperationalError: the same on PostgreSQL, for a hurried one.
    """
    turn_seconds = HURRIED_MS / 1000 if hurried else TURN_SECONDS
    with (
        sqlite_turn(engine, turn_seconds),
        engine.connect().execution_options(hurried=hurried) as connection,
        connection.begin(),
    ):
        if hurried and not is_sqlite(connection):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {HURRIED_MS}")
        yield connection


@contextmanager
def sqlite_turn(engine: Engine, turn_seconds: float) -> Iterator[None]:
    """Hold this process's turn to write, where the database is SQLite.

    Raises:
        Busy: another writer has not ended in time.
    """
    if engine.dialect.name != "sqlite":
        yield
        return
    if not SQLITE_WRITERS.acquire(timeout=turn_seconds):
        raise busy()
    try:
        yield
    except OperationalError as error:
        if getattr(error.orig, "sqlite_errorname", "").startswith("SQLITE_BUSY"):
            raise busy() from error
        raise
    finally:
        SQLITE_WRITERS.release()
