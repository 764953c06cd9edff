"""The door for sensors: readings become the log's own events, once each, and watch the fridge."""

import uuid
from typing import Any

import pytest

from tests.server import Nursery

PATH = "/api/v1/readings"


@pytest.fixture
def fridge(nursery: Nursery) -> tuple[Nursery, str]:
    """A nursery with a fridge in which a lot lies."""
    device = nursery.device()
    place = str(uuid.uuid4())
    row = {"id": place, "name": "Shed fridge", "kind": "chamber", "order": 1, "daily": False}
    device.record("place_changed", None, row, at=nursery.clock.text(days=60))
    lot = device.start_lot(place=place, at=nursery.clock.text(days=50))
    device.record("cold_started", lot, {"where": "fridge"}, at=nursery.clock.text(days=20))
    device.record("looked", lot, {}, at=nursery.clock.text(days=1))
    return nursery, place


def send(nursery: Nursery, body: Any, role: str = "sensor") -> Any:
    return nursery.call("POST", PATH, body, role=role)


def every_quarter_hour(nursery: Nursery, place: str, temps: list[float]) -> None:
    """Read a place every quarter of an hour up to now, the last reading now."""
    readings = [
        {
            "place": place, "quantity_kind": "temp_c", "value": temp,
            "read_at": nursery.clock.text(minutes=15 * (len(temps) - 1 - n)),
        }
        for n, temp in enumerate(temps)
    ]  # fmt: skip
    said = send(nursery, {"readings": readings}).json
    assert said["refused"] == []


def test_a_reading_is_an_event_of_the_log_and_one_sent_again_counts_once(
    fridge: tuple[Nursery, str],
):
    nursery, place = fridge
    one = {"place": place, "quantity_kind": "temp_c", "value": 4.2}
    one["read_at"] = nursery.clock.text(minutes=5)
    first, second = send(nursery, one).json, send(nursery, one).json
    assert len(first["stored"]) == 1
    assert (second["stored"], second["already"]) == ([], first["stored"])
    events = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    read = [event for event in events if event["kind"] == "read"]
    assert [event["data"]["value"] for event in read] == [4.2]
    assert read[0]["data"]["by_sensor"] == "sensor's script"
    (sensor,) = [row for row in nursery.rows("phones") if row["name"] == "sensor's script"]
    assert (read[0]["device"], read[0]["seq"]) == (sensor["id"], 1)
    (row,) = [row for row in nursery.rows("places") if row["id"] == place]
    assert row["last_read"]["temp_c"]["value"] == 4.2
    assert row["temps"]["recent"][-1][1] == 4.2
    assert nursery.differences() == []


