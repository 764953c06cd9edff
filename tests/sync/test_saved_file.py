"""The file of what a phone could not send: the server takes it, once, whoever brings it."""

import base64
import json
import subprocess
import sys
import uuid
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.saved_file import BadSavedFile, checksum, read_saved_file
from tests.on_postgresql import address_for, environment
from tests.photos import jpeg, name_of
from tests.saved_file import write_saved_file
from tests.server import Clock, Device, Nursery, close_nursery, open_nursery
from tests.web.test_people import MELE, Phone, link_for

GOLDEN = json.loads((Path(__file__).parents[1] / "golden" / "saved_file.json").read_text("utf-8"))
FILE = "\n".join(GOLDEN["lines"])
Data = dict[str, Any]


def saved(nursery: Nursery, device: str, *events: Data, **more: Any) -> str:
    """The file that a phone of this nursery saves now."""
    head = {"site": nursery.site, "device": device, "made_at": nursery.clock.text(), "skew_ms": 0}
    return write_saved_file({**head, "events": list(events), **more})


def bring(nursery: Nursery, text: str, as_: Any = None) -> Any:
    """Send a file as the owner's script, or from a paired phone."""
    if as_ is not None:
        return as_.client.post("/api/v1/saved-files", json={"text": text})
    return nursery.call("POST", "/api/v1/saved-files", {"text": text})


def counts(said: Any) -> tuple[int, int, int]:
    assert said.status_code == 200, said.json
    return said.json["stored"], said.json["already"], len(said.json["refused"])


def on_record(nursery: Nursery) -> list[Data]:
    return nursery.call("GET", "/api/v1/events?limit=1000").json["events"]


def test_the_sum_is_crc_32():
    """The check value of CRC-32/ISO-HDLC: RFC 3720 names the polynomial; of the text "123456789" it
    is cbf43926 (Williams 1993, A painless guide to CRC error detection algorithms, section 15)."""
    assert checksum("123456789") == "cbf43926"


def test_the_golden_file_is_read_back_and_written_the_same():
    file, held = read_saved_file(FILE), GOLDEN["held"]
    assert (file.site, file.device, file.skew_ms) == (held["site"], held["device"], -1500)
    assert (file.events, file.refused) == (held["events"], held["refused"])
    assert write_saved_file(held) == FILE
    text = "\n".join(GOLDEN["lines_with_photos"])
    assert read_saved_file(text).photos == GOLDEN["photos"]
    alone = {"events": [], "refused": [], "unreadable": [], "photos": GOLDEN["photos"]}
    assert write_saved_file({**held, **alone}) == text


def test_a_files_pictures_are_kept_after_their_records_and_a_bad_one_holds_up_nothing(
    nursery: Nursery,
):
    octets, other = jpeg(), jpeg(shade=8)
    device = nursery.device()
    lot = device.start_lot()
    event = device.event("photographed", lot, {"sha256": name_of(octets)})
    photos = [
        {"photo": name_of(other), "jpeg": packed(other)},  # no record names it
        {"photo": name_of(octets), "jpeg": "no base64"},
        {"photo": name_of(octets), "jpeg": packed(octets)},
        {"photo": [], "jpeg": None},
    ]
    said = bring(nursery, saved(nursery, device.id, event, photos=photos))
    assert (counts(said), said.json["photos"]) == ((1, 0, 0), 1)
    token = {"Authorization": f"Bearer {nursery.token('viewer')}"}
    found = nursery.client.get(f"/api/v1/photos/{name_of(octets)}", headers=token)
    assert found.data == octets


def packed(octets: bytes) -> str:
    return base64.b64encode(octets).decode()


