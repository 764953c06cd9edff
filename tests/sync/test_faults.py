"""What the record must survive at the server, each by its number in the list of faults."""

import sqlite3
import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import text

from lathhouse.app import create_app
from lathhouse.domain.instants import local_date, offsets_of, parse_instant
from lathhouse.store import alerts, engine, phones
from lathhouse.store.models import db
from lathhouse.store.work import looking
from tests.on_postgresql import copied
from tests.server import Clock, Device, Nursery, close_nursery, open_nursery

WRITERS, EACH = 8, 12


def test_f02_a_batch_sent_again_after_a_lost_reply_is_stored_once(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    looks = [device.event("looked", lot, {"moisture": 3}) for _ in range(5)]
    first, second = device.push(*looks), device.push(*reversed(looks))
    ids = [event["id"] for event in looks]
    assert (first["stored"], second["stored"]) == (ids, [])
    assert sorted(second["already"]) == sorted(ids)
    assert nursery.lot(lot)["events_count"] == 6


def test_the_same_id_with_another_body_is_refused_and_never_merged(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    first = device.record("looked", lot, {"moisture": 3})
    said = device.push({**first, "data": {"moisture": 1}})
    (refused,) = said["refused"]
    assert refused["id"] == first["id"]
    assert refused["problem"]["type"].endswith("/id-taken")
    assert nursery.lot(lot)["last_look"]["moisture"] == 3
    # It is kept whole for its person to see, and asked about until it is mended.
    with nursery.app.app_context():
        (kept,) = looking(
            nursery.site, nursery.clock.text(), lambda work: phones.list_refused(work, device.id)
        )
    assert kept["event"]["data"] == {"moisture": 1}
    assert kept["problem"] == refused["problem"]
    assert nursery.alerts()["record-gap"] == "late"
    device.record("looked", lot, {"moisture": 1}, mends=first["id"])
    assert "record-gap" not in nursery.alerts()


def test_f03_bookkeeping_that_fails_leaves_nothing_half_written(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """FAULTS F3: what follows from an event fails after the event is in; none of it stays."""
    device = nursery.device()
    lot = device.start_lot(at=nursery.clock.text(days=30))
    cold = device.event("cold_started", lot, {}, at=nursery.clock.text(days=25))
    body = {"device": device.id, "sent_at": nursery.clock.text(), "events": [cold]}
    before = nursery.lot(lot)

    def fail(*_: Any) -> None:
        raise OSError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(alerts, "write", fail)
        said = nursery.call("POST", "/api/v1/sync/push", body)
    assert said.status_code == 500
    assert said.content_type == "application/problem+json"
    assert nursery.lot(lot) == before
    answer = device.push(cold)
    assert (answer["stored"], answer["next_seq"]) == ([cold["id"]], cold["seq"] + 1)
    assert nursery.lot(lot)["stage"] == "cold"
    assert nursery.differences() == []


def test_f03_a_retry_is_always_safe_whatever_was_stored_of_it(nursery: Nursery):
    """FAULTS F3: a batch half of which is on record gets its verdicts one by one."""
    device = nursery.device()
    lot = device.start_lot()
    looks = [device.event("looked", lot, {}) for _ in range(4)]
    device.push(*looks[:2])
    said = device.push(*looks)
    assert said["already"] == [event["id"] for event in looks[:2]]
    assert said["stored"] == [event["id"] for event in looks[2:]]


def test_a_gap_in_a_devices_numbers_is_told_and_rings_until_it_is_filled(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    missing = device.event("looked", lot, {})
    after = device.event("looked", lot, {})
    said = device.push(after)
    assert said["next_seq"] == missing["seq"]
    assert nursery.alerts()["record-gap"] == "late"
    nursery.clock.forward(hours=24)
    nursery.tick()
    assert nursery.alerts()["record-gap"] == "alarm"
    assert device.push(missing)["next_seq"] == after["seq"] + 1
    assert "record-gap" not in nursery.alerts()


def test_a_refused_number_counts_and_a_mended_record_clears_the_alert(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    wrong = device.event("looked", lot, {"moisture": 9})
    said = device.push(wrong)
    assert [item["id"] for item in said["refused"]] == [wrong["id"]]
    assert said["next_seq"] == wrong["seq"] + 1
    assert nursery.alerts()["record-gap"] == "late"
    device.record("looked", lot, {"moisture": 3}, mends=wrong["id"])
    assert "record-gap" not in nursery.alerts()


def test_f11_a_server_put_back_from_a_backup_is_noticed_and_gets_what_it_lacks(
    one_nursery: Nursery, tmp_path: Path
):
    """FAULTS F11: counters that go backwards tell a phone; it offers its ids, and sends those."""
    device = one_nursery.device()
    lot = device.start_lot()
    kept = device.record("looked", lot, {"moisture": 3})
    close_nursery(one_nursery)  # it opens its database again by itself
    url = one_nursery.app.config["SQLALCHEMY_DATABASE_URI"]
    backup = copied(url, tmp_path / "backup.sqlite")
    later = [device.event("looked", lot, {"moisture": 2}) for _ in range(3)]
    before = device.push(*later)
    restored = open_nursery(backup, tmp_path / "restored", one_nursery.clock)
    pulled = restored.call("GET", "/api/v1/sync/pull?after=0&limit=1").json
    assert pulled["revision"] < before["revision"]
    phone = Device(restored)
    phone.id = device.id
    assert phone.push()["next_seq"] == later[0]["seq"] < before["next_seq"]
    ids = [event["id"] for event in later]
    body = {"device": device.id, "ids": [*ids, kept["id"], *ids]}
    offered = restored.call("POST", "/api/v1/sync/offer", body).json
    assert offered["missing"] == ids
    again = phone.push(kept, *later)
    assert (again["already"], again["stored"]) == ([kept["id"]], ids)
    assert again["next_seq"] == before["next_seq"]
    assert restored.lot(lot)["events_count"] == one_nursery.lot(lot)["events_count"]
    assert restored.differences() == []
    close_nursery(restored)


def test_f11_a_pull_says_what_is_known_of_the_phone_that_asks(nursery: Nursery):
    """One with nothing to send has no other way to learn that what it sent was forgotten."""
    device, stranger = nursery.device(), str(uuid.uuid4())
    device.start_lot()
    known = [
        nursery.call("GET", f"/api/v1/sync/pull?after=0&device={one}").json["next_seq"]
        for one in (device.id, stranger)
    ]
    assert known == [device.push()["next_seq"], 1]
    assert "next_seq" not in nursery.call("GET", "/api/v1/sync/pull?after=0").json
    assert nursery.call("GET", "/api/v1/sync/pull?device=it").status_code == 422


def test_f11_every_answer_names_the_epoch_and_it_outlives_a_restart(nursery: Nursery):
    device = nursery.device()
    first = device.push()["epoch"]
    with nursery.app.app_context():
        again = Nursery(create_app(nursery.app.config["LATHHOUSE"]), nursery.clock)
    pulled = again.call("GET", "/api/v1/sync/pull?after=0&limit=1").json
    assert (first, pulled["epoch"]) == (pulled["epoch"], Device(again).push()["epoch"])
    close_nursery(again)


def test_f12_a_phone_an_hour_behind_does_not_undo_what_was_seen_later(nursery: Nursery):
    """FAULTS F12: in one nursery, a phone whose clock is right and one that is an hour behind."""
    right, behind = nursery.device(), nursery.device()
    lot = right.start_lot(at=nursery.clock.text(days=9))
    right.record("looked", lot, {"moisture": 1}, at=nursery.clock.text(minutes=10))
    late = behind.event("looked", lot, {"moisture": 4}, at=nursery.clock.text(minutes=61))
    behind.push(late, sent_at=nursery.clock.text(minutes=60))
    found = nursery.lot(lot)["last"]["moisture"]
    assert found == {"value": 4, "at": nursery.clock.text(minutes=1)}


def test_f12_a_phone_in_the_year_2099_locks_nothing(nursery: Nursery):
    right, ahead = nursery.device(), nursery.device()
    lot = right.start_lot(at=nursery.clock.text(days=9))
    years = Clock("2099-01-01T00:00:00Z")
    odd = ahead.event("looked", lot, {"moisture": 1}, at=years.text(minutes=5))
    assert ahead.push(odd, sent_at=years.text())["stored"] == [odd["id"]]
    assert nursery.lot(lot)["last"]["moisture"]["at"] == nursery.clock.text(minutes=5)
    right.record("looked", lot, {"moisture": 3}, at=nursery.clock.text(minutes=1))
    assert nursery.lot(lot)["last"]["moisture"]["value"] == 3
    # Without a word of its own clock there is nothing to correct by: that one is refused.
    unsaid = ahead.event("looked", lot, {}, at=years.text())
    assert [one["id"] for one in ahead.push(unsaid)["refused"]] == [unsaid["id"]]


@pytest.mark.parametrize(
    ("zone", "opens", "evening"),
    [
        ("Pacific/Auckland", "2026-01-13T00:30:00+13:00", "2026-01-12T23:30:00+13:00"),
        ("America/Los_Angeles", "2026-01-13T00:30:00-08:00", "2026-01-12T23:30:00-08:00"),
    ],
)
def test_f13_a_round_late_in_the_evening_counts_for_that_day(
    one_nursery: Nursery, zone: str, opens: str, evening: str
):
    """FAULTS F13: walked at 23:30; the next one is asked for on the next day by 11:00, not before.

    The day in UTC is another one than the nursery's own, on one side of the world or the other.
    """
    clock = one_nursery.clock
    clock.set(evening)
    device, place = one_nursery.device(), str(uuid.uuid4())
    nursery_row = {"id": one_nursery.site, "name": "N", "timezone": zone}
    nursery_row |= {"hemisphere": "south", "working_days": [1, 2, 3, 4, 5, 6]}
    device.record("nursery_changed", None, nursery_row, at=clock.text(days=9))
    house = {"id": place, "name": "House", "order": 1, "kind": "house", "daily": True}
    device.record("place_changed", None, house, at=clock.text(days=9))
    device.start_lot(at=clock.text(days=8), place=place, unit="plants", container_l=2)
    assert level_on(one_nursery, place) == "alarm"
    device.record("round_closed", None, {"place": place}, at=clock.text())
    assert level_on(one_nursery, place) is None
    clock.set(opens)
    assert level_on(one_nursery, place) is None
    clock.forward(hours=10, minutes=29)
    assert level_on(one_nursery, place) is None
    clock.forward(minutes=1)
    assert level_on(one_nursery, place) == "due"


def level_on(nursery: Nursery, place: str) -> str | None:
    """Return the level at which a place is missed on the round now, if it is."""
    nursery.tick()
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    missed = [alert for alert in found if alert["watch"] == "round-missing"]
    levels = [alert["level"] for alert in missed if alert["subject"]["id"] == place]
    return levels[0] if levels else None


def test_f13_an_evening_round_belongs_to_its_own_day_wherever_the_site_is():
    """FAULTS F13: 23:30 and 00:30 in UTC+13, UTC-8 and both nights of daylight saving."""
    nights = {
        "Pacific/Auckland": ["2026-01-10", "2026-04-05", "2026-09-27"],
        "America/Los_Angeles": ["2026-01-10", "2026-03-08", "2026-11-01"],
        "Australia/Sydney": ["2026-06-10", "2026-04-05", "2026-10-04"],
    }
    for zone, days in nights.items():
        offsets = offsets_of(
            zone, parse_instant("2025-12-01T00:00:00Z"), parse_instant("2027-01-01T00:00:00Z")
        )
        for day in days:
            for time in ("00:30", "23:30"):
                local = datetime.fromisoformat(f"{day}T{time}").replace(tzinfo=ZoneInfo(zone))
                assert local_date(int(local.timestamp() * 1000), offsets) == day, (zone, day, time)


def record_losses(nursery: Nursery, lot: str) -> None:
    device = Device(nursery)
    for _ in range(EACH):
        loss = device.event("lost", lot, {"quantity": 1, "out_of": 500, "cause": "dried"})
        assert device.push(loss)["stored"]


def test_f23_no_update_is_lost_when_many_write_to_one_lot(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """FAULTS F23: read, then write, by eight writers at once; the driver's default lost most."""
    # Each waits until its turn comes, however slow the machine: a phone would come again.
    monkeypatch.setattr(engine, "TURN_SECONDS", 600)
    lot = nursery.device().start_lot(quantity=500, unit="plants", container_l=2)
    nursery.token("owner")
    with ThreadPoolExecutor(WRITERS) as pool:
        for done in [pool.submit(record_losses, nursery, lot) for _ in range(WRITERS)]:
            done.result()
    found = nursery.lot(lot)
    assert found["quantity"] == 500 - WRITERS * EACH
    assert found["events_count"] == 1 + WRITERS * EACH
    assert nursery.differences() == []


@pytest.mark.about_sqlite("its pragmas and its lock")
def test_f23_sqlite_is_in_wal_with_full_synchronous_and_begins_immediately(
    one_nursery: Nursery, tmp_path: Path
):
    with one_nursery.app.app_context(), db.engine.begin() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert connection.execute(text("PRAGMA synchronous")).scalar() == 2
        other = sqlite3.connect(tmp_path / "l.sqlite", timeout=0)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        other.close()


def test_f25_a_child_may_come_before_its_parent_and_counts_when_the_parent_does(nursery: Nursery):
    device = nursery.device()
    parent, child = str(uuid.uuid4()), str(uuid.uuid4())
    start = {"crop": "acer-palmatum", "label": "26-001-A", "quantity": 100, "unit": "seedlings"}
    first = device.event("lot_started", parent, start, at=nursery.clock.text(days=9))
    potted = {"quantity": 40, "container_l": 2, "into": child}
    device.push(
        device.event("potted_on", parent, potted, at=nursery.clock.text(days=2)),
        device.event("looked", child, {"moisture": 3}),
    )
    assert nursery.lot(parent) is None
    device.push(first)
    assert nursery.lot(parent)["quantity"] == 60
    assert nursery.differences() == []


# JSON's numbers, as the phone's engine writes them; each must come back digit for digit.
NUMBERS = [0.1, 0.30000000000000004, 4.35, 1e-7, 23.456789, 3, -0.5, 2.5e-5]


def test_f27_no_number_drifts_on_its_way_into_the_record_and_back(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot(quantity=12.345678901234567, unit="g")
    looks = [device.record("looked", lot, {"temp_c": value}) for value in NUMBERS]
    events = nursery.call("GET", f"/api/v1/events?lot={lot}").json["events"]
    kept = {event["id"]: event["data"] for event in events}
    assert [kept[event["id"]]["temp_c"] for event in looks] == NUMBERS
    assert nursery.lot(lot)["quantity"] == 12.345678901234567
    price = {"container_l": 2, "price_each": "14.10", "currency": "AUD", "from_date": "2026-09-01"}
    sent = device.record("priced", None, {**price, "grade": "A"})
    kept_price = nursery.call("GET", "/api/v1/events?limit=1000").json["events"][-1]
    assert kept_price["id"] == sent["id"]
    assert kept_price["data"]["price_each"] == "14.10"


PARENT = str(uuid.UUID(int=7))
# What phones of each past version sent, word for word; kinds and fields are only ever added.
OLD_PHONES: dict[str, list[tuple[str, dict[str, Any]]]] = {
    "first": [
        ("lot_started", {"crop": "acer-palmatum", "label": "26-017-R"}),
        ("cold_started", {}),
        ("looked", {}),
    ],
    "one parent": [
        ("lot_started", {"crop": "acer-palmatum", "label": "x", "parent": str(uuid.UUID(int=7))})
    ],
}


@pytest.mark.parametrize("version", OLD_PHONES)
def test_f28_what_an_old_phone_sends_is_understood(nursery: Nursery, version: str):
    device = nursery.device()
    lot = str(uuid.uuid4())
    for kind, data in OLD_PHONES[version]:
        device.record(kind, lot, data)
    found = nursery.lot(lot)
    assert found["not_understood"] == 0
    assert found["stage"] == ("cold" if version == "first" else "seed")
    if version == "one parent":
        assert found["parents"] == [PARENT]


def test_f28_what_a_newer_phone_sends_is_kept_whole_and_shown_as_not_understood(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    sent = device.record("seen_by_drone", lot, {"height_m": 30, "tiles": [1, {"two": 2}]}, wing=4)
    kept = nursery.call("GET", f"/api/v1/events?lot={lot}").json["events"][-1]
    assert sent.items() <= kept.items()
    assert nursery.lot(lot)["not_understood"] == 1


def test_a_correction_that_leaves_no_reading_and_no_band_holds_up_nothing(nursery: Nursery):
    """Whatever an amendment makes of a row, the next push is taken: one bad record blocks none."""
    device = nursery.device()
    place = str(uuid.uuid4())
    row = {"id": place, "name": "Fridge", "kind": "chamber", "order": 1}
    made = device.record("place_changed", None, row, at=nursery.clock.text(hours=3))
    reading = {"place": place, "quantity_kind": "temp_c", "value": 4}
    read = device.record("read", None, reading, at=nursery.clock.text(hours=2))
    device.record("amended", None, {"of": read["id"], "data": {"value": None}})
    device.record("amended", None, {"of": made["id"], "data": {"chamber": "x"}})
    device.record("amended", None, {"of": made["id"], "data": {"chamber": {"low_c": 9}}})
    device.record("read", None, reading)
    assert nursery.rows("places")[0]["last_read"]["temp_c"]["value"] == 4


def test_text_that_no_database_takes_as_a_key_is_kept_and_links_nothing(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    device.record("looked", lot, {"mends": "\ud800"})
    device.record("solution_tested", lot, {"solution": "\ud800"})
    device.record("noted", lot, {"text": "a\0b", "mends": "a\0b"})
    assert nursery.lot(lot)["events_count"] == 4
