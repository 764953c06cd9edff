"""Two walls between nurseries in one PostgreSQL: with the first one gone, the second one holds."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, insert, inspect, text, update
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ProgrammingError

from lathhouse.domain.instants import to_text
from lathhouse.store import walls
from lathhouse.store.models import Base, Event, Site, Token, db
from tests.attack.two_sites import MARK, rows_of, settle_beside
from tests.databases import empty_postgresql
from tests.server import Clock, Nursery, close_nursery, open_nursery

WITH_SITE = [table for table in Base.metadata.sorted_tables if "site_id" in table.c]
# The list of the nurseries themselves: its own key is the site.
WITHOUT = {"sites"}
# What tells everything that a phone, a script or a person is ever told.
READS = (
    "/api/v1/sync/pull?after=0&limit=1000",
    "/api/v1/events?limit=1000",
    "/api/v1/alerts?state=all&limit=1000",
    "/api/v1/morning",
    "/api/v1/phones",
    "/api/v1/deliveries",
)
# A site's condition as it reaches the database: `events.site_id = %(site_id_1)s::VARCHAR`.
CONDITION = re.compile(r"(?:\w+\.)?site_id = %\(\w+\)s(?:::\w+)?")


class Two:
    """Our server on PostgreSQL, and another nursery's record in the same database."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.other = nursery, settle_beside(nursery)
        device = nursery.device()
        device.record("looked", device.start_lot(), {"note": "ours"})

    def asked(self) -> str:
        """Return all that our owner is told."""
        answers = [self.nursery.call("GET", path) for path in READS]
        assert {answer.status_code for answer in answers} == {200}
        return " ".join(answer.get_data(as_text=True) for answer in answers)


@pytest.fixture(scope="module")
def address(postgresql: str) -> Iterator[str]:
    with empty_postgresql(postgresql) as own:
        yield own


@pytest.fixture(scope="module")
def two(address: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Two]:
    nursery = open_nursery(address, tmp_path_factory.mktemp("walls"), Clock())
    yield Two(nursery)
    close_nursery(nursery)


@contextmanager
def without_the_first_wall(nursery: Nursery) -> Iterator[list[str]]:
    """Take the site's condition out of every statement; yield those that lost theirs."""
    changed: list[str] = []

    def take_out(_c: Any, _cursor: Any, statement: str, given: Any, *_: Any) -> Any:
        open_to_all = CONDITION.sub(lambda found: f"({found[0]} OR true)", statement)
        changed.extend([statement] if open_to_all != statement else [])
        return open_to_all, given

    with nursery.app.app_context():
        engine = db.engine
    event.listen(engine, "before_cursor_execute", take_out, retval=True)
    yield changed
    event.remove(engine, "before_cursor_execute", take_out)


def others_rows(two: Two) -> dict[str, list[dict[str, Any]]]:
    with two.nursery.app.app_context():
        return rows_of(two.other.site, to_text(two.nursery.clock.ms))


def test_with_the_first_wall_gone_nothing_of_another_nursery_comes_out(two: Two):
    assert MARK in json.dumps(others_rows(two))
    assert "ours" in two.asked()
    with without_the_first_wall(two.nursery) as changed:
        told = two.asked()
    assert len(changed) > len(READS)
    assert MARK not in told
    assert not [one for one in two.other.ids.values() if one in told]
    assert "ours" in told


def test_the_first_wall_was_really_gone(two: Two, postgresql: str, address: str, tmp_path: Path):
    """The same question by a role that passes the second wall: everything comes out."""
    whole = make_url(postgresql).set(database=make_url(address).database)
    superuser = open_nursery(
        whole.render_as_string(hide_password=False), tmp_path, two.nursery.clock, two.nursery.site
    )
    superuser.tokens = two.nursery.tokens
    with without_the_first_wall(superuser):
        told = " ".join(superuser.call("GET", path).get_data(as_text=True) for path in READS[1:3])
    close_nursery(superuser)
    assert MARK in told


