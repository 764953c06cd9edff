"""The push's door: bounds on what is sent, gzip both ways, hostile items each by themselves."""

import gzip
import json
import sqlite3
import uuid
from pathlib import Path
from typing import Any

import pytest

from lathhouse.settings import BODY_MAX_BYTES
from lathhouse.store import engine
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery
from tests.web.samples import LOT, RIGHT, event

PROBLEM = "application/problem+json"
PUSH = "/api/v1/sync/push"


def send(nursery: Nursery, body: bytes | str, role: str = "worker", **headers: str) -> Any:
    """Push raw bytes, as a script that gets something wrong would."""
    names = {name.replace("_", "-"): value for name, value in headers.items()}
    names |= {"Authorization": f"Bearer {nursery.token(role)}"}
    return nursery.client.post(PUSH, data=body, headers=names, content_type="application/json")


def batch(*events: Any, device: str | None = None) -> str:
    return json.dumps({"device": device or str(uuid.uuid4()), "events": events})


def is_problem(said: Any, status: int) -> bool:
    return (
        (said.status_code, said.content_type) == (status, PROBLEM)
        and {"type", "title", "status", "detail"} <= said.json.keys()
        and said.json["status"] == status
        and said.json["detail"].endswith(".")
    )


def test_one_of_every_kind_is_stored_over_http_and_comes_back_as_it_was(nursery: Nursery):
    events = [event(kind, samples[0]) for kind, samples in RIGHT.items()]
    for seq, one in enumerate(events, 1):
        one["seq"] = seq
        if one["kind"] == "nursery_changed":
            one["data"]["id"] = nursery.site
    said = send(nursery, batch(*events), "owner")
    assert said.status_code == 200
    assert said.json["refused"] == []
    assert said.json["stored"] == [one["id"] for one in events]
    history = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    for one, kept in zip(events, history, strict=True):
        assert one.items() <= kept.items()
    assert nursery.differences() == []


def test_a_thousand_events_are_taken_at_once_and_each_has_its_verdict(nursery: Nursery):
    events = [event("looked", {"moisture": 3}, seq=n) for n in range(1, 1001)]
    body = batch(*events)
    said = send(nursery, body).json
    assert (len(said["stored"]), said["next_seq"]) == (1000, 1001)
    again = send(nursery, body).json
    assert (again["stored"], len(again["already"])) == ([], 1000)


def test_one_more_than_a_thousand_is_413_in_words_and_nothing_is_kept(one_nursery: Nursery):
    said = send(one_nursery, batch(*[event("looked", {})] * 1001))
    assert is_problem(said, 413)
    assert "at most 1,000 events, not 1,001" in said.json["detail"]
    assert one_nursery.call("GET", "/api/v1/events").json["events"] == []


def test_the_same_event_twice_in_one_batch_is_stored_once(nursery: Nursery):
    one = event("looked", {"moisture": 3})
    said = send(nursery, batch(one, one)).json
    assert (said["stored"], said["already"]) == ([one["id"]], [one["id"]])


def test_f06_one_bad_event_of_any_sort_holds_up_nothing(nursery: Nursery):
    """FAULTS F6: each item has its own verdict; the good one behind them all is stored."""
    hostile: list[Any] = [
        None, 5, "looked", [], {}, [[]],
        event("looked", {}, id="\0"),
        event("looked", {}, id="".join(str(uuid.uuid4()) for _ in range(300))),
        event("looked", {}, id=5),
        event("looked", {}, id="\ud800"),
        event("looked", {"moisture": 10**400}),
        event("looked", {}, seq=10**30),
        event("looked", {}, observed_at="0000-01-01T00:00:00Z"),
        event("looked", {}, clock={"skew_ms": -1e300}),
        event("moved", {"place": "a\0b"}),
        event("voided", {"of": "\0"}, lot=None),
        event("nursery_changed", {"id": "n", "timezone": "No/Where", "working_days": []}, lot=None),
    ]  # fmt: skip
    good = event("looked", {"note": "\0 \ud800 😀", "unheard_of": {"\ud800": "\0"}}, seq=2)
    said = send(nursery, batch(*hostile, good))
    assert said.status_code == 200
    assert said.json["stored"] == [good["id"]]
    assert len(said.json["refused"]) == len(hostile)
    assert all(item["problem"]["detail"].endswith(".") for item in said.json["refused"])
    kept = nursery.call("GET", "/api/v1/events").json["events"]
    assert kept[0]["data"] == good["data"]


def test_a_number_beyond_all_bounds_is_one_refusal(nursery: Nursery):
    text = batch(event("looked", {"temp_c": 7}), event("sung", {"x": 7}), event("noted", {}))
    said = send(nursery, text.replace(": 7", ": 1e999"))
    assert said.status_code == 200
    assert len(said.json["refused"]) == 3


