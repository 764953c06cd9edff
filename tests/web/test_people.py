"""Who is let in: phones paired for people, listed, cut off and paired again; roles held to."""

import io
import sqlite3
import time
import uuid
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from lathhouse.store import access, name_move, record, tries
from lathhouse.store.engine import TURN_SECONDS
from lathhouse.store.tries import WITHIN_MS
from lathhouse.web.tries import PAIRINGS_FROM_ONE
from tests.server import Nursery

ORLA, MELE = str(uuid.uuid4()), str(uuid.uuid4())


@pytest.fixture
def nursery(one_nursery: Nursery) -> Nursery:
    """On one database: what differs is who waits for whom, which `test_devices` tries on both."""
    return one_nursery


class Phone:
    """A phone's browser: its own cookie jar, and the address it opens."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.id = nursery, str(uuid.uuid4())
        self.client = nursery.app.test_client()
        self.seq = 0

    def pair(self, link: str, name: str = "Mele's phone") -> Any:
        body = {"secret": link.rsplit("/", 1)[1], "device": self.id, "name": name}
        return self.client.post("/api/v1/pairings/redeem", json=body)

    def event(self, kind: str, data: dict[str, Any], lot: str | None = None) -> dict[str, Any]:
        self.seq += 1
        event = {"id": str(uuid.uuid4()), "seq": self.seq, "kind": kind, "lot": lot, "data": data}
        return event | {"observed_at": self.nursery.clock.text(), "by": None}

    def push(self, *events: dict[str, Any]) -> Any:
        body = {"device": self.id, "sent_at": self.nursery.clock.text(), "events": list(events)}
        return self.client.post("/api/v1/sync/push", json=body)

    def record(self, kind: str, data: dict[str, Any], lot: str | None = None) -> Any:
        return self.push(self.event(kind, data, lot))


def link_for(nursery: Nursery, role: str, person: str | None = None) -> dict[str, Any]:
    return nursery.call("POST", "/api/v1/pairings", {"role": role, "person": person}).json


def test_a_cut_off_phone_is_let_in_no_more_until_it_is_paired_again(nursery):
    phone = Phone(nursery)
    assert phone.pair(link_for(nursery, "worker", MELE)["link"]).status_code == 200
    lot = str(uuid.uuid4())
    started = {"crop": "acer-palmatum", "label": "26-017-R"}
    assert phone.record("lot_started", started, lot).json["stored"]
    (listed,) = nursery.call("GET", "/api/v1/phones").json["phones"]
    assert (listed["person"], listed["lets_in"], listed["cut_off_at"]) == (MELE, True, None)
    assert listed["last_sync_at"] == nursery.clock.text()

    assert nursery.call("POST", f"/api/v1/phones/{phone.id}/cut-off", {}).status_code == 200
    assert phone.record("looked", {}, lot).status_code == 401
    (listed,) = nursery.call("GET", "/api/v1/phones").json["phones"]
    assert listed["lets_in"] is False
    assert listed["cut_off_at"] == nursery.clock.text()
    nursery.clock.forward(days=3)
    nursery.tick()
    assert "phone-silent" not in nursery.alerts(), "a phone that was cut off is not missed"

    phone.pair(link_for(nursery, "worker", MELE)["link"])
    phone.seq -= 1
    assert phone.record("looked", {}, lot).json["stored"], "what it kept is sent now"
    (listed,) = nursery.call("GET", "/api/v1/phones").json["phones"]
    assert (listed["lets_in"], listed["cut_off_at"]) == (True, None)
    log = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    kinds = [event["kind"] for event in log]
    assert kinds.count("phone_changed") == 3, "paired, cut off, paired again: all on record"
    assert nursery.differences() == []


def test_a_phone_that_is_not_there_cannot_be_cut_off(one_nursery):
    for odd in (str(uuid.uuid4()), "x", "..%2f.."):
        answer = one_nursery.call("POST", f"/api/v1/phones/{odd}/cut-off", {})
        assert answer.status_code == 404


@pytest.mark.parametrize("role", ["worker", "viewer", "sensor"])
def test_only_an_owner_sees_phones_and_cuts_them_off(one_nursery, role):
    assert one_nursery.call("GET", "/api/v1/phones", role=role).status_code == 403
    path = f"/api/v1/phones/{uuid.uuid4()}/cut-off"
    assert one_nursery.call("POST", path, {}, role=role).status_code == 403


def test_the_code_to_scan_is_the_link(one_nursery, playwright, chromium_path):
    """Drawn as the phone shows it, and read back by another library (ZXing-C++)."""
    made = link_for(one_nursery, "worker")
    browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
    page = browser.new_page(viewport={"width": 600, "height": 600})
    page.set_content(f'<img src="{made["drawing"]}">')
    picture = Image.open(io.BytesIO(page.screenshot()))
    browser.close()
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [made["link"]]


OWNERS: list[tuple[str, dict[str, Any]]] = [
    ("person_changed", {"id": ORLA, "name": "Orla", "role": "owner"}),
    ("phone_changed", {"id": ORLA, "cut_off_at": None}),
    ("nursery_changed", {"id": ORLA, "timezone": "UTC", "working_days": [1]}),
]


@pytest.mark.parametrize(("kind", "data"), OWNERS)
def test_a_worker_s_phone_cannot_change_who_may_what(one_nursery, kind, data):
    worker, owner = Phone(one_nursery), Phone(one_nursery)
    worker.pair(link_for(one_nursery, "worker")["link"])
    owner.pair(link_for(one_nursery, "owner")["link"])
    (refused,) = worker.record(kind, data).json["refused"]
    assert refused["problem"]["type"].endswith("/owners-only")
    assert "Ask the owner" in refused["problem"]["detail"]
    assert owner.record(kind, data).json["stored"]


def correction(kind: str, of: str) -> dict[str, Any]:
    return {"of": of} if kind == "voided" else {"of": of, "data": {"name": "Somebody else"}}


def test_a_worker_s_phone_cannot_correct_or_take_back_what_the_owner_set(nursery):
    """Nor through a correction of a correction, in one batch or over two."""
    worker, owner = Phone(nursery), Phone(nursery)
    worker.pair(link_for(nursery, "worker")["link"])
    owner.pair(link_for(nursery, "owner")["link"])
    for kind, data in OWNERS:
        (said,) = owner.record(kind, data).json["stored"]
        (fixed,) = owner.record("amended", {"of": said, "data": {"note": "ours"}}).json["stored"]
        for of in (said, fixed):
            for how in ("amended", "voided"):
                answer = worker.record(how, correction(how, of)).json
                (refused,) = answer["refused"]
                assert answer["stored"] == []
                assert refused["problem"]["type"].endswith("/owners-only")
                assert "Ask the owner" in refused["problem"]["detail"]
    (orla,) = (row for row in nursery.rows("people") if row["id"] == ORLA)
    assert (orla["name"], orla["note"]) == ("Orla", "ours")
    (said,) = owner.record(*OWNERS[0]).json["stored"]
    batch = [worker.event("amended", correction("amended", said))]
    batch += [worker.event("voided", {"of": batch[0]["id"]})]
    batch += [worker.event("amended", correction("amended", batch[1]["id"]))]
    answer = worker.push(*batch[::-1]).json
    assert (answer["stored"], len(answer["refused"])) == ([], 3)
    assert nursery.differences() == []


def test_a_worker_s_phone_corrects_what_was_seen_and_the_owner_corrects_everything(nursery):
    worker, owner = Phone(nursery), Phone(nursery)
    worker.pair(link_for(nursery, "worker")["link"])
    owner.pair(link_for(nursery, "owner")["link"])
    (said,) = owner.record("place_changed", {"id": MELE, "name": "Bench 1"}).json["stored"]
    (fixed,) = worker.record("amended", correction("amended", said)).json["stored"]
    assert worker.record("voided", {"of": fixed}).json["stored"]
    assert worker.record("voided", {"of": str(uuid.uuid4())}).json["stored"], "it may yet come"
    (said,) = owner.record(*OWNERS[0]).json["stored"]
    assert owner.record("amended", correction("amended", said)).json["stored"]
    (orla,) = (row for row in nursery.rows("people") if row["id"] == ORLA)
    assert orla["name"] == "Somebody else"


def test_no_chain_of_corrections_is_too_long_to_hide_the_owner_s_record(nursery, monkeypatch):
    worker, owner = Phone(nursery), Phone(nursery)
    worker.pair(link_for(nursery, "worker")["link"])
    owner.pair(link_for(nursery, "owner")["link"])
    (last,) = owner.record(*OWNERS[0]).json["stored"]
    for _ in range(5):
        (last,) = owner.record("voided", {"of": last}).json["stored"]
    for length in (1, 3, 5, 6, 7):
        monkeypatch.setattr("lathhouse.sync.owners.CHAIN_MAX", length)
        (refused,) = worker.record("voided", {"of": last}).json["refused"]
        assert refused["problem"]["type"].endswith("/owners-only")


def test_a_worker_says_how_to_be_reached_but_not_what_they_may_do(nursery):
    mele = Phone(nursery)
    mele.pair(link_for(nursery, "worker", MELE)["link"])
    row = {"id": MELE, "name": "Mele", "role": "worker"}
    assert mele.record("person_changed", {**row, "quiet_from": "21:00"}).json["stored"]
    for odd in ({**row, "role": "owner"}, {**row, "id": ORLA}):
        (refused,) = mele.record("person_changed", odd).json["refused"]
        assert refused["problem"]["type"].endswith("/owners-only")


def test_what_a_worker_saw_and_did_is_never_refused_for_the_role(one_nursery):
    worker = Phone(one_nursery)
    worker.pair(link_for(one_nursery, "worker")["link"])
    lot = str(uuid.uuid4())
    started = {"crop": "acer-palmatum", "label": "26-017-R"}
    assert worker.record("lot_started", started, lot).json["stored"]
    assert worker.record("looked", {"moisture": 3}, lot).json["stored"]
    assert worker.record("place_changed", {"id": ORLA, "name": "New bench"}).json["stored"]


def test_an_alert_of_another_phone_is_taken_on_from_any_phone(nursery):
    """It was kept and not applied: only the phone that pushed had its own row derived again."""
    mine, other = nursery.device(), nursery.device()
    lot = mine.start_lot()
    other.seq = 5
    other.record("looked", lot, {})
    assert nursery.alerts("open").get("record-gap") == "late"
    mine.record("acknowledged", None, {"watch": "record-gap", "phone": other.id})
    assert "record-gap" not in nursery.alerts("open")
    assert nursery.alerts("acknowledged")["record-gap"] == "late"


def test_guessing_links_is_slowed_for_that_address_alone_and_locks_nobody_out(nursery, monkeypatch):
    stranger, mele = Phone(nursery), Phone(nursery)
    made = link_for(nursery, "worker")["link"]
    answers = [stranger.pair("x/guess") for _ in range(PAIRINGS_FROM_ONE + 1)]
    assert [answer.status_code for answer in answers[:-1]] == [403] * PAIRINGS_FROM_ONE
    assert answers[-1].status_code == 429
    assert answers[-1].headers["Retry-After"] == str(WITHIN_MS // 1000)
    assert "Wait 10 minutes" in answers[-1].json["detail"]
    with monkeypatch.context() as patched:
        for module in (access, name_move, tries):
            patched.setattr(module, "writing", None)
        assert stranger.pair("x/guess").status_code == 429, "and it holds up nobody who writes"
    assert mele.pair(made).status_code == 200, "from the very same address, with a good link"
    nursery.clock.forward(minutes=10, seconds=1)
    assert stranger.pair("x/guess").status_code == 403


def test_a_name_is_proved_by_the_phone_it_comes_from_or_marked_as_only_said(nursery):
    """Whose phone sent it the server knows by itself; what a phone claims of that is not heard."""
    own, shed = Phone(nursery), Phone(nursery)
    own.pair(link_for(nursery, "worker", MELE)["link"])
    shed.pair(link_for(nursery, "worker")["link"])
    sent = []
    for phone, by, claim in (
        (own, MELE, True),
        (own, ORLA, False),
        (shed, MELE, False),
        (shed, None, 7),
    ):
        event = {**phone.event("noted", {"text": "x"}), "by": by, "by_said": claim}
        assert phone.push(event).json["stored"] == [event["id"]]
        sent.append((event["id"], phone.id))
    found = {one["id"]: one for one in nursery.call("GET", "/api/v1/events").json["events"]}
    said = [(found[one]["device"] == device, found[one].get("by_said")) for one, device in sent]
    assert said == [(True, None), (True, True), (True, True), (True, None)]


@pytest.mark.parametrize("role", ["worker", "viewer"])
def test_a_phone_that_only_asks_what_is_new_is_in_touch(one_nursery, role):
    """Nothing to send is no silence (ours)."""
    nursery, phone = one_nursery, Phone(one_nursery)
    phone.pair(link_for(nursery, role, MELE)["link"])
    for _ in range(3):
        nursery.clock.forward(days=1)
        assert phone.client.get("/api/v1/sync/pull").status_code == 200
        nursery.tick()
        assert "phone-silent" not in nursery.alerts()
        (listed,) = nursery.call("GET", "/api/v1/phones").json["phones"]
        assert listed["last_sync_at"] == nursery.clock.text()

    # Every note is a new revision that all phones fetch: there are few.
    page = phone.client.get("/api/v1/sync/pull").json
    nursery.clock.forward(minutes=14)
    again = phone.client.get(f"/api/v1/sync/pull?after={page['cursor']}").json
    assert again["revision"] == page["revision"]
    nursery.clock.forward(minutes=1)
    again = phone.client.get(f"/api/v1/sync/pull?after={page['cursor']}").json
    assert again["revision"] == page["revision"] + 1
    assert [row["id"] for row in again["rows"]["phones"]] == [phone.id], "on its own page already"

    nursery.clock.forward(days=3)
    nursery.tick()
    assert "phone-silent" in nursery.alerts()


def test_who_only_reads_waits_for_no_writer(nursery: Nursery):
    """Another writer is at it all the while; it would hold a pull up for ten seconds and more."""
    phone = Phone(nursery)
    phone.pair(link_for(nursery, "worker", MELE)["link"])
    nursery.clock.forward(days=1)
    nursery.token("owner")
    began = time.monotonic()
    with nursery.database() as connection:
        connection.execute(text("UPDATE sites SET epoch = epoch"))
        assert phone.client.get("/api/v1/sync/pull").status_code == 200
    assert time.monotonic() - began < TURN_SECONDS
    nursery.tick()
    assert "phone-silent" in nursery.alerts(), "it could not be noted"
    phone.client.get("/api/v1/sync/pull")
    assert "phone-silent" not in nursery.alerts()


def test_a_contact_of_a_day_to_come_is_put_right(one_nursery):
    """The clock was ahead, and is right again (FAULTS F12)."""
    nursery, phone = one_nursery, Phone(one_nursery)
    phone.pair(link_for(nursery, "worker", MELE)["link"])
    nursery.clock.forward(days=20)
    phone.client.get("/api/v1/sync/pull")
    nursery.clock.forward(days=-20)
    phone.client.get("/api/v1/sync/pull")
    (listed,) = nursery.call("GET", "/api/v1/phones").json["phones"]
    assert listed["last_sync_at"] == nursery.clock.text()


def test_what_can_be_read_is_read_where_nothing_can_be_written(one_nursery, monkeypatch, caplog):
    nursery, phone = one_nursery, Phone(one_nursery)
    phone.pair(link_for(nursery, "worker", MELE)["link"])
    nursery.clock.forward(days=1)

    def full(*_: Any) -> None:
        raise OperationalError("INSERT", {}, sqlite3.OperationalError("database or disk is full"))

    monkeypatch.setattr(record, "append", full)
    assert phone.client.get("/api/v1/sync/pull").status_code == 200
    assert "could not be written" in caplog.text
