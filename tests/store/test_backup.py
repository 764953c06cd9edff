"""The record copied into a file while it is written, proved, and put back on either database."""

import hashlib
import json
import re
import threading
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import BigInteger, Boolean, Integer, LargeBinary, Table, Text, text

from lathhouse.app import MIGRATIONS
from lathhouse.domain.instants import to_text
from lathhouse.domain.retention import kept
from lathhouse.errors import BadArchive
from lathhouse.reminders.nightly import Nightly
from lathhouse.reminders.webpush import own_key
from lathhouse.store.archive import harmless, lines_of, tables, write_archive
from lathhouse.store.archive_reading import SINCE, empty, fill, read_manifest
from lathhouse.store.backup import back_up, clear_old, last_backup, new_key, unseal, verify
from lathhouse.store.kept_files import kept_files, lay_ready, put_ready
from lathhouse.store.leases import take_lease
from lathhouse.store.models import db
from lathhouse.store.restore import epoch_of, read_archive
from lathhouse.store.sites import open_site
from lathhouse.store.walls import enter
from lathhouse.store.work import dumps, looking
from tests.attack.two_sites import settle_beside
from tests.on_postgresql import address_for
from tests.photos import jpeg, name_of, put
from tests.server import Clock, Nursery, close_nursery, open_nursery

Data = dict[str, Any]


def copied(nursery: Nursery, folder: Path, recipient: str | None = None) -> Path:
    with nursery.app.app_context():
        return back_up(nursery.site, folder, to_text(nursery.clock.ms), recipient)


def put_back(path: Path, url: str, folder: Path, clock: Clock) -> Nursery:
    """A server on another database, filled from a backup as `lathhouse restore` does."""
    fresh = open_nursery(url, folder, clock)
    with fresh.app.app_context():
        read_archive(path)
        fresh.site = fresh.app.config["SITE_ID"] = open_site(to_text(clock.ms))
    return fresh


def history(nursery: Nursery) -> list[dict[str, Any]]:
    return nursery.call("GET", "/api/v1/events?limit=1000").json["events"]


def some_record(nursery: Nursery) -> Any:
    device = nursery.device()
    lot = device.start_lot(label="=1+1")
    for days in (9, 5, 2):
        at = nursery.clock.text(days=days)
        device.record("looked", lot, {"moisture": 3, "note": "größer “quoted”, Ω"}, at=at)
    nursery.tick()
    return device, lot


def test_a_backup_put_back_on_either_database_is_the_same_record(
    nursery, database_url, tmp_path, clock
):
    """SQLite to SQLite, and PostgreSQL to SQLite; the other way is the next test."""
    some_record(nursery)
    with nursery.app.app_context():
        assert take_lease(nursery.site, "the old server", clock.ms)
    path = copied(nursery, tmp_path / "backups")
    other = put_back(path, f"sqlite:///{tmp_path / 'b.sqlite'}", tmp_path / "other", clock)
    assert history(other) == history(nursery)
    with other.app.app_context():
        # Whoever ticked there does not hold up the alert clock here.
        assert take_lease(other.site, "the new server", clock.ms)
    assert other.rows("lots") == nursery.rows("lots")
    assert other.alerts() == nursery.alerts()
    assert other.differences() == []
    close_nursery(other)


def test_a_sqlite_record_grows_up_into_postgresql_and_comes_back(nursery, tmp_path, clock):
    first = open_nursery(f"sqlite:///{tmp_path / 'a.sqlite'}", tmp_path / "first", clock)
    some_record(first)
    path = copied(first, tmp_path / "backups")
    with nursery.app.app_context():
        read_archive(path)
        nursery.site = nursery.app.config["SITE_ID"] = open_site(to_text(clock.ms))
    assert history(nursery) == history(first)
    back = tmp_path / "back.zip"
    with nursery.app.app_context():
        write_archive(nursery.site, back, to_text(clock.ms))
    same = ["events.jsonl", "alerts.jsonl", "chain_heads.jsonl", "events.csv", "lots.csv"]
    with zipfile.ZipFile(path) as one, zipfile.ZipFile(back) as two:
        assert [one.read(name) for name in same] == [two.read(name) for name in same]
    close_nursery(first)


