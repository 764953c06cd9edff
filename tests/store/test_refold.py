"""A record that an older version of the program has folded is folded again, whole, at the start."""

import json
import logging
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask_migrate import Migrate, upgrade
from sqlalchemy import inspect, text

from lathhouse.app import MIGRATIONS
from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.errors import AnotherFold
from lathhouse.store import engine, refold
from lathhouse.store.leases import take_lease
from lathhouse.store.models import db
from lathhouse.store.sites import open_site
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

# What the first version knew nothing of, as the fold has added it since.
ADDED_TO_LOTS = ("placed_at", "sales", "bared_at", "treatments")
ADDED_TO_PLACES = ("treatments", "enter_after", "entered_at")
# When it changed says nothing of what is kept.
OF_ANOTHER = '{"after":"bench 99","part":"sheds"}'
NOT_COMPARED = {"revision", "day", "next_deadline"}


def a_day(nursery: Nursery) -> str:
    """Record a place, a lot with a child in it, a spray there, and a look into what was closed."""
    device = nursery.device()
    place = {"id": "tunnel", "name": "Tunnel 1", "order": 1, "kind": "house"}
    device.record("place_changed", None, place, at=nursery.clock.text(days=9))
    lot = device.start_lot(
        place="tunnel", unit="plants", container_l=2, at=nursery.clock.text(days=8)
    )
    device.start_lot(
        place="tunnel", unit="plants", quantity=300, parents=[lot], at=nursery.clock.text(days=7)
    )
    sprayed = {"product": "Copper soap", "reason": "leaf spot", "rate_value": 5,
               "rate_unit": "mL/L", "operator": "Orla", "rei_hours": 24, "sale_hold_days": 3,
               "started_at": nursery.clock.text(hours=5), "ended_at": nursery.clock.text(hours=4),
               "places": ["tunnel"]}  # fmt: skip
    device.record("treated", None, sprayed, at=nursery.clock.text(hours=4))
    device.record("looked", lot, {"moisture": 3}, at=nursery.clock.text(hours=2))
    sale = {"quantity": 20, "container_l": 2, "buyer": "Hill House"}
    device.record("sold", lot, sale, at=nursery.clock.text(hours=1))
    return lot


def without(names: tuple[str, ...], stored: str | None) -> str | None:
    data = json.loads(stored) if stored else None
    return json.dumps({k: v for k, v in data.items() if k not in names}) if data else stored


def first_version(url: str, tables: dict[str, list[dict[str, Any]]]) -> None:
    """Make a database of the first version, and keep in it what that version kept."""
    app = Flask("first")
    app.config.update(SQLALCHEMY_DATABASE_URI=url, SQLALCHEMY_ENGINE_OPTIONS=engine.options(url))
    db.init_app(app)
    Migrate(app, db, directory=str(MIGRATIONS))
    with app.app_context():
        engine.prepare(db.engine)
        upgrade(directory=str(MIGRATIONS), revision="0001")
        for name, rows in tables.items():
            columns = {column["name"] for column in inspect(db.engine).get_columns(name)}
            with db.engine.begin() as connection:
                for row in rows:
                    kept = {column: value for column, value in row.items() if column in columns}
                    holes = ", ".join(f":{column}" for column in kept)
                    said = text(f"INSERT INTO {name} ({', '.join(kept)}) VALUES ({holes})")
                    connection.execute(said, kept)
        db.engine.dispose()


def kept_by_the_first(nursery: Nursery) -> dict[str, list[dict[str, Any]]]:
    """Return a nursery's tables as the first version would have left them."""
    names = ("sites", "events", "event_links", "subjects", "tokens")
    with nursery.app.app_context(), db.engine.connect() as connection:
        read = {name: connection.execute(text(f"SELECT * FROM {name}")) for name in names}
        tables = {name: [dict(row) for row in found.mappings()] for name, found in read.items()}
    for row in tables["subjects"]:
        row["live"] = bool(row["live"])
        if row["kind"] == "lot":
            for part in ("data", "checkpoint"):
                row[part] = without(ADDED_TO_LOTS, row[part])
        if row["kind"] == "place":
            row["data"] = without(ADDED_TO_PLACES, row["data"])
    sprays = {event["id"] for event in tables["events"] if event["kind"] == "treated"}
    # It stored a spray whole, and did not take it to be about any place.
    links = [link for link in tables["event_links"] if link["event_id"] not in sprays]
    return {**tables, "event_links": links}