def test_a_clock_beyond_all_bounds_is_left_alone(nursery: Nursery):
    one = event("looked", {}, clock={"skew_ms": 7})
    assert send(nursery, batch(one).replace(": 7", ": 1e999")).json["stored"] == []
    assert send(nursery, batch({**one, "clock": "odd"})).json["stored"] == [one["id"]]


@pytest.mark.parametrize(
    "body",
    [
        "", "{", "nonsense", "null", "[]", '"events"', "9" * 5000, '{"events": [NaN]}',
        '{"events": [Infinity]}', "[" * 100_000, '{"a":' * 100_000, b"\xff\xfe", b"\x80{}",
        '{"x":' + "[" * 64 + "]" * 64 + "}", '{"x":' + "[" * 900 + "]" * 900 + "}",
    ],
    ids=lambda body: repr(body[:12]),
)  # fmt: skip
def test_what_cannot_be_read_is_400(same_nursery: Nursery, body: Any):
    said = send(same_nursery, body)
    assert is_problem(said, 400), said.json


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({}, "device must be a UUID"),
        ({"device": 5}, "device must be a UUID"),
        ({"device": LOT}, "events must be a list"),
        ({"device": LOT, "events": {"id": 1}}, "events must be a list"),
    ],
)
def test_a_push_of_the_wrong_shape_is_422(same_nursery: Nursery, body: Any, says: str):
    said = send(same_nursery, json.dumps(body))
    assert is_problem(said, 422)
    assert says in said.json["detail"]


def test_a_body_over_the_limit_is_413(same_nursery: Nursery):
    said = send(same_nursery, b" " * (BODY_MAX_BYTES + 1))
    assert is_problem(said, 413)
    assert "16,777,216 bytes" in said.json["detail"]


def test_a_body_at_the_limit_is_read(one_nursery: Nursery):
    text = batch(event("looked", {}))
    said = send(one_nursery, text + " " * (BODY_MAX_BYTES - len(text)))
    assert said.status_code == 200


def test_a_gzipped_push_is_taken(nursery: Nursery):
    one = event("looked", {"moisture": 3})
    said = send(nursery, gzip.compress(batch(one).encode()), Content_Encoding="gzip")
    assert said.json["stored"] == [one["id"]]


def test_a_thousand_events_fit_one_gzipped_push_and_come_back_as_they_were(nursery: Nursery):
    looks = [event("looked", {"moisture": 1 + n % 5}, seq=n) for n in range(1, 1001)]
    packed = gzip.compress(batch(*looks).encode())
    said = send(nursery, packed, Content_Encoding="gzip")
    assert (said.status_code, said.json["stored"]) == (200, [look["id"] for look in looks])
    kept = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    assert [one["data"] for one in kept] == [look["data"] for look in looks]


@pytest.mark.parametrize("spaces", [BODY_MAX_BYTES + 1, 8 * BODY_MAX_BYTES])
def test_a_small_body_that_unpacks_to_a_huge_one_is_413(same_nursery: Nursery, spaces: int):
    packed = gzip.compress(b" " * spaces, 1)
    assert len(packed) < 1_000_000
    assert is_problem(send(same_nursery, packed, Content_Encoding="gzip"), 413)


@pytest.mark.parametrize(
    "body",
    [b"", b"{}", gzip.compress(b"{}")[:-4], gzip.compress(b"{}") + b"x",
     gzip.compress(b"{}") + gzip.compress(b"{}")],
    ids=["nothing", "plain", "cut short", "with a tail", "two pieces"],
)  # fmt: skip
def test_what_only_says_that_it_is_gzip_is_400(same_nursery: Nursery, body: bytes):
    assert is_problem(send(same_nursery, body, Content_Encoding="gzip"), 400)


def test_another_packing_is_415_and_says_what_is_taken(same_nursery: Nursery):
    said = send(same_nursery, b"{}", Content_Encoding="br")
    assert is_problem(said, 415)
    assert said.headers["Accept-Encoding"] == "gzip"