def test_what_a_mail_program_does_to_line_ends_is_undone():
    through_mail = "\ufeff" + FILE.replace("\n", "\r\n") + "\r\n"
    assert read_saved_file(through_mail) == read_saved_file(FILE)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no file of unsent records"),
        ("date,low_c\n2026-09-10,2\n", "no file of unsent records"),
        ("[" * 5000 + "]" * 5000, "no file of unsent records"),
        ('{"device": "x", "events": []}', "no file of unsent records"),
        (FILE.replace('"form":1', '"form":3'), "of form 3.*up to date"),
        (FILE[: len(FILE) // 2], "cut short.*6 lines"),
        ("\n".join(GOLDEN["lines"][:-2]) + "\n", "cut short"),
        (FILE.replace('"moisture":3', '"moisture":4'), "not as the phone wrote it"),
        ("\n".join(GOLDEN["lines"][:2] + GOLDEN["lines"][3:]), "not as the phone wrote it"),
    ],
)
def test_what_is_no_whole_file_is_refused_in_a_sentence(text: str, says: str):
    with pytest.raises(BadSavedFile, match=f"(?s){says}"):
        read_saved_file(text)


def test_a_file_is_stored_once_under_its_own_numbers_however_often_it_comes(nursery: Nursery):
    device = nursery.device()
    lot = device.start_lot()
    looks = [device.event("looked", lot, {"moisture": 3}) for _ in range(3)]
    device.push(looks[0])  # its answer was lost: the phone still holds it as unsent
    file = saved(nursery, device.id, *looks)
    assert counts(bring(nursery, file)) == (2, 1, 0)
    assert counts(bring(nursery, file)) == (0, 3, 0)
    later = device.event("looked", lot, {"moisture": 2})
    said = device.push(*looks, later)
    assert (len(said["already"]), said["stored"]) == (3, [later["id"]])
    stored = [event for event in on_record(nursery) if event["kind"] == "looked"]
    assert [(event["id"], event["seq"]) for event in stored] == [
        (event["id"], event["seq"]) for event in [*looks, later]
    ]
    assert {event["device"] for event in stored} == {device.id}
    phone = {row["id"]: row for row in nursery.rows("phones")}[device.id]
    assert (phone["gap_since"], phone["cloned_since"]) == (None, None)
    assert nursery.lot(lot)["last_look"]["moisture"] == 2
    assert nursery.differences() == []


def test_a_cut_off_phones_file_is_taken_from_who_may_record_and_says_who_brought_it(
    nursery: Nursery,
):
    lost, bringer = Phone(nursery), Phone(nursery)
    lost.pair(link_for(nursery, "worker", MELE)["link"])
    person = str(uuid.uuid4())
    bringer.pair(link_for(nursery, "worker", person)["link"])
    lot = str(uuid.uuid4())
    lost.record("lot_started", {"crop": "acer-palmatum", "label": "26-017-R"}, lot)
    nursery.call("POST", f"/api/v1/phones/{lost.id}/cut-off", {})
    nursery.clock.forward(hours=1)
    before = {row["id"]: row for row in nursery.rows("phones")}[lost.id]
    look = lost.event("looked", {"moisture": 3}, lot) | {"by": MELE}
    file = saved(nursery, lost.id, look)
    assert bring(nursery, file, lost).status_code == 401
    said = bring(nursery, file, bringer)
    assert counts(said) == (1, 0, 0)
    assert said.json["phone"] == "Mele's phone"
    event = next(one for one in on_record(nursery) if one["id"] == look["id"])
    assert (event["by"], event["device"]) == (MELE, lost.id)
    assert event["brought"] == {"by": person, "from": "file", "aside": True}
    phone = {row["id"]: row for row in nursery.rows("phones")}[lost.id]
    assert phone["last_sync_at"] == before["last_sync_at"], "the phone itself was not in touch"


def test_no_phone_says_of_itself_that_somebody_brought_it(one_nursery: Nursery):
    device = one_nursery.device()
    lot = device.start_lot()
    device.record("looked", lot, {}, brought={"by": MELE, "from": "file"})
    assert not any("brought" in event for event in on_record(one_nursery))