def rows_for(table: Table, site: str) -> list[dict[str, Any]]:
    """Rows of a table, made from its columns alone: a new table or column has its own too."""

    def value(column: Any, turn: int) -> Any:
        if column.name == "site_id" or (table.name == "sites" and column.name == "id"):
            return site
        if column.nullable and turn == 0:
            return None
        if isinstance(column.type, Boolean):
            return turn == 1
        if isinstance(column.type, BigInteger):
            return 2**62 + turn
        if isinstance(column.type, Integer):
            return 2**30 + turn
        if isinstance(column.type, LargeBinary):
            return bytes(range(256)) * (turn + 1)
        if isinstance(column.type, Text) and column.name == "sha256":
            return f"{turn:064x}"
        if isinstance(column.type, Text):
            odd = f"{column.name} {turn}: größer “Ω” \u2028 = ' \" \\ \n"
            return json.dumps({"odd": odd}, ensure_ascii=False)
        raise AssertionError(f"no test value for {table.name}.{column.name}, {column.type}")

    turns = range(1 if table.name == "sites" else 3)
    return [{column.name: value(column, turn) for column in table.columns} for turn in turns]


def content(nursery: Nursery, site: str) -> dict[str, Any]:
    """Every row of every table, as an archive has it, but for the epoch that a restore renews."""
    renewed = ("epoch", "clock_owner", "clock_until", "trusted_at")
    with nursery.app.app_context(), db.engine.begin() as connection:
        enter(connection, site)
        found: dict[str, Any] = {t.name: list(lines_of(connection, t, site)) for t in tables()}
        query = text("SELECT sha256, octets FROM photos WHERE site_id = :site ORDER BY sha256")
        octets = connection.execute(query, {"site": site})
        found["octets"] = [(name, bytes(whole)) for name, whole in octets]
    sites = [json.loads(line) for line in found["sites"]]
    return found | {"sites": [{n: row[n] for n in row if n not in renewed} for row in sites]}


def test_every_table_comes_through_whole_from_either_kind_into_the_other(nursery, tmp_path, clock):
    """SQLite to the other kind and back; the rows are made from the tables' own description."""
    first = open_nursery(f"sqlite:///{tmp_path / 'a.sqlite'}", tmp_path / "first", clock)
    site, path = first.site, tmp_path / "whole.zip"
    with first.app.app_context(), db.engine.begin() as connection:
        for table in tables():
            connection.execute(table.delete())
            connection.execute(table.insert(), rows_for(table, site))
    whole = content(first, site)
    assert {len(rows) for rows in whole.values()} == {1, 3}
    last = open_nursery(f"sqlite:///{tmp_path / 'c.sqlite'}", tmp_path / "last", clock)
    for source, target in ((first, nursery), (nursery, last)):
        with source.app.app_context():
            write_archive(site, path, clock.text())
        # Such rows are no record, which `read_archive` would see.
        with target.app.app_context(), db.engine.begin() as connection:
            fill(connection, path, read_manifest(path))
        assert content(target, site) == whole
    close_nursery(first)
    close_nursery(last)


def test_a_backup_made_while_a_phone_goes_on_writing_is_of_one_moment(nursery, tmp_path):
    device, lot = some_record(nursery)
    stop, sent = threading.Event(), []

    def write() -> None:
        while not stop.is_set():
            sent.append(device.record("looked", lot, {"moisture": 3})["id"])

    writer = threading.Thread(target=write)
    writer.start()
    try:
        paths = [copied(nursery, tmp_path / str(turn)) for turn in range(3)]
    finally:
        stop.set()
        writer.join()
    assert sent
    for path in paths:
        with zipfile.ZipFile(path) as file:
            events = [json.loads(line) for line in file.read("events.jsonl").splitlines()]
            manifest = json.loads(file.read("manifest.json"))
        positions = sorted(event["position"] for event in events)
        assert positions == list(range(1, manifest["events"] + 1))