def test_with_the_first_wall_gone_nothing_of_another_nursery_is_written(two: Two):
    before = others_rows(two)
    with without_the_first_wall(two.nursery):
        with two.nursery.database() as connection:
            for table in WITH_SITE:
                connection.execute(text(f"UPDATE {table.name} SET site_id = site_id"))
            connection.execute(update(Token).values(revoked_at="2026-01-01"))
            connection.execute(update(Site).where(Site.id == two.other.site).values(revision=0))
            connection.execute(text("DELETE FROM event_links"))
            connection.rollback()
        two.nursery.tick()
    assert others_rows(two) == before


@pytest.mark.parametrize("how", ["added", "moved", "of nobody"])
def test_a_row_of_another_nursery_is_refused_by_the_database(two: Two, how: str):
    token = {"hash": "0" * 64, "name": "mine", "role": "owner", "made_at": "2026-01-01"}
    theirs = {**token, "site_id": two.other.site}
    statement: Any = {
        "added": insert(Token).values(theirs),
        "moved": update(Event).values(site_id=two.other.site),
        "of nobody": insert(Token).values({**token, "site_id": two.nursery.site}),
    }[how]
    with two.nursery.database() as connection:
        walls.enter(connection, "" if how == "of nobody" else two.nursery.site)
        with pytest.raises(ProgrammingError, match="row-level security"):
            connection.execute(statement)
        connection.rollback()


def test_a_transaction_that_entered_no_site_sees_nothing_even_on_a_line_that_did(two: Two):
    with two.nursery.app.app_context(), db.engine.connect() as connection:
        with connection.begin():
            walls.enter(connection, two.nursery.site)
            assert connection.scalar(text("SELECT count(*) FROM events")) > 0
        with connection.begin():
            assert connection.scalar(text("SELECT count(*) FROM events")) == 0
            assert connection.scalar(text("SELECT count(*) FROM tokens")) == 0


@pytest.mark.parametrize("table", [table.name for table in WITH_SITE])
def test_every_table_with_a_site_has_the_wall_and_its_owner_is_held_to_it(two: Two, table: str):
    asked = text(
        "SELECT c.relrowsecurity, c.relforcerowsecurity, p.qual, p.with_check, p.cmd"
        " FROM pg_class c JOIN pg_policies p ON p.tablename = c.relname"
        " WHERE c.relname = :table"
    )
    with two.nursery.database() as connection:
        (found,) = connection.execute(asked, {"table": table}).all()
    assert found[:2] == (True, True)
    assert found.cmd == "ALL"
    # Without a check of its own, what is seen is also what may be written.
    assert found.with_check is None
    assert re.search(r"site_id = current_setting\('lathhouse\.site'", found.qual)


def test_the_site_leads_every_key_and_every_index_as_they_stand_in_the_database(two: Two):
    names = {table.name for table in Base.metadata.sorted_tables}
    assert names - {table.name for table in WITH_SITE} == WITHOUT
    with two.nursery.database() as connection:
        looker = inspect(connection)
        assert set(looker.get_table_names()) - {"alembic_version"} == names
        for name in names - WITHOUT:
            assert looker.get_pk_constraint(name)["constrained_columns"][0] == "site_id", name
            for index in looker.get_indexes(name):
                assert index["column_names"][0] == "site_id", index
        # The site is the key itself.
        assert looker.get_pk_constraint("sites")["constrained_columns"] == ["id"]
        assert looker.get_indexes("sites") == []


def test_a_table_that_a_later_migration_makes_gets_the_wall(two: Two):
    with two.nursery.database() as connection:
        with walls.lowered(connection):
            assert connection.scalar(text("SELECT count(DISTINCT site_id) FROM events")) == 2
            connection.execute(text("CREATE TABLE later (site_id text PRIMARY KEY)"))
        assert "later" in walls.standing(connection)
        assert connection.scalar(text("SELECT count(DISTINCT site_id) FROM events")) == 1
        connection.rollback()


def test_a_role_that_passes_the_wall_is_told_of_in_the_log(
    postgresql: str, address: str, two: Two, caplog: pytest.LogCaptureFixture, tmp_path: Path
):
    clock, site = two.nursery.clock, two.nursery.site
    close_nursery(open_nursery(address, tmp_path / "held", clock, site))
    assert "row-level security" not in caplog.text
    whole = make_url(postgresql).set(database=make_url(address).database)
    superuser = whole.render_as_string(hide_password=False)
    close_nursery(open_nursery(superuser, tmp_path / "super", clock, site))
    assert "passes row-level security" in caplog.text
