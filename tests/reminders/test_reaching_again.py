"""What must be told although something came in between: colder, undone, asleep, switched off."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lathhouse.reminders.sender import send_due
from tests.reminders.carried import Told
from tests.reminders.endpoint import Service, push_service
from tests.server import Nursery


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with push_service(tmp_path) as running:
        yield running


@pytest.fixture
def told(sqlite_nursery: Nursery, service: Service) -> Told:
    return Told(sqlite_nursery, service)


def send_alone(told: Told, **later: float) -> int:
    """Let time pass and the sender have its turn before the alert clock has one."""
    told.nursery.clock.forward(**later)
    with told.nursery.app.app_context():
        return send_due(told.nursery.site, told.ways, told.nursery.clock)


def only_alert(told: Told) -> dict[str, Any]:
    (alert,) = told.nursery.call("GET", "/api/v1/alerts?state=standing").json["alerts"]
    assert isinstance(alert, dict)
    return alert


def test_a_fridge_long_out_that_begins_to_freeze_wakes_who_agreed(told: Told):
    """It is an alarm of priority 2 by then, and stays an alarm: the priority alone rises."""
    fridge = told.place("Shed fridge", kind="chamber", chamber={"low_c": 1, "high_c": 5})
    told.carried("Orla", "owner", order=1, agreed_to_wake=True)
    told.nursery.clock.set("2026-09-10T17:00:00+10:00")
    for temp_c in [0.5] * 48 + [-2.0] * 6:
        read = {"place": fridge, "quantity_kind": "temp_c", "value": temp_c}
        told.writer.record("read", None, read)
        told.turn(minutes=10)
    (heard,) = [row for row in told.log() if row["state"] == "taken"]
    assert (heard["about"]["level"], heard["about"]["priority"]) == ("alarm", 1)


def test_what_was_left_until_now_is_told_though_the_clock_comes_after_the_sender(told: Told):
    told.carried("Orla", "owner")
    told.soaking(25)
    told.turn(seconds=30)
    left = {"until": told.nursery.clock.text(hours=-6), "why": "it needs longer"}
    told.nursery.call("POST", f"/api/v1/alerts/{only_alert(told)['id']}/shelve", left)
    assert send_alone(told, hours=6, seconds=1) == 1
    assert [told.turn(seconds=5) for _ in range(3)] == [0, 0, 0]
    assert len(told.service.heard) == 2