def test_nobody_gets_more_rights_by_a_file_than_its_phone_and_its_bringer_have(
    one_nursery: Nursery,
):
    nursery, worker = one_nursery, Phone(one_nursery)
    worker.pair(link_for(nursery, "worker", MELE)["link"])
    grab = worker.event("person_changed", {"id": MELE, "name": "Mele", "role": "owner"})
    own = Phone(nursery)
    own.pair(link_for(nursery, "owner", str(uuid.uuid4()))["link"])
    name = own.event("person_changed", {"id": str(uuid.uuid4()), "name": "Orla"})
    for file, as_, expected in [
        (saved(nursery, worker.id, grab), None, (0, 0, 1)),
        (saved(nursery, str(uuid.uuid4()), grab), None, (0, 0, 1)),
        (saved(nursery, own.id, name), worker, (0, 0, 1)),
        (saved(nursery, own.id, name), own, (1, 0, 0)),
    ]:
        said = bring(nursery, file, as_)
        assert counts(said) == expected, str(said.json["refused"])
    # Refused when a worker brought it, taken when the owner did: no second phone of that id.
    phone = {row["id"]: row for row in nursery.rows("phones")}[own.id]
    assert phone["cloned_since"] is None


def test_what_was_refused_before_stays_refused_with_its_reason_and_its_number(
    one_nursery: Nursery,
):
    """Its mending, in the same file, is what is stored."""
    device = one_nursery.device()
    lot = device.start_lot()
    bad = device.event("looked", lot, {"moisture": 9})
    mending = device.event("looked", lot, {"moisture": 3}, mends=bad["id"])
    worse = device.event("looked", lot, {"moisture": 8})
    problem = {"title": "A field", "detail": "data.moisture must be 1 to 5.", "status": 422}
    refused = [{"event": bad, "problem": problem}]
    file = saved(one_nursery, device.id, mending, worse, refused=refused, unreadable=[7])
    said = bring(one_nursery, file)
    assert counts(said) == (1, 0, 2)
    first, second = said.json["refused"]
    assert (first["id"], first["kind"], first["problem"]["detail"]) == (
        bad["id"],
        "looked",
        problem["detail"],
    )
    assert "data.moisture" in second["problem"]["detail"]
    phone = {row["id"]: row for row in one_nursery.rows("phones")}[device.id]
    assert (phone["contiguous"], phone["gap_since"]) == (4, None)
    assert phone["refused_since"] is not None, "the second waits to be mended"


def test_files_of_other_nurseries_and_bad_ones_are_refused_and_leave_nothing(
    one_nursery: Nursery,
):
    device = one_nursery.device()
    look = device.event("noted", None, {"text": "frost on the glass"})
    foreign = {"site": str(uuid.uuid4()), "device": device.id, "made_at": "", "skew_ms": 0}
    nameless = {**foreign, "site": None}
    for text, says in [
        (write_saved_file({**foreign, "events": [look]}), "of another nursery"),
        (write_saved_file({**nameless, "events": [look]}), "never let in here"),
        (saved(one_nursery, device.id, look)[:-30], "cut short"),
    ]:
        said = bring(one_nursery, text)
        assert said.status_code == 422
        assert says in said.json["detail"]
        assert said.json["type"].endswith("/saved-file-refused")
    assert on_record(one_nursery) == []


def test_a_thousand_and_more_records_come_in_one_file(nursery: Nursery):
    device = nursery.device()
    notes = [device.event("noted", None, {"text": f"{n}"}) for n in range(1001)]
    assert counts(bring(nursery, saved(nursery, device.id, *notes))) == (1001, 0, 0)


def take(file: Path, folder: Path, *, fails: bool = False) -> str:
    command = [sys.executable, "-m", "lathhouse", "take-file", str(file), "--data", str(folder)]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=120, env=environment(folder)
    )
    assert (done.returncode != 0) == fails, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout + done.stderr