def test_a_damaged_or_cut_copy_is_refused_in_words_and_leaves_the_place_empty(
    one_nursery, tmp_path, clock
):
    some_record(one_nursery)
    path = copied(one_nursery, tmp_path / "backups")
    cut = tmp_path / "cut.zip"
    cut.write_bytes(path.read_bytes()[:-200])
    altered = tmp_path / "altered.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(altered, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, content.replace(b'moisture\\":3', b'moisture\\":4'))
    other = open_nursery(address_for(tmp_path / "b.sqlite"), tmp_path / "other", clock)
    with other.app.app_context():
        with pytest.raises(BadArchive, match="cut short"):
            read_archive(cut)
        with pytest.raises(BadArchive, match=r"events\.jsonl in it is not what"):
            read_archive(altered)
    assert history(other) == []
    with one_nursery.app.app_context(), pytest.raises(BadArchive, match="already"):
        read_archive(path)
    close_nursery(other)


def forged(path: Path, to: Path, change: Callable[[Data, dict[str, bytes]], None]) -> Path:
    """An archive changed by somebody who renews the sums of what they change."""
    with zipfile.ZipFile(path) as old:
        members = {name: old.read(name) for name in old.namelist()}
    manifest = json.loads(members.pop("manifest.json"))
    change(manifest, members)
    for name, said in manifest["members"].items() if "members" in manifest else ():
        content = members[name]
        said |= {"sha256": hashlib.sha256(content).hexdigest(), "lines": content.count(b"\n")}
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in {**members, "manifest.json": json.dumps(manifest).encode()}.items():
            new.writestr(name, content)
    return to


def altered(_: Data, members: dict[str, bytes]) -> None:
    whole = members["events.jsonl"]
    members["events.jsonl"] = whole.replace(b'moisture\\":3', b'moisture\\":4', 1)


def shortened(manifest: Data, members: dict[str, bytes]) -> None:
    """The last two events, by position; the file's own order is by id."""
    rows = [json.loads(line) for line in members["events.jsonl"].splitlines()]
    kept = sorted(row["position"] for row in rows)[:-2]
    lines = [dumps(row).encode() + b"\n" for row in rows if row["position"] in kept]
    members["events.jsonl"] = b"".join(lines)
    manifest["events"] = len(kept)


def another_s(_: Data, members: dict[str, bytes]) -> None:
    row = {"site_id": "another", "hash": "0" * 64, "name": "mine", "role": "owner"}
    members["tokens.jsonl"] += dumps(row).encode() + b"\n"


def no_row(_: Data, members: dict[str, bytes]) -> None:
    members["tokens.jsonl"] += b"[1]\n"


FORGERIES: list[tuple[Any, str]] = [
    (altered, "was altered"),
    (shortened, "its last 2 events were removed"),
    (another_s, r"tokens\.jsonl .* cannot be read"),
    (no_row, r"tokens\.jsonl .* cannot be read"),
    (lambda manifest, _: manifest.update(members={}), r"does not say members, \w+\.jsonl"),
    (lambda manifest, _: manifest["members"].pop("photos.jsonl"), r"members, photos\.jsonl"),
    (lambda manifest, _: manifest.pop("members"), "does not say members"),
    (lambda manifest, _: manifest.update(schema=13), "does not say schema"),
    (lambda manifest, _: manifest.update(kept=["vapid.pem"]), "does not say kept"),
    (lambda manifest, _: manifest.update(kept={"vapid.pem": "0"}), r"vapid\.pem in it is missing"),
    (lambda manifest, _: manifest.update(events=4000), "its number of events"),
    (lambda manifest, _: manifest.update(chain="0" * 64), "is not the manifest's"),
]


def test_an_archive_whose_sums_were_renewed_is_seen_through_and_leaves_nothing(
    one_nursery, tmp_path, clock
):
    some_record(one_nursery)
    path = copied(one_nursery, tmp_path / "backups")
    other = open_nursery(address_for(tmp_path / "b.sqlite"), tmp_path / "other", clock)
    before, said = content(other, other.site), {}
    with other.app.app_context():
        for number, (change, words) in enumerate(FORGERIES):
            bad = forged(path, tmp_path / f"{number}.zip", change)
            with pytest.raises(BadArchive, match=words) as refused:
                read_archive(bad, tmp_path / "other")
            said[words] = refused.value.detail
        assert all(text.endswith(".") for text in said.values()), said
        assert content(other, other.site) == before
        assert read_archive(path)["events"] == 4
    close_nursery(other)


