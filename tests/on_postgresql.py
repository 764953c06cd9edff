"""`--on postgresql`: the server's tests on PostgreSQL alone; most have SQLite in the usual run.

A file that a test would keep its record in stands for a database then. What is about SQLite itself
is marked `about_sqlite` with its reason, left out, and named at the end; what opens a file of
SQLite unmarked fails, so that nothing is on SQLite unsaid.
"""

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.engine import make_url

from lathhouse.settings import Settings
from tests.databases import empty_postgresql

ROOT = Path(__file__).parent.parent
# What runs where no path is given: the rooms of the server that keep a record.
ROOMS = ("attack", "demo", "reminders", "store", "sync", "web")
URL = "LATHHOUSE_DATABASE_URL"
# A program that a test starts with no word of a database would make a file in its folder.
NAMES_NONE = "postgresql://this.test.names.no.database.invalid/none"
# The record put back to prove a backup: the product's own scratch, SQLite on every server.
SCRATCH = "scratch.sqlite"


class Databases:
    """The PostgreSQL of this run, and the files that its databases stand for."""

    def __init__(self) -> None:
        self.made: ExitStack | None = None
        self.like: tuple[str, str] = ("", "")
        self.stand_for: dict[str, str] = {}

    def of(self, file: Path, like: str | None = None) -> str:
        """Return the address of the database that stands for a file; it is made at the first."""
        assert self.made is not None
        if str(file) not in self.stand_for:
            server, tables = self.like
            made = empty_postgresql(server, like or tables)
            self.stand_for[str(file)] = self.made.enter_context(made)
        return self.stand_for[str(file)]


DATABASES = Databases()
OPENED: list[str] = []


def address_for(file: Path) -> str:
    """Return where a test keeps a record: in that file, or in a PostgreSQL that stands for it."""
    return DATABASES.of(file) if DATABASES.made else f"sqlite:///{file}"


def copied(url: str, file: Path) -> str:
    """Copy a whole database, on which nobody works just now; return where the copy is."""
    whole = str(make_url(url).database)
    if DATABASES.made:
        return DATABASES.of(file, like=whole)
    with closing(sqlite3.connect(whole)) as source, closing(sqlite3.connect(file)) as target:
        source.backup(target)
    return address_for(file)


def environment(folder: Path) -> dict[str, str]:
    """Return the environment of a program that keeps its record in a folder."""
    if os.environ.get(URL) != NAMES_NONE:
        return dict(os.environ)
    return {**os.environ, URL: DATABASES.of((folder / "lathhouse.sqlite").absolute())}


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--on",
        choices=("both", "postgresql"),
        default="both",
        help="postgresql: the server's tests on it alone; both: each on what it asks for",
    )


def asked(config: pytest.Config) -> bool:
    """Say whether this run is on PostgreSQL alone."""
    return bool(config.getoption("on") == "postgresql")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "about_sqlite(why): left out by --on postgresql")
    if asked(config) and config.args_source is not pytest.Config.ArgsSource.ARGS:
        config.args = [str(ROOT / "tests" / room) for room in ROOMS]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the halves on SQLite of what runs on both, and what is about SQLite itself."""
    if not asked(config):
        return
    halves = [item for item in items if on_sqlite(item)]
    config.hook.pytest_deselected(items=halves)
    items[:] = [item for item in items if item not in halves]
    for item in items:
        # Nothing is missing by it: the usual run has each of them, on SQLite. The report of a skip
        # brings its reason out of every process, for the names at the end.
        if mark := item.get_closest_marker("about_sqlite"):
            item.add_marker(pytest.mark.skip(reason=mark.args[0]))


def on_sqlite(item: pytest.Item) -> bool:
    """Say whether a test is the half on SQLite of one that runs on both."""
    call = getattr(item, "callspec", None)
    return call is not None and call.params.get("database_url") == "sqlite"


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Name what was left out, and why."""
    if asked(config):
        terminalreporter.section("on PostgreSQL alone; left out, as it is about SQLite")
        for report in terminalreporter.stats.get("skipped", []):
            terminalreporter.write_line(f"{report.nodeid}: {report.longrepr[2]}")


@pytest.fixture(scope="session", autouse=True)
def on_postgresql(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let files stand for databases through the run, where it asks for that."""
    with ExitStack() as made, pytest.MonkeyPatch.context() as patched:
        patched.delenv(URL, raising=False)
        if not asked(request.config):
            yield
            return
        DATABASES.like = request.getfixturevalue("postgresql_tables")
        DATABASES.made = made
        patched.setenv(URL, NAMES_NONE)
        patched.setattr(Settings, "url", property(url_of))
        sys.addaudithook(hear)
        yield
    DATABASES.made = None


ITS_OWN_URL = Settings.url.fget


def url_of(settings: Settings) -> str:
    """Return a server's address as it finds it itself, but for the file in its folder."""
    given = settings.database_url or os.environ.get(URL, "")
    if given in ("", NAMES_NONE):
        return DATABASES.of((settings.data / "lathhouse.sqlite").absolute())
    assert ITS_OWN_URL is not None
    return str(ITS_OWN_URL(settings))


def hear(event: str, arguments: tuple[Any, ...]) -> None:
    """Note each file of SQLite that is opened (Python's own audit event, PEP 578)."""
    if event == "sqlite3.connect":
        OPENED.append(str(arguments[0]))


@pytest.fixture(autouse=True)
def a_tests_own(on_postgresql: None, request: pytest.FixtureRequest) -> Iterator[None]:
    """Drop a test's databases with it, and fail one that opened SQLite unsaid.

    What runs on both kinds may go between them: it has PostgreSQL too.
    """
    kept = DATABASES.made
    if kept is None:
        yield
        return
    with ExitStack() as DATABASES.made:
        yield
    DATABASES.made = kept
    files = [file for file in OPENED if Path(file).name != SCRATCH]
    OPENED.clear()
    if files and "database_url" not in request.fixturenames:
        pytest.fail(f"on SQLite though the run is on PostgreSQL (about_sqlite?): {files[0]}")
