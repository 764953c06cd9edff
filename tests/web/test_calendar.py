"""The calendar feed over HTTP, read by an independent parser and held to RFC 5545 line by line."""

import importlib
import logging
import re
import uuid
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import icalendar as reference
import pytest
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import text

from lathhouse.domain.quiet_alarms import NONE, WAITS, outside_quiet
from lathhouse.store import access, calendars
from lathhouse.store.work import writing
from lathhouse.web import calendar as feed
from tests.reminders.carried import Phone
from tests.server import Device, Nursery

MIGRATIONS = "lathhouse.store.migrations.versions"


@pytest.fixture(autouse=True)
def _count_anew(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(feed, "asked", feed.Asked())


@pytest.fixture
def working_nursery(one_nursery: Nursery) -> Nursery:
    """A nursery whose zone is UTC, on Thursday 10 September 2026, 08:40."""
    one_nursery.clock.set("2026-09-10T08:40:00Z")
    return one_nursery


def place(device: Device, name: str) -> str:
    row = {"id": str(uuid.uuid4()), "name": name, "order": 1, "kind": "chamber", "daily": False}
    device.record("place_changed", None, row)
    return str(row["id"])


def cold(device: Device, where: str, days: float, label: str) -> str:
    at = device.nursery.clock.text(days=days)
    lot = device.start_lot(at=at, place=where, label=label)
    device.record("cold_started", lot, {"where": "fridge"}, at=at)
    return lot


def address(nursery: Nursery, role: str = "owner") -> str:
    answer = nursery.call("POST", "/api/v1/calendar", {}, role=role)
    assert answer.status_code == 201
    return str(answer.json["address"]).split("localhost", 1)[1]


def get(nursery: Nursery, path: str, **headers: str) -> Any:
    return nursery.client.get(path, headers={k.replace("_", "-"): v for k, v in headers.items()})


def events(text: str) -> dict[str, Any]:
    found = {str(one["UID"]): one for one in reference.Calendar.from_ical(text).walk("VEVENT")}
    assert len(found) == text.count("BEGIN:VEVENT"), "each UID once"
    return found


def due(text: str) -> dict[str, Any]:
    return {k: one for k, one in events(text).items() if one["STATUS"] == "CONFIRMED"}


def follow_the_rfc(text: str) -> int:
    """Hold calendar text to RFC 5545 (Desruisseaux 2009); return how many events it has."""
    assert text.endswith("\r\n")
    assert re.search(r"(?<!\r)\n|\r(?!\n)", text) is None  # section 3.1
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75  # section 3.1
    lines = text.replace("\r\n ", "").split("\r\n")[:-1]
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert [lines.count(one) for one in ("VERSION:2.0", "PRODID:-//Lathhouse//Rounds//EN")] == [
        1,
        1,
    ]
    body = "\n".join(lines)
    blocks = re.findall(r"BEGIN:VEVENT\n(.*?)\nEND:VEVENT", body, re.DOTALL)
    for block in blocks:
        alarms = re.findall(r"BEGIN:VALARM\n(.*?)\nEND:VALARM", block, re.DOTALL)
        plain = re.sub(r"BEGIN:VALARM\n.*?\nEND:VALARM\n?", "", block, flags=re.DOTALL)
        names = [re.split("[:;]", line)[0] for line in plain.strip().split("\n")]
        for once in ("UID", "DTSTAMP", "DTSTART", "SUMMARY", "STATUS", "SEQUENCE", "URL"):
            assert names.count(once) == 1, (once, block)  # section 3.6.1
        assert names.count("DTEND") == 1
        assert "DURATION" not in names  # either, never both (section 3.6.1)
        whole_day = "DTSTART;VALUE=DATE:" in plain
        assert ("DTEND;VALUE=DATE:" in plain) == whole_day  # the same type (section 3.8.2.2)
        stamp = re.search(r"DTSTAMP:(\S+)", plain)
        assert stamp
        assert f"LAST-MODIFIED:{stamp[1]}" in plain  # alike without METHOD (section 3.8.7.2)
        assert ("STATUS:CANCELLED" in plain) <= (not alarms)
        for alarm in alarms:
            kinds = [re.split("[:;]", line)[0] for line in alarm.split("\n")]
            assert sorted(kinds) == ["ACTION", "DESCRIPTION", "TRIGGER"]  # section 3.6.6
    assert "METHOD" not in body
    return len(blocks)


def test_looks_of_a_fridge_are_one_entry_a_day_and_vanish_when_done(working_nursery: Nursery):
    device = working_nursery.device()
    fridge = place(device, "Shed fridge, the old one; left")
    lots = [cold(device, fridge, 8, f"26-00{n}-X") for n in range(3)]
    path = address(working_nursery)
    answer = get(working_nursery, path)
    assert answer.status_code == 200
    assert answer.content_type == "text/calendar; charset=utf-8"
    assert follow_the_rfc(answer.text) > 0
    today = [
        one for one in due(answer.text).values() if one.decoded("DTSTART") == date(2026, 9, 10)
    ]
    (look,) = [one for one in today if one.get("LOCATION")]
    assert str(look["LOCATION"]) == "Shed fridge, the old one; left"
    assert "3 lots, 26-000-X, 26-001-X, 26-002-X" in str(look["SUMMARY"])
    assert str(look["DESCRIPTION"]).count("in the cold, not looked at since") == 3
    assert str(look["URL"]).endswith(f"/#/walk/{fridge}")
    assert look.walk("VALARM") == []  # overdue since yesterday: it rang then
    for lot in lots:
        device.record("looked", lot, {"moisture": 3, "fungus": "none"})
    working_nursery.clock.forward(minutes=1)
    after = events(get(working_nursery, path).text)
    assert follow_the_rfc(get(working_nursery, path).text) > 0
    gone = after[str(look["UID"])]
    assert gone["STATUS"] == "CANCELLED"
    assert gone["SEQUENCE"] == look["SEQUENCE"] + 1
    assert gone.decoded("DTSTAMP") == gone.decoded("LAST-MODIFIED") > look.decoded("DTSTAMP")
    working_nursery.clock.forward(days=31)
    assert str(look["UID"]) not in events(get(working_nursery, path).text)


def test_the_six_week_look_is_foretold_on_its_day(working_nursery: Nursery):
    """42 days: common practice, no source. Thursday 10 September, less 30 days, plus 42."""
    device = working_nursery.device()
    lot = cold(device, place(device, "Fridge"), 30, "26-001-X")
    device.record("looked", lot, {"moisture": 3, "fungus": "none"})
    found = due(get(working_nursery, address(working_nursery)).text).values()
    days = {str(one["DESCRIPTION"]): one.decoded("DTSTART") for one in found}
    (six,) = [day for said, day in days.items() if "six weeks in the cold" in said]
    assert six == date(2026, 9, 22)


def test_a_soak_rings_at_its_hour(working_nursery: Nursery):
    """Begun at 08:40; a day is the least that the kind is soaked."""
    device = working_nursery.device()
    lot = device.start_lot()
    device.record("soak_started", lot, {})
    found = due(get(working_nursery, address(working_nursery)).text).values()
    (drain,) = [one for one in found if "soaking since" in str(one["DESCRIPTION"])]
    begins = drain.decoded("DTSTART")
    assert isinstance(begins, datetime)
    assert begins >= datetime(2026, 9, 11, 8, 40, tzinfo=UTC)
    (alarm,) = drain.walk("VALARM")
    assert alarm.decoded("TRIGGER").total_seconds() == 0
    assert alarm["ACTION"] == "DISPLAY"


def test_nothing_new_is_answered_with_304_and_the_same_octets(working_nursery: Nursery):
    device = working_nursery.device()
    lot = cold(device, place(device, "Fridge"), 8, "26-001-X")
    path = address(working_nursery)
    first = get(working_nursery, path)
    working_nursery.clock.forward(minutes=5)
    again = get(working_nursery, path, If_None_Match=first.headers["ETag"])
    assert (again.status_code, again.data) == (304, b"")
    assert get(working_nursery, path).text == first.text
    by_date = get(working_nursery, path, If_Modified_Since=first.headers["Last-Modified"])
    assert by_date.status_code == 304
    device.record("looked", lot, {"moisture": 3})
    changed = get(working_nursery, path, If_None_Match=first.headers["ETag"])
    assert changed.status_code == 200
    assert changed.headers["Last-Modified"] != first.headers["Last-Modified"]


def test_a_renewed_address_leaves_the_old_one_unknown(working_nursery: Nursery):
    old = address(working_nursery)
    new = address(working_nursery)
    assert get(working_nursery, old).status_code == 404
    assert get(working_nursery, new).status_code == 200
    other = address(working_nursery, role="worker")
    assert get(working_nursery, new).status_code == 200
    assert working_nursery.call("GET", "/api/v1/calendar").json["made_at"]
    assert working_nursery.call("DELETE", "/api/v1/calendar").status_code == 200
    assert get(working_nursery, new).status_code == 404
    assert get(working_nursery, other).status_code == 200


def test_whoever_is_shut_out_reads_no_calendar(working_nursery: Nursery):
    path = address(working_nursery, role="worker")
    # Nor by another token that has its name, as in older records.
    own = working_nursery.tokens.pop("worker")
    namesakes = address(working_nursery, role="worker")
    assert get(working_nursery, path).status_code == 200
    with working_nursery.app.app_context():
        site, at = working_nursery.site, working_nursery.clock.text()
        access.revoke_token(site, access.hashed(own)[: access.ID_LENGTH], at)
    assert get(working_nursery, path).status_code == 404
    assert get(working_nursery, namesakes).status_code == 200


@pytest.mark.parametrize("restored", [False, True])
def test_an_address_from_before_goes_over_to_its_token_where_that_is_certain(
    working_nursery: Nursery, restored: bool
):
    """As it was written until migration 0016, by the name alone."""
    paths = {name: address(working_nursery, name) for name in ("worker", "viewer")}
    twin = working_nursery.tokens.pop("viewer")
    assert working_nursery.token("viewer") != twin
    ids = {access.hashed(working_nursery.tokens["worker"])[:16]: "worker's script"}
    # Whoever came to have its name later did not make it.
    working_nursery.clock.forward(minutes=1)
    working_nursery.tokens.pop("worker")
    working_nursery.token("worker")
    ids |= {access.hashed(twin)[:16]: "viewer's script"}
    before = "UPDATE calendars SET recipient = :old WHERE recipient = :new"
    step: Any = importlib.import_module(f"{MIGRATIONS}.0016_whose_token_made_an_address")
    with working_nursery.database() as connection:
        for one, name in ids.items():
            of = {"old": f"token:{name}", "new": f"token:{one}"}
            assert connection.execute(text(before), of).rowcount == 1
        with Operations.context(MigrationContext.configure(connection)):
            if not restored:
                step.upgrade()
    if restored:
        site, now = working_nursery.site, working_nursery.clock.text()
        with working_nursery.app.app_context():
            writing(site, now, calendars.name_by_token)
    assert get(working_nursery, paths["worker"]).status_code == 200
    assert get(working_nursery, paths["viewer"]).status_code == 404, "two had this name"


def test_an_address_ends_with_the_phone_that_made_it_and_no_other(nursery: Nursery):
    """Its person has a second phone, which is let in still; whoever found the first knows it."""
    dev = str(uuid.uuid4())
    nursery.device().record("person_changed", None, {"id": dev, "name": "Dev"})
    lost, second = Phone(nursery, "worker", dev), Phone(nursery, "worker", dev)

    def made_on(phone: Phone) -> str:
        said = phone.call("POST", "/api/v1/calendar", {}).json["address"]
        return "/" + str(said).split("/", 3)[3]

    def cut_off(phone: Phone) -> None:
        answer = nursery.call("POST", f"/api/v1/phones/{phone.id}/cut-off", {})
        assert answer.status_code == 200

    known = made_on(lost)
    assert get(nursery, known).status_code == 200
    cut_off(lost)
    assert get(nursery, known).status_code == 404
    assert second.call("GET", "/api/v1/calendar").json == {"made_at": None, "mark": None}

    third = Phone(nursery, "worker", dev)
    made_on(third)
    renewed = made_on(second)
    cut_off(third)
    assert get(nursery, renewed).status_code == 200, "renewed on a phone that is let in"


def test_a_sensor_has_no_calendar_and_nobody_guesses_one(same_nursery: Nursery):
    assert same_nursery.call("POST", "/api/v1/calendar", {}, role="sensor").status_code == 403
    assert same_nursery.call("GET", "/api/v1/calendar", role=None).status_code == 401
    for secret in ("", "x", "x" * 43, "%00", "..%2F..", "é"):
        assert get(same_nursery, f"/api/v1/calendar/{secret}.ics").status_code in (400, 404)


@pytest.mark.about_sqlite("reads the octets of its file")
def test_the_secret_is_kept_as_a_hash_and_is_in_no_log(
    working_nursery: Nursery, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
):
    path = address(working_nursery)
    secret = path.rsplit("/", 1)[1].removesuffix(".ics")
    stored = b"".join(file.read_bytes() for file in _files(working_nursery))
    assert access.hashed(secret).encode() in stored
    assert secret.encode() not in stored

    def fault(*_: Any) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(feed.agenda, "given", fault)
    with caplog.at_level(logging.DEBUG):
        assert get(working_nursery, path).status_code == 500
    assert "a fault of ours" in caplog.text
    assert secret not in caplog.text


def _files(nursery: Nursery) -> list[Path]:
    url = nursery.app.config["SQLALCHEMY_DATABASE_URI"].removeprefix("sqlite:///")
    kept = Path(url)
    return [file for file in kept.parent.glob(f"{kept.name}*") if file.is_file()]


def test_asking_without_end_is_refused_for_a_while(working_nursery: Nursery):
    """Sixty times in ten minutes: ours."""
    path = address(working_nursery)
    for _ in range(feed.ASKS_MAX):
        assert get(working_nursery, path).status_code == 200
    answer = get(working_nursery, path)
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "600"
    working_nursery.clock.forward(minutes=10)
    assert get(working_nursery, path).status_code == 200


def test_the_alarms_of_a_persons_calendar_keep_out_of_their_own_quiet_hours(
    working_nursery: Nursery,
):
    """When quiet hours are: ours. An alarm counts from its entry's start: RFC 5545, 3.8.6.3."""
    device = working_nursery.device()
    lot = cold(device, place(device, "Fridge"), 30, "26-001-X")
    device.record("looked", lot, {"moisture": 3, "fungus": "none"})
    # Its 24 hours are over at 14:40 today.
    soak = device.start_lot(at=working_nursery.clock.text(hours=18), label="26-002-X")
    device.record("soak_started", soak, {}, at=working_nursery.clock.text(hours=18))
    person = str(uuid.uuid4())
    row = {"id": person, "name": "Dev"}
    device.record("person_changed", None, row)
    phone = Phone(working_nursery, "worker", person)
    path = str(phone.call("POST", "/api/v1/calendar", {}).json["address"]).split("localhost", 1)[1]

    def rings(**quiet: str) -> tuple[dict[str, Any], Any]:
        device.record("person_changed", None, {**row, **quiet})
        answer = get(working_nursery, path)
        assert follow_the_rfc(answer.text) > 0
        found = {}
        for one in due(answer.text).values():
            which = "soak" if "26-002-X" in str(one["SUMMARY"]) else "look"
            alarms = [alarm.decoded("TRIGGER") for alarm in one.walk("VALARM")]
            told = str(one["DESCRIPTION"]).rsplit("\n", 1)[-1]
            found.setdefault(which, []).append((alarms, told if "quiet" in told else ""))
        return found, answer

    usual, before = rings()
    # Its end, and its water before that: in no order of their own.
    assert {(tuple(alarms), told) for alarms, told in usual["soak"]} == {((timedelta(0),), "")}
    assert ([timedelta(hours=7)], "") in usual["look"]
    # Asleep until half past eight: the day's work rings then.
    late, _ = rings(quiet_from="21:00", quiet_to="08:30")
    assert ([timedelta(hours=8, minutes=30)], WAITS) in late["look"]
    # Asleep by day: the soak of 14:40 rings at the end of it, at 17:00 on the next day of work.
    day, moved = rings(quiet_from="06:30", quiet_to="17:00")
    assert ([timedelta(hours=26, minutes=20)], WAITS) in day["soak"]
    assert ([timedelta(hours=17)], WAITS) in day["look"]
    # A reader that asks by date alone is not told that nothing has changed.
    by_date = get(working_nursery, path, If_Modified_Since=before.headers["Last-Modified"])
    assert (by_date.status_code, "Last-Modified" in moved.headers) == (200, False)
    # Someone else's calendar rings as it did.
    assert "quiet hours" not in get(working_nursery, address(working_nursery)).text


def test_an_alarm_that_would_ring_on_another_day_is_left_out_and_says_so():
    hours = {"offsets": [["2020-01-01T00:00:00.000Z", 0]], "working_days": [1, 2, 3, 4, 5],
             "work_from": "07:00", "quiet_from": "06:00", "quiet_to": "00:30"}  # fmt: skip
    entry = {"day": "2026-09-10", "alarm": "PT7H0M", "description": "Look.", "cancelled": False}
    (left,) = outside_quiet([entry], hours)
    assert left == {**entry, "alarm": None, "description": f"Look.\n{NONE}"}