def test_a_nursery_is_put_back_beside_another_one_that_is_left_alone(nursery, tmp_path, clock):
    """A PostgreSQL may hold several; a file of SQLite is for one."""
    some_record(nursery)
    path, whole = copied(nursery, tmp_path / "backups"), content(nursery, nursery.site)
    other = settle_beside(nursery)
    with nursery.app.app_context():
        epochs = {site: epoch_of(site) for site in (nursery.site, other.site)}
        beside = content(nursery, other.site)
        with pytest.raises(BadArchive, match="already"):
            read_archive(path)
        with db.engine.begin() as connection:
            empty(connection, nursery.site)
        if db.engine.dialect.name == "sqlite":
            with pytest.raises(BadArchive, match="already"):
                read_archive(path)
            return
        read_archive(path)
        assert epoch_of(other.site) == epochs[other.site]
        assert epoch_of(nursery.site) != epochs[nursery.site]
    assert content(nursery, other.site) == beside
    # The copy was noted in the record once it was proved.
    noted = {"backups", "sites", "subjects"}
    again = content(nursery, nursery.site)
    assert {n: rows for n, rows in again.items() if n not in noted} == {
        n: rows for n, rows in whole.items() if n not in noted
    }


def test_an_older_archive_does_without_the_tables_that_came_later():
    """What stands in the migrations is what `SINCE` says."""
    made: dict[str, str] = {}
    for file in sorted((MIGRATIONS / "versions").glob("0*.py")):
        for table in re.findall(r'create_table\(\s*"(\w+)"', file.read_text()):
            made[table] = max(file.name[:4], "0003")
    assert SINCE.items() <= made.items()
    # One that is missing there is asked for of archives of this very version only.
    assert {table for table, since in made.items() if since <= "0015"} <= SINCE.keys()


def test_a_restore_that_ends_right_after_its_commit_is_made_whole_at_the_next_start(
    one_nursery, tmp_path, clock
):
    """The authority's key and the push key come back, whenever the process died."""
    some_record(one_nursery)
    home, place = tmp_path / "home", tmp_path / "place"
    (home / "lan").mkdir(parents=True)
    own_key(home)
    (home / "lan" / "authority-key.pem").write_text("a key")
    keys = kept_files(home)
    path, now = tmp_path / "whole.zip", to_text(clock.ms)
    with one_nursery.app.app_context():
        write_archive(one_nursery.site, path, now, keys)
    dead = open_nursery(address_for(tmp_path / "b.sqlite"), place, clock)
    push_key = (place / "vapid.pem").read_bytes()
    with dead.app.app_context():
        # One that never came to its commit puts no key in place of this record's.
        lay_ready(path, read_manifest(path), place, "an epoch that is not this record's")
        assert put_ready(place, epoch_of(dead.site)) == []
        assert (place / "vapid.pem").read_bytes() == push_key
        read_archive(path, place)
    close_nursery(dead)
    close_nursery(open_nursery(address_for(tmp_path / "b.sqlite"), place, clock))
    assert kept_files(place) == keys
    assert not (place / ".restoring").exists()


def test_a_copy_that_is_whole_by_itself_but_not_the_record_is_no_backup(one_nursery, tmp_path):
    """As where the record was altered after the copy: `verify` compares event by event."""
    some_record(one_nursery)
    path = copied(one_nursery, tmp_path / "backups")
    with one_nursery.database() as connection:
        connection.execute(text("UPDATE events SET at = '2020' WHERE position = 2"))
    found = pytest.raises(BadArchive, match=r"event .* at position 2")
    with one_nursery.app.app_context(), found:
        verify(one_nursery.site, path, to_text(one_nursery.clock.ms))