def test_a_long_answer_is_gzipped_for_whoever_takes_it(same_nursery: Nursery):
    headers = {"Authorization": f"Bearer {same_nursery.token('owner')}"}
    pull = "/api/v1/sync/pull?after=0"
    plain = same_nursery.client.get(pull, headers=headers)
    packed = same_nursery.client.get(pull, headers={**headers, "Accept-Encoding": "gzip, br"})
    refuses = {**headers, "Accept-Encoding": "gzip;q=0, identity"}
    assert packed.headers["Content-Encoding"] == "gzip"
    assert packed.headers["Vary"] == "Accept-Encoding"
    assert json.loads(gzip.decompress(packed.data)) == plain.json
    assert len(packed.data) < len(plain.data) / 2
    assert "Content-Encoding" not in same_nursery.client.get(pull, headers=refuses).headers
    short = same_nursery.client.get("/health", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in short.headers


def test_a_sensor_may_not_slip_a_look_in_among_its_readings(one_nursery: Nursery):
    reading = event("read", {"quantity_kind": "temp_c", "value": 4}, lot=None)
    body = {"device": LOT, "events": [reading, event("looked", {})]}
    said = one_nursery.call("POST", PUSH, body, "sensor")
    assert is_problem(said, 403)
    assert one_nursery.call("GET", "/api/v1/events").json["events"] == []


def test_an_offer_has_bounds_and_takes_odd_ids_for_missing(nursery: Nursery):
    offered = ["\0", "\ud800", LOT]
    said = nursery.call("POST", "/api/v1/sync/offer", {"device": LOT, "ids": offered})
    assert said.json == {"missing": offered}
    for ids in (["x"] * 10_001, [5], "all", None):
        wrong = nursery.call("POST", "/api/v1/sync/offer", {"device": LOT, "ids": ids})
        assert is_problem(wrong, 422)


@pytest.mark.parametrize("path", ["sync/pull", "events", "alerts"])
def test_a_limit_that_is_no_number_is_refused_in_words(same_nursery: Nursery, path: str):
    said = same_nursery.call("GET", f"/api/v1/{path}?limit=lots")
    assert is_problem(said, 422)
    assert said.json["detail"].startswith("limit must be a whole number such as ")


NOT_OUR_CURSORS = (
    "sync/pull?after=zzzz", "sync/pull?after=WzFlOTk5LCIiLCIiXQ", "events?after=zzzz",
    "sync/pull?after=Wzk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5LCIiLCIiXQ",
    "sync/pull?after=WzEsIlx1MDAwMCIsIiJd", "sync/pull?after=WzEsIlx1ZDgwMCIsIiJd",
    "events?after=cDk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5", "events?after=cC01",
    "alerts?state=furious",
)  # fmt: skip
NULS = (
    ("GET", "events?lot=%00"), ("GET", "events?after=%00"), ("GET", "alerts?after=%00"),
    ("GET", "alerts?state=%00"), ("GET", "sync/pull?after=%00"), ("GET", "crops/%00"),
    ("POST", "alerts/%00/acknowledge"), ("POST", "alerts/%00/shelve"),
)  # fmt: skip


def test_a_cursor_that_is_not_ours_is_refused(nursery: Nursery):
    for path in NOT_OUR_CURSORS:
        assert is_problem(nursery.call("GET", f"/api/v1/{path}"), 422), path


def test_a_nul_in_an_address_is_400(nursery: Nursery):
    for method, path in NULS:
        body = {"until": "2026-09-12", "why": "x"} if method == "POST" else None
        assert is_problem(nursery.call(method, f"/api/v1/{path}", body), 400), path


def test_f26_a_count_of_a_lot_that_another_phone_closed_meanwhile_is_kept(nursery: Nursery):
    """FAULTS F26: what somebody counted offline is a fact, and stays on record with its lot."""
    shed, field = nursery.device(), nursery.device()
    lot = shed.start_lot(at=nursery.clock.text(days=30))
    counted = field.event("counted", lot, {"emerged": 12, "out_of": 50})
    shed.record("lot_closed", lot, {"why": "thrown out"}, at=nursery.clock.text(hours=2))
    said = field.push(counted)
    assert (said["stored"], said["refused"]) == ([counted["id"]], [])
    row = nursery.lot(lot)
    assert row is not None
    assert (row["stage"], row["emerged"]["count"]) == ("closed", 12)
    assert nursery.differences() == []


@pytest.mark.about_sqlite("one writer at a time: its file's lock, and the turn of its writers")
def test_a_writer_that_hangs_is_waited_for_within_bounds_and_the_rest_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Another process holds the file, and another thread the turn. The bounds are ours."""
    monkeypatch.setattr(engine, "BUSY_SECONDS", 0.05)
    monkeypatch.setattr(engine, "TURN_SECONDS", 0.05)
    file = tmp_path / "l.sqlite"
    nursery = open_nursery(address_for(file), tmp_path / "data", Clock())
    body = batch(event("lot_started", RIGHT["lot_started"][0]))
    nursery.token("worker")
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    in_file = send(nursery, body)
    other.close()
    with engine.SQLITE_WRITERS:
        in_turn = send(nursery, body)
        assert nursery.call("GET", "/health", role=None).status_code == 200
    for said in (in_file, in_turn):
        assert is_problem(said, 503)
        assert said.headers["Retry-After"] == str(engine.COME_AGAIN_SECONDS)
    assert len(send(nursery, body).json["stored"]) == 1
    close_nursery(nursery)