def test_the_command_takes_a_file_while_the_server_runs(tmp_path: Path):
    at = tmp_path / "at"
    nursery = open_nursery(address_for(at / "lathhouse.sqlite"), at, Clock())
    device: Device = nursery.device()
    lot = device.start_lot()
    look, bad = device.event("looked", lot, {}), device.event("looked", lot, {"moisture": 9})
    file = tmp_path / "unsent.jsonl"
    file.write_text(saved(nursery, device.id, look, bad), encoding="utf-8")
    said = take(file, at)
    assert "1 stored, 0 there already, 1 refused" in said
    assert "refused: looked of" in said
    assert "data.moisture" in said
    assert "0 stored, 1 there already, 1 refused" in take(file, at)
    event = next(one for one in on_record(nursery) if one["id"] == look["id"])
    assert event["brought"] == {"by": None, "from": "command"}
    file.write_bytes(b"\xff\xfe nothing")
    assert "no file of unsent records" in take(file, at, fails=True)
    close_nursery(nursery)


def test_a_file_is_worth_no_more_than_its_bringer_whatever_phone_it_says_it_is_of(
    one_nursery: Nursery,
):
    """A worker writes a file as the owner's phone, whose id is in every pull."""
    nursery, anna, mele = one_nursery, str(uuid.uuid4()), str(uuid.uuid4())
    own, worker = Phone(nursery), Phone(nursery)
    own.pair(link_for(nursery, "owner", anna)["link"])
    worker.pair(link_for(nursery, "worker", mele)["link"])
    row = {"id": anna, "name": "Anna", "role": "owner", "email": "anna@nursery.example"}
    assert own.record("person_changed", row).json["stored"]
    lot, far = str(uuid.uuid4()), 9_000_000
    forged = [
        worker.event("person_changed", {**row, "role": role, "email": "mele@elsewhere.example"})
        for role in ("worker", "owner")
    ]
    started = worker.event("lot_started", {"crop": "acer-palmatum", "label": "26-017-R"}, lot)
    note = worker.event("noted", {"text": "all well"}, lot) | {"seq": far}
    words = [event | {"by": anna} for event in (started, note)]
    said = bring(nursery, saved(nursery, own.id, *forged, *words), worker)
    assert counts(said) == (2, 0, 2)
    kept = {person["id"]: person for person in nursery.rows("people")}[anna]
    assert kept.items() >= row.items()
    stored = {event["id"]: event for event in on_record(nursery)}
    for event in words:
        assert stored[event["id"]]["by_said"] is True
        assert stored[event["id"]]["brought"] == {"by": mele, "from": "file", "aside": True}
    # The numbers are no gap of the phone's, and its own next ones no second phone of one id.
    assert own.push(*[own.event("noted", {"text": f"{n}"}) for n in range(3)]).json["stored"]
    phone = {row["id"]: row for row in nursery.rows("phones")}[own.id]
    assert (phone["contiguous"], phone["gap_since"], phone["cloned_since"]) == (4, None, None)


def test_a_dead_phones_file_by_a_colleague_is_stored_once_and_told_whole_by_the_phone_itself(
    one_nursery: Nursery,
):
    nursery, broken, bringer = one_nursery, Phone(one_nursery), Phone(one_nursery)
    broken.pair(link_for(nursery, "worker", MELE)["link"])
    bringer.pair(link_for(nursery, "worker", str(uuid.uuid4()))["link"])
    kept = [broken.event("noted", {"text": f"{n}"}) | {"by": MELE} for n in range(3)]
    file = saved(nursery, broken.id, *kept)
    assert counts(bring(nursery, file, bringer)) == (3, 0, 0)
    said = broken.push(*kept, broken.event("noted", {"text": "alive again"})).json
    assert (len(said["stored"]), len(said["already"]), said["next_seq"]) == (1, 3, 5)
    phone = {row["id"]: row for row in nursery.rows("phones")}[broken.id]
    assert (phone["gap_since"], phone["cloned_since"]) == (None, None)
    # Brought by the same person, a file says for itself whose it is, and its numbers count.
    more = broken.event("noted", {"text": "by my other phone"}) | {"by": MELE}
    second = Phone(nursery)
    second.pair(link_for(nursery, "worker", MELE)["link"])
    assert counts(bring(nursery, saved(nursery, broken.id, more), second)) == (1, 0, 0)
    (event,) = (one for one in on_record(nursery) if one["id"] == more["id"])
    assert "by_said" not in event
    assert broken.push().json["next_seq"] == 6