def test_phones_notice_a_restore_and_are_told_what_a_backup_covers(one_nursery, tmp_path, clock):
    device, lot = some_record(one_nursery)
    before = device.push(device.event("looked", lot, {}))
    assert before["backed_up_seq"] == 0
    path = copied(one_nursery, tmp_path / "backups")
    later = device.event("looked", lot, {"moisture": 2})
    after = device.push(later)
    assert after["backed_up_seq"] == before["next_seq"] - 1
    other = put_back(path, address_for(tmp_path / "b.sqlite"), tmp_path / "other", clock)
    device.nursery = other
    offer = {"device": device.id, "ids": [later["id"]]}
    told = other.call("POST", "/api/v1/sync/offer", offer).json
    assert told["missing"] == [later["id"]]
    again = device.push(later)
    assert again["stored"] == [later["id"]]
    assert again["epoch"] != after["epoch"]
    assert other.differences() == []
    close_nursery(other)


def test_a_sealed_backup_opens_with_its_secret_key_only(one_nursery, tmp_path, clock):
    """Sealed in the age format, v1 (C2SP, age specification), by a library."""
    some_record(one_nursery)
    secret, public = new_key()
    path = copied(one_nursery, tmp_path / "backups", public)
    assert path.name.endswith(".zip.age")
    assert path.read_bytes().startswith(b"age-encryption.org/v1\n")
    assert [left.name for left in path.parent.iterdir()] == [path.name]
    with pytest.raises(BadArchive, match="does not open"):
        unseal(path, new_key()[0], tmp_path / "no.zip")
    plain = unseal(path, secret, tmp_path / "plain.zip")
    with one_nursery.app.app_context():
        verify(one_nursery.site, plain, to_text(clock.ms))
    with pytest.raises(BadArchive, match="no age public key"):
        copied(one_nursery, tmp_path / "backups", "age1nonsense")


def test_a_backup_can_be_read_by_its_owner_only(one_nursery, tmp_path):
    some_record(one_nursery)
    path = copied(one_nursery, tmp_path / "backups")
    assert path.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_of_the_sheets_is_a_formula(start):
    """The starts to guard: OWASP, CSV Injection (web page)."""
    assert harmless(f"{start}1+1") == f"'{start}1+1"
    assert harmless(-3) == -3


def test_the_sheet_of_lots_holds_the_label_made_harmless(one_nursery, tmp_path):
    some_record(one_nursery)
    with zipfile.ZipFile(copied(one_nursery, tmp_path / "backups")) as file:
        assert b"\r\n'=1+1,acer-palmatum," in file.read("lots.csv")


def test_an_altered_event_is_named_by_check(nursery):
    some_record(nursery)
    third = history(nursery)[2]["id"]
    with nursery.database() as connection:
        connection.execute(
            text("UPDATE events SET body = replace(body, :was, :now) WHERE position >= 3"),
            {"was": '"moisture":3', "now": '"moisture":4'},
        )
    said = [line for line in nursery.differences() if "chain" in line]
    assert len(said) == 2, said
    assert all(third in line and "altered" in line for line in said)


def test_a_removed_event_is_named_by_check(nursery):
    some_record(nursery)
    second, third = (event["id"] for event in history(nursery)[1:3])
    with nursery.database() as connection:
        connection.execute(text("DELETE FROM events WHERE id = :id"), {"id": second})
    said = [line for line in nursery.differences() if line.startswith("the log's chain")]
    assert said
    assert "1 removed right before" in said[0]
    assert third in said[0]


def test_events_removed_from_the_end_are_counted_by_check(nursery):
    some_record(nursery)
    with nursery.database() as connection:
        connection.execute(text("DELETE FROM events WHERE position > 2"))
    assert "the log's chain: its last 2 events were removed" in nursery.differences()


def test_the_night_makes_one_backup_and_a_missed_night_is_made_up(one_nursery, tmp_path, clock):
    some_record(one_nursery)
    nightly = Nightly(one_nursery.app, one_nursery.site, tmp_path / "nights", clock)
    with one_nursery.app.app_context():
        assert nightly.look() is not None
        clock.forward(hours=2)
        assert nightly.look() is None
        clock.forward(days=1)
        assert nightly.look() is not None
        newest = looking(one_nursery.site, clock.text(), last_backup)
    assert newest["at"] == clock.text()
    assert len(list((tmp_path / "nights").iterdir())) == 2