def rows_of(nursery: Nursery) -> dict[str, Any]:
    """Return the pulled rows by kind and id, without what says only when they changed."""
    page = nursery.call("GET", "/api/v1/sync/pull?after=0&limit=1000").json
    assert page["more"] is False
    for lot in page["rows"]["lots"]:
        # In whatever order they came; the fold sorts them.
        lot["tail"] = sorted(event["id"] for event in lot["tail"])
    return {
        f"{kind}:{row['id']}": {k: v for k, v in row.items() if k not in NOT_COMPARED}
        for kind in ("lots", "places", "nursery", "watches", "protocols")
        for row in page["rows"][kind]
    }


def test_a_record_of_the_first_version_is_folded_again_and_phones_hear_of_it(
    database_url: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    clock = Clock()
    today = open_nursery(f"sqlite:///{tmp_path / 'today.sqlite'}", tmp_path / "today", clock)
    lot = a_day(today)
    tables, expected = kept_by_the_first(today), rows_of(today)
    cursor = today.call("GET", "/api/v1/sync/pull?after=0&limit=1000").json["cursor"]
    standing = today.alerts()
    token = today.token("owner")
    close_nursery(today)
    first_version(database_url, tables)

    with caplog.at_level(logging.INFO, "lathhouse.store.refold"):
        upgraded = open_nursery(database_url, tmp_path / "upgraded", clock)
    upgraded.tokens["owner"] = token
    assert "folding the record again" in caplog.text
    # A phone that had the older rows hears of the new ones by its own cursor.
    page = upgraded.call("GET", f"/api/v1/sync/pull?after={cursor}&limit=1000").json["rows"]
    assert lot in {row["id"] for row in page["lots"]}
    assert {row["id"] for row in page["places"]} == {"tunnel"}
    assert rows_of(upgraded) == expected
    # The clock has been told, and what the first version could not know of now rings.
    upgraded.tick()
    assert upgraded.alerts() == standing
    assert {"re-entry": "alarm", "sale-hold": "alarm"}.items() <= standing.items()
    assert upgraded.differences() == []

    # Once is enough.
    caplog.clear()
    before = upgraded.call("GET", "/api/v1/sync/pull?after=0").json["revision"]
    close_nursery(upgraded)
    again = open_nursery(database_url, tmp_path / "upgraded", clock)
    again.tokens["owner"] = token
    assert "folding the record again" not in caplog.text
    assert again.call("GET", "/api/v1/sync/pull?after=0").json["revision"] == before
    close_nursery(again)


def test_an_archive_of_another_fold_is_folded_again_when_it_is_restored(
    one_nursery: Nursery, tmp_path: Path
):
    """As `lathhouse restore` does it: the archive is read into a running program's database."""
    from lathhouse.store.archive import write_archive
    from lathhouse.store.restore import read_archive

    a_day(one_nursery)
    expected = rows_of(one_nursery)
    with one_nursery.database() as connection:
        where = "WHERE kind = 'place'"
        (kept,) = connection.execute(text(f"SELECT data FROM subjects {where}")).one()
        older = {"data": without(ADDED_TO_PLACES, kept)}
        connection.execute(text(f"UPDATE subjects SET data = :data {where}"), older)
        connection.execute(text("UPDATE sites SET fold_version = 0"))
    with one_nursery.app.app_context():
        now, made = one_nursery.clock.text(), tmp_path / "older.zip"
        # Not as a backup, which a program of this fold would refuse to note in that record.
        write_archive(one_nursery.site, made, now)
    token = one_nursery.token("owner")
    place = tmp_path / "restored"
    restored = open_nursery(address_for(place / "l.sqlite"), place, one_nursery.clock)
    with restored.app.app_context():
        read_archive(made)
        restored.site = restored.app.config["SITE_ID"] = open_site(now)
        version = text("SELECT fold_version FROM sites")
        with db.engine.connect() as connection:
            assert connection.execute(version).scalar() == FOLD_VERSION
    restored.tokens["owner"] = token
    found = rows_of(restored)
    assert found == expected
    close_nursery(restored)


class EndedHere(Exception):
    """The process ends at this point of its work."""


def older(nursery: Nursery) -> None:
    """Leave a record as an older fold would have it: its number, and rows that lack something."""
    with nursery.database() as connection:
        for kept in connection.execute(text("SELECT id, data FROM subjects WHERE kind = 'place'")):
            said = {"id": kept.id, "data": without(ADDED_TO_PLACES, kept.data)}
            connection.execute(text("UPDATE subjects SET data = :data WHERE id = :id"), said)
        connection.execute(text("UPDATE sites SET fold_version = :old"), {"old": FOLD_VERSION - 1})


def test_a_fold_that_was_cut_off_goes_on_where_it_stopped(
    one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """One page after another: what was folded before the end came is not folded once more."""
    nursery = one_nursery
    device = nursery.device()
    for number in range(12):
        place = {"id": f"bench {number:02}", "name": f"Bench {number}", "order": number}
        device.record("place_changed", None, place)
    a_day(nursery)
    expected = rows_of(nursery)
    older(nursery)
    folded: list[str] = []
    ended: list[str] = []
    real = refold.row_from_log

    def ends(log: Any, kind: str, subject: str, *more: Any) -> Any:
        if subject == "bench 07" and not ended:
            ended.append(subject)
            raise EndedHere
        folded.append(subject)
        return real(log, kind, subject, *more)

    monkeypatch.setattr(refold, "row_from_log", ends)
    with nursery.app.app_context():
        with pytest.raises(EndedHere):
            open_site(nursery.clock.text())
        first = list(folded)
        folded.clear()
        open_site(nursery.clock.text())
        benches = [name for name in folded if name.startswith("bench")]
        # The page that the end came in, and the rest; the pages before it no more.
        assert (first[0], benches[-1]) == ("bench 00", "bench 11")
        assert len(set(benches) & set(first)) < refold.ROWS_AT_ONCE
        assert set(benches) | set(first) >= {f"bench {number:02}" for number in range(12)}
        folded.clear()
        open_site(nursery.clock.text())
        assert folded == []
        # Cut off in a part that this version does not know: it folds all of them.
        with nursery.database() as connection:
            connection.execute(text("UPDATE sites SET refolding = :at"), {"at": OF_ANOTHER})
        open_site(nursery.clock.text())
        assert set(folded) >= {f"bench {number:02}" for number in range(12)}
    assert rows_of(nursery) == expected
    assert nursery.differences() == []


def test_a_process_of_an_older_version_writes_nothing_into_a_record_that_was_folded_again(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """It says so where it is asked whether it is ready, and phones keep what it does not take."""
    device = nursery.device()
    device.start_lot()
    with nursery.database() as connection:
        connection.execute(text("UPDATE sites SET fold_version = :new"), {"new": FOLD_VERSION + 1})
    ready = nursery.call("GET", "/ready", role=None)
    assert (ready.status_code, ready.json["fold"]) == (503, False)
    assert "another version of the program has folded the record" in ready.json["detail"].lower()
    before = rows_of(nursery)
    event = device.event("looked", None, {})
    body = {"device": device.id, "sent_at": nursery.clock.text(), "events": [event]}
    event |= {"kind": "read", "data": {"quantity_kind": "forecast_low_c", "value": 1,
                                       "for_night_of": "2026-09-10"}}  # fmt: skip
    said = nursery.call("POST", "/api/v1/sync/push", body)
    assert (said.status_code, said.json["type"].rpartition("/")[2]) == (503, "another-version")
    with pytest.raises(AnotherFold):
        nursery.tick()
    with nursery.app.app_context():
        with pytest.raises(AnotherFold):
            take_lease(nursery.site, "an older one's clock", nursery.clock.ms)
        # Started again it refuses at once, rather than fold back what the newer one has made.
        with pytest.raises(AnotherFold, match="End this process"):
            open_site(nursery.clock.text())
    assert rows_of(nursery) == before
    with nursery.database() as connection:
        connection.execute(text("UPDATE sites SET fold_version = :own"), {"own": FOLD_VERSION})
    assert nursery.call("POST", "/api/v1/sync/push", body).json["stored"] == [event["id"]]
