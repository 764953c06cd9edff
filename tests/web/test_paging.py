"""Pages of the history, of alerts and of a pull: whole, in order, each thing once, and bounded."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from tests.server import Nursery

PLACES = 1001


def pages(nursery: Nursery, path: str, limit: int) -> Iterator[dict[str, Any]]:
    """Yield every page of the history or of the alerts, as a script that follows on would."""
    after = ""
    while True:
        page = nursery.call("GET", f"/api/v1/{path}&limit={limit}{after}").json
        yield page
        following = page["next"] if "next" in page else page["more"] and page["alerts"][-1]["id"]
        if not following:
            return
        assert re.fullmatch(r"[A-Za-z0-9_-]+", following), "a cursor needs no escaping"
        after = f"&after={following}"


def looked_at(nursery: Nursery, looks: int) -> list[str]:
    """Start a lot and look at it so many times; return the events' ids in order."""
    device = nursery.device()
    lot = device.start_lot()
    stored = device.push(*(device.event("looked", lot, {"moisture": 3}) for _ in range(looks)))
    first = nursery.call("GET", "/api/v1/events?limit=1").json["events"][0]["id"]
    return [first, *stored["stored"]]


def chilled_lots(nursery: Nursery, count: int) -> None:
    """Start lots that have lain in the cold for six weeks with no look: each of them rings."""
    device = nursery.device()
    for n in range(count):
        lot = device.start_lot(label=f"26-{n:03}", at=nursery.clock.text(days=60))
        device.record("cold_started", lot, {"where": "fridge"}, at=nursery.clock.text(days=43))


@pytest.mark.parametrize("limit", [1, 4, 5, 6])
def test_the_history_comes_in_pages_that_lose_and_double_nothing(one_nursery: Nursery, limit: int):
    ids = looked_at(one_nursery, 9)
    assert len(ids) == 10
    found = list(pages(one_nursery, "events?", limit))
    assert [event["id"] for page in found for event in page["events"]] == ids
    assert all(len(page["events"]) <= limit for page in found)
    assert found[-1]["events"], "the last page that is announced is not empty"


def test_a_lots_history_is_its_own_and_pages_like_all(nursery: Nursery):
    looked_at(nursery, 4)
    device = nursery.device()
    lot = device.start_lot(label="26-018-R")
    looks = [device.record("looked", lot, {"moisture": 3}) for _ in range(4)]
    found = [event for page in pages(nursery, f"events?lot={lot}", 2) for event in page["events"]]
    assert [event["kind"] for event in found] == ["lot_started", *["looked"] * 4]
    assert [event["id"] for event in found[1:]] == [look["id"] for look in looks]


def test_what_is_stored_while_somebody_turns_pages_comes_on_a_later_page(nursery: Nursery):
    ids = looked_at(nursery, 3)
    turning = pages(nursery, "events?", 2)
    found = [event["id"] for event in next(turning)["events"]]
    late = nursery.device().record("round_closed", None, {"why": "rain"})
    found += [event["id"] for page in turning for event in page["events"]]
    assert found == [*ids, late["id"]]


def test_alerts_come_in_pages_that_lose_and_double_nothing(nursery: Nursery):
    chilled_lots(nursery, 4)
    whole = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json
    assert whole["more"] is False
    assert len(whole["alerts"]) >= 4
    for limit in (1, 3, len(whole["alerts"])):
        found = list(pages(nursery, "alerts?state=standing", limit))
        assert [alert for page in found for alert in page["alerts"]] == whole["alerts"]
        assert all(0 < len(page["alerts"]) <= limit for page in found)


@pytest.fixture
def many_places(one_nursery: Nursery) -> Nursery:
    """A nursery with more places, and so more events and rows, than any page holds."""
    device = one_nursery.device()
    row = {"name": "Bench", "order": 1, "daily": False, "kind": "bench"}
    places = [
        device.event("place_changed", None, {**row, "id": f"place-{n:04}"}) for n in range(PLACES)
    ]
    device.push(*places[:1000])
    device.push(*places[1000:])
    return one_nursery


def test_limits_above_a_thousand_are_a_thousand_and_those_below_one_are_one(many_places: Nursery):
    for limit, most in (("1000000", 1000), ("9" * 30, 1000), ("0", 1), ("-5", 1)):
        events = many_places.call("GET", f"/api/v1/events?limit={limit}")
        assert (events.status_code, len(events.json["events"])) == (200, most)
        assert events.json["next"]
        rows = many_places.call("GET", f"/api/v1/sync/pull?after=0&limit={limit}")
        assert sum(map(len, rows.json["rows"].values())) == most
        assert rows.json["more"] is True
        assert many_places.call("GET", f"/api/v1/alerts?limit={limit}").status_code == 200
    rest = many_places.call("GET", "/api/v1/events?after=" + last_cursor(many_places)).json
    assert (len(rest["events"]), rest["next"]) == (PLACES - 1000, None)


def last_cursor(nursery: Nursery) -> str:
    cursor: str = nursery.call("GET", "/api/v1/events?limit=5000").json["next"]
    return cursor


def first_alert(nursery: Nursery) -> dict[str, Any]:
    chilled_lots(nursery, 1)
    found = nursery.call("GET", "/api/v1/alerts?limit=1000").json["alerts"]
    alert: dict[str, Any] = next(one for one in found if one["watch"] == "cold-six-weeks")
    return alert


@pytest.mark.parametrize(
    ("act", "body", "kind", "state"),
    [
        ("acknowledge", None, "acknowledged", "acknowledged"),
        ("acknowledge", {"why": "on my way"}, "acknowledged", "acknowledged"),
        ("shelve", {"until": "2026-09-10T18:00:00+10:00", "why": "tonight"}, "shelved", "shelved"),
    ],
)
def test_an_answer_to_an_alert_is_an_event_of_its_lot(
    nursery: Nursery, act: str, body: Any, kind: str, state: str
):
    alert = first_alert(nursery)
    said = nursery.call("POST", f"/api/v1/alerts/{alert['id']}/{act}", body, "worker")
    assert (said.status_code, said.json["state"]) == (200, state)
    history = nursery.call("GET", f"/api/v1/events?lot={alert['lot']}").json["events"]
    written = history[-1]
    assert (written["kind"], written["lot"]) == (kind, alert["lot"])
    assert (written["data"]["alert"], written["data"]["watch"]) == (alert["id"], alert["watch"])
    assert {name: written["data"].get(name) for name in body or {}} == (body or {})
    assert written["observed_at"] == nursery.clock.text()
    assert alert["id"] not in alert_ids(nursery, "open")
    assert alert["id"] in alert_ids(nursery, "standing")
    assert alert["id"] in alert_ids(nursery, state)
    assert nursery.differences() == []


def alert_ids(nursery: Nursery, state: str) -> set[str]:
    found = nursery.call("GET", f"/api/v1/alerts?state={state}&limit=1000").json["alerts"]
    return {alert["id"] for alert in found}


def test_a_shelf_needs_an_end_and_a_reason(nursery: Nursery):
    alert = first_alert(nursery)
    before = nursery.call("GET", "/api/v1/events").json["events"]
    for body in ({}, {"why": "later"}, {"until": "2026-09-12"}, {"until": "soon", "why": "x"}):
        said = nursery.call("POST", f"/api/v1/alerts/{alert['id']}/shelve", body)
        assert (said.status_code, said.content_type) == (422, "application/problem+json")
    assert nursery.call("GET", "/api/v1/events").json["events"] == before