def test_an_id_of_the_loggers_own_counts_once_whenever_it_comes(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    one = {"place": place, "value": 4.2, "id": str(uuid.uuid4())}
    assert send(nursery, one).json["stored"] == [one["id"]]
    nursery.clock.forward(minutes=9)
    assert send(nursery, one).json["already"] == [one["id"]]
    other = send(nursery, {**one, "value": 7})
    assert (other.status_code, other.json["type"].endswith("/id-taken")) == (409, True)
    assert nursery.differences() == []


def test_one_without_id_or_time_sent_again_within_a_minute_counts_once(
    fridge: tuple[Nursery, str],
):
    """A minute is ours: a logger that tries again does so at once, and reads less often."""
    nursery, place = fridge
    nursery.clock.set("2026-09-10T08:40:50+10:00")
    one = {"place": place, "value": 4.2}
    first = send(nursery, one).json["stored"]
    for seconds in (5, 54):
        nursery.clock.forward(seconds=seconds)
        said = send(nursery, one).json
        assert (said["stored"], said["already"]) == ([], first)
    assert len(send(nursery, {**one, "value": 4.3}).json["stored"]) == 1
    nursery.clock.forward(seconds=1)
    assert len(send(nursery, one).json["stored"]) == 1
    assert nursery.differences() == []


def test_two_values_of_one_sensor_at_one_time_are_never_merged(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    one = {"place": place, "value": 4.2, "read_at": nursery.clock.text(minutes=5)}
    said = send(nursery, {"readings": [one, {**one, "value": 9}, one]}).json
    assert (len(said["stored"]), [each["index"] for each in said["refused"]]) == (1, [1])
    (row,) = [row for row in nursery.rows("places") if row["id"] == place]
    assert row["last_read"]["temp_c"]["value"] == 4.2


def test_a_logger_that_was_offline_sends_its_memory_late_and_leaves_no_gap(
    fridge: tuple[Nursery, str],
):
    """Out of order, in two pieces: the row is the same as if each had come at its time."""
    nursery, place = fridge
    times = [nursery.clock.text(minutes=15 * n) for n in range(40)]
    readings = [
        {"place": place, "value": 4 + n % 3 / 10, "read_at": at} for n, at in enumerate(times)
    ]
    for piece in (readings[:20], readings[20:]):
        assert send(nursery, {"readings": piece}).json["refused"] == []
    (row,) = [row for row in nursery.rows("places") if row["id"] == place]
    assert row["last_read"]["temp_c"]["at"] == times[0]
    assert sum(bucket[4] for bucket in row["hours"]) == 40
    (sensor,) = [row for row in nursery.rows("phones") if row["name"] == "sensor's script"]
    assert sensor["gap_since"] is None
    assert nursery.differences() == []


def test_freezing_seed_comes_before_everything(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    every_quarter_hour(nursery, place, [4, -0.5, -0.5])
    nursery.tick()
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    (band,) = [alert for alert in found if alert["watch"] == "chamber-band"]
    assert (band["level"], band["priority"]) == ("alarm", 1)
    assert "freezes" in band["says"]


def test_a_place_may_be_named_and_a_time_left_out(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    assert len(send(nursery, {"place": "shed fridge", "value": 3.9}).json["stored"]) == 1
    (row,) = [row for row in nursery.rows("places") if row["id"] == place]
    assert row["last_read"]["temp_c"] == {
        "value": 3.9, "at": nursery.clock.text(), "for_night_of": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": 400}, "-60 to 60"),
        ({"value": "warm"}, "number"),
        ({"place": "nowhere"}, "Shed fridge"),
        ({"quantity_kind": "smell"}, "one of"),
        ({"read_at": "yesterday"}, "UTC offset"),
        ({"read_at": "2099-01-01T00:00:00Z"}, "a day ahead"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    fridge: tuple[Nursery, str], change: dict[str, Any], says: str
):
    nursery, place = fridge
    answer = send(nursery, {"place": place, "value": 4, **change})
    assert answer.status_code == 422
    assert says in answer.json["detail"]


def test_one_bad_reading_of_many_holds_up_nothing(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    readings = [{"place": place, "value": 400}, {"place": place, "value": 4}, "odd"]
    said = send(nursery, {"readings": readings}).json
    assert len(said["stored"]) == 1
    assert [one["index"] for one in said["refused"]] == [0, 2]
    assert nursery.alerts().keys() & {"record-gap"} == set()


def test_a_sensors_token_opens_no_other_door(fridge: tuple[Nursery, str]):
    nursery, _ = fridge
    assert nursery.call("GET", "/api/v1/sync/pull?after=0", role="sensor").status_code == 403
    assert nursery.call("GET", "/api/v1/events", role="sensor").status_code == 403
    assert nursery.call("POST", PATH, {"value": 4}, role="viewer").status_code == 403
    assert nursery.call("POST", PATH, {"value": 4}, role=None).status_code == 401


def test_an_opened_door_rings_nobody(fridge: tuple[Nursery, str]):
    """A quarter of an hour of warm air while a bag is taken out."""
    nursery, place = fridge
    every_quarter_hour(nursery, place, [4, 4, 4, 9.5, 4.2, 4, 4])
    nursery.tick()
    assert "chamber-band" not in nursery.alerts()


def test_one_fridge_out_of_its_band_is_one_alert_and_clears_well_inside_it(
    fridge: tuple[Nursery, str],
):
    """Band 1-5 °C: Chong and others, Handbook of Plant and Crop Physiology, table 3."""
    nursery, place = fridge
    device = nursery.device()
    for _ in range(5):
        device.start_lot(place=place)
    every_quarter_hour(nursery, place, [4, 6, 6, 6, 6, 6])
    nursery.tick()
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    assert [(a["watch"], a["level"]) for a in found if a["watch"] == "chamber-band"] == [
        ("chamber-band", "late")
    ]
    # At the very edge nothing chatters: it clears after half an hour well inside.
    for temps in ([4.9], [4.4], [4.4], [4.4]):
        nursery.clock.forward(minutes=15)
        every_quarter_hour(nursery, place, temps)
        nursery.tick()
    assert "chamber-band" not in nursery.alerts()


def test_a_silent_probe_is_noticed(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    every_quarter_hour(nursery, place, [4])
    for hours, level in ((1.9, None), (0.1, "due"), (4.0, "late"), (6.0, "alarm")):
        nursery.clock.forward(hours=hours)
        nursery.tick()
        assert nursery.alerts().get("chamber-silent") == level
    every_quarter_hour(nursery, place, [4])
    assert "chamber-silent" not in nursery.alerts()


def test_an_odd_quantity_holds_up_no_other_reading(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    good = {"place": place, "value": 4, "read_at": nursery.clock.text(minutes=1)}
    odd = [{**good, "quantity_kind": kind} for kind in ("\ud800", ["temp_c"], None)]
    said = send(nursery, {"readings": [*odd, good]})
    assert said.status_code == 200
    assert len(said.json["stored"]) == 1
    assert [one["index"] for one in said.json["refused"]] == [0, 1, 2]


def test_what_is_refused_is_not_said_to_be_on_record(fridge: tuple[Nursery, str]):
    nursery, place = fridge
    one = {"place": place, "value": 4, "read_at": nursery.clock.text(minutes=1)}
    send(nursery, one)
    said = send(nursery, {"readings": [{**one, "value": 9.5}, {**one, "value": 8}]}).json
    assert (said["stored"], said["already"]) == ([], [])
    assert len(said["refused"]) == 2
