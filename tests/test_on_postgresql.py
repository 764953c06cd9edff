"""`--on postgresql` puts a test's record there, and says of each test that it leaves out why."""

import ast
from contextlib import ExitStack
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from lathhouse.settings import Settings
from tests.on_postgresql import DATABASES, ROOMS, ROOT, address_for, on_sqlite, url_of
from tests.server import Clock, close_nursery, open_nursery

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def left_out(file: Path) -> dict[str, str]:
    """Return {test: why} of what a file marks."""
    found = {}
    for one in ast.parse(file.read_text(encoding="utf-8")).body:
        for mark in getattr(one, "decorator_list", []):
            if isinstance(mark, ast.Call) and ast.unparse(mark.func).endswith("about_sqlite"):
                found[f"{file.parent.name}/{file.name}::{one.name}"] = ast.literal_eval(
                    mark.args[0]
                )
    return found


def test_a_record_in_a_file_is_in_a_postgresql_that_stands_for_it(
    postgresql_tables: tuple[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    assert address_for(tmp_path / "a") == f"sqlite:///{tmp_path / 'a'}", "in the usual run"
    with ExitStack() as made:
        monkeypatch.setattr(DATABASES, "made", made)
        monkeypatch.setattr(DATABASES, "like", postgresql_tables)
        one, other = address_for(tmp_path / "a"), address_for(tmp_path / "b")
        assert one != other
        assert one == address_for(tmp_path / "a")
        assert {url.partition("+")[0] for url in (one, other)} == {"postgresql"}
        embedded = address_for(tmp_path.absolute() / "lathhouse.sqlite")
        monkeypatch.delenv("LATHHOUSE_DATABASE_URL", raising=False)
        assert url_of(Settings(data=tmp_path)) == embedded
        assert url_of(Settings(data=tmp_path, database_url=one)) == one
        nursery = open_nursery(one, tmp_path / "data", Clock())
        nursery.device().start_lot()
        assert len(nursery.rows("lots")) == 1
        close_nursery(nursery)
    with create_engine(postgresql_tables[0]).connect() as connection:
        names = connection.execute(text("SELECT datname FROM pg_database")).scalars().all()
    assert one.rsplit("/", 1)[1].partition("?")[0] not in names, "it goes with the test"


@pytest.mark.parametrize("database_url", ["sqlite", "postgresql"])
def test_only_the_half_on_sqlite_is_that(request: pytest.FixtureRequest, database_url: str):
    assert on_sqlite(request.node) == (database_url == "sqlite")


def test_what_is_left_out_is_named_with_its_reason():
    found: dict[str, str] = {}
    for room in ROOMS:
        for file in (ROOT / "tests" / room).glob("test_*.py"):
            found |= left_out(file)
    assert len(found) > 5
    part = TEXT[TEXT.index("**run the server's tests on PostgreSQL alone.**") :]
    part = part[: part.index("\n**", 9)]
    assert sorted(name for name, why in found.items() if f"| `{name}` | {why} |" not in part) == []
    assert part.count("| `") == len(found)