def test_a_record_that_was_never_backed_up_rings_from_its_first_start_on(one_nursery, tmp_path):
    """The limits are ours (36 hours, three days, a week). Renaming the nursery changes nothing."""
    nursery = one_nursery
    said = {"timezone": "Australia/Sydney", "hemisphere": "south", "working_days": [1, 2, 3, 4, 5]}
    row = {"id": nursery.site, "name": "Northfold", "units": "metric", **said}
    nursery.device().record("nursery_changed", None, row)
    levels = []
    for hours in (35.9, 0.1, 36, 96):
        nursery.clock.forward(hours=hours)
        nursery.tick()
        levels.append(nursery.alerts().get("backup-old"))
    assert levels == [None, "due", "late", "alarm"]
    copied(nursery, tmp_path / "backups")
    nursery.tick()
    assert "backup-old" not in nursery.alerts()
    assert nursery.differences() == []


def test_a_week_of_days_five_weeks_and_a_year_of_months_are_kept(tmp_path):
    newest = datetime(2026, 9, 10, 2, tzinfo=UTC)
    nights = [newest - timedelta(days=days) for days in range(500)]
    keep = kept(nights)
    assert keep >= set(nights[:7])
    assert len(keep) <= 7 + 5 + 12
    assert {at.strftime("%Y-%m") for at in keep} == {
        *(f"2026-{month:02}" for month in range(1, 10)),
        *(f"2025-{month:02}" for month in range(10, 13)),
    }
    for at in nights:
        (tmp_path / at.strftime("lathhouse-%Y%m%dT%H%M%SZ.zip")).touch()
    (tmp_path / "a person's own.zip").touch()
    gone = clear_old(tmp_path)
    left = {path.name for path in tmp_path.iterdir()}
    assert len(gone) == 500 - len(keep)
    assert left == {at.strftime("lathhouse-%Y%m%dT%H%M%SZ.zip") for at in keep} | {
        "a person's own.zip"
    }


def test_pictures_are_in_a_backup_under_their_names_and_come_back_bit_for_bit(
    nursery, tmp_path, clock
):
    """Either kind of database to SQLite; a damaged one is copied, and named, and stops nothing."""
    device, lot = some_record(nursery)
    good, bad = jpeg(), jpeg(shade=7)
    for octets in (good, bad):
        device.record("photographed", lot, {"sha256": name_of(octets)})
        assert put(nursery, octets).status_code == 200
    with nursery.database() as connection:
        spoilt = {"name": name_of(bad), "octets": b"spoilt"}
        connection.execute(text("UPDATE photos SET octets = :octets WHERE sha256 = :name"), spoilt)
    path = copied(nursery, tmp_path / "backups")
    with zipfile.ZipFile(path) as file:
        assert file.read(f"photo-{name_of(good)}") == good
        assert set(json.loads(file.read("manifest.json"))["photos"]) == {
            name_of(good),
            name_of(bad),
        }
    other = put_back(path, address_for(tmp_path / "b.sqlite"), tmp_path / "other", clock)
    token = {"Authorization": f"Bearer {other.token('viewer')}"}
    found = other.client.get(f"/api/v1/photos/{name_of(good)}", headers=token)
    assert found.data == good
    assert [name_of(bad) in said for said in other.differences()] == [True]
    assert put(other, bad).json["already"] is False
    assert other.differences() == []
    close_nursery(other)


@pytest.mark.parametrize("how", ["altered", "missing"])
def test_a_copy_whose_picture_is_damaged_is_refused_and_leaves_the_place_empty(
    one_nursery, tmp_path, clock, how
):
    device, lot = some_record(one_nursery)
    octets = jpeg()
    device.record("photographed", lot, {"sha256": name_of(octets)})
    put(one_nursery, octets)
    path, harmed = copied(one_nursery, tmp_path / "backups"), tmp_path / "harmed.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(harmed, "w") as new:
        for name in old.namelist():
            if not name.startswith("photo-"):
                new.writestr(name, old.read(name))
            elif how == "altered":
                new.writestr(name, old.read(name)[:-1])
    other = open_nursery(address_for(tmp_path / "b.sqlite"), tmp_path / "other", clock)
    with other.app.app_context(), pytest.raises(BadArchive, match="photo-"):
        read_archive(harmed)
    assert history(other) == []
    close_nursery(other)
