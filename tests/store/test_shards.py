"""Cut by `site_id` into partitions, as a distributed PostgreSQL cuts it into machines' shares."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, event, text

from lathhouse.store import walls
from lathhouse.store.check import check
from lathhouse.store.models import Base, db
from tests.attack.two_sites import settle_beside
from tests.databases import empty_postgresql
from tests.server import Clock, Nursery, close_nursery, open_nursery

SHARES = 4
SHARE = re.compile(r"\b(\w+)_share_(\d)\b")
Asked = list[tuple[str, Any]]


def cut(connection: Connection) -> None:
    """Make each table one that is cut by its site; PostgreSQL refuses a key that cannot be."""
    for table in Base.metadata.sorted_tables:
        name, by = table.name, "id" if table.name == "sites" else "site_id"
        for statement in (
            f"ALTER TABLE {name} RENAME TO {name}_whole",
            f"CREATE TABLE {name} (LIKE {name}_whole INCLUDING ALL) PARTITION BY HASH ({by})",
            *(
                f"CREATE TABLE {name}_share_{share} PARTITION OF {name}"
                f" FOR VALUES WITH (MODULUS {SHARES}, REMAINDER {share})"
                for share in range(SHARES)
            ),
            f"INSERT INTO {name} SELECT * FROM {name}_whole",
            f"DROP TABLE {name}_whole",
        ):
            connection.execute(text(statement))
    walls.build(connection)


@pytest.fixture(scope="module")
def cut_nursery(postgresql: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with empty_postgresql(postgresql) as address:
        nursery = open_nursery(address, tmp_path_factory.mktemp("cut"), Clock())
        with nursery.database() as connection:
            cut(connection)
        yield nursery
        close_nursery(nursery)


@contextmanager
def listening(nursery: Nursery) -> Iterator[Asked]:
    """Yield every statement that is sent to the database meanwhile, with what was given to it."""
    asked: Asked = []

    def note(_c: Any, _cursor: Any, statement: str, given: Any, _x: Any, many: bool) -> None:
        asked.append((statement, given[0] if many else given))

    with nursery.app.app_context():
        engine = db.engine
    event.listen(engine, "before_cursor_execute", note)
    yield asked
    event.remove(engine, "before_cursor_execute", note)


def test_on_shares_two_nurseries_live_and_each_statement_reaches_one_share_the_same_of_each_table(
    cut_nursery: Nursery,
):
    nursery = cut_nursery
    other = settle_beside(nursery)
    device = nursery.device()
    lot = device.start_lot()
    device.record("cold_started", lot, {"where": "fridge"}, at=nursery.clock.text(days=43))
    nursery.tick()
    with listening(nursery) as asked:
        look = device.record("looked", lot, {"moisture": 3, "fungus": "spreading"})
        device.record("amended", None, {"of": look["id"], "data": {"moisture": 4}})
        nursery.clock.forward(days=9)
        nursery.tick()
        nursery.rows("lots")
        nursery.alerts()
    plain = [one for one in asked if one[0].split()[0] in ("SELECT", "INSERT", "UPDATE", "DELETE")]
    about = [one for one in plain if "set_config" not in one[0] and "advisory" not in one[0]]
    assert len(about) > 60
    reached: set[str] = set()
    tables: set[str] = set()
    with nursery.database() as connection:
        for statement, given in about:
            if statement.startswith("INSERT"):
                continue  # its row says its site, or the wall refuses it
            plan = connection.exec_driver_sql(f"EXPLAIN {statement}", given).scalars()
            found = {pair for line in plan for pair in SHARE.findall(line)}
            reached |= {share for _, share in found}
            tables |= {table for table, _ in found}
    assert len(reached) == 1, reached
    assert {"events", "subjects", "alerts", "sites", "refusals", "tokens"} <= tables
    assert nursery.differences() == []
    with nursery.app.app_context():
        assert check(other.site, nursery.clock.text())["differences"] == []
