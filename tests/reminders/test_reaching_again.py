"""What must be told although something came in between: colder, undone, asleep, switched off."""

from typing import Any

import pytest

from lathhouse.reminders.sender import send_due
from tests.reminders.carried import Phone, Told

pytest_plugins = ["tests.reminders.carried"]


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


def heard_by(told: Told, phone: Phone) -> int:
    return sum(path == f"/{phone.id}" for path, _, _ in told.service.heard)


def test_what_was_undone_before_it_went_is_told_when_it_is_true_after_all(told: Told):
    """And once more it is undone and true after all: told already, it is not told again."""
    told.carried("Dev")
    told.nursery.clock.set("2026-09-10T20:30:00+10:00")
    lot = told.soaking(24.1)
    told.turn(minutes=1)
    told.nursery.clock.set("2026-09-11T06:30:00+10:00")
    drained = told.writer.record("soak_ended", lot, {})
    assert told.turn(minutes=31) == 0
    assert [(row["state"], row["why"]) for row in told.log()] == [("not_sent", "cleared")]
    told.writer.record("voided", None, {"of": drained["id"]})
    assert [told.turn(seconds=30), told.turn(minutes=5)] == [1, 0]
    drained = told.writer.record("soak_ended", lot, {})
    told.turn(minutes=1)
    told.writer.record("voided", None, {"of": drained["id"]})
    assert told.turn(minutes=10) == 0
    assert len(told.service.heard) == 1


def test_i_have_it_taken_back_lets_the_next_person_be_told_and_the_first_not_again(told: Told):
    orla, first = told.carried("Orla", "owner", order=1)
    _, second = told.carried("Dev", order=2)
    lot = told.soaking(25)
    told.turn(seconds=30)
    mine = told.writer.record("acknowledged", lot, {"watch": "soak-over"}, by=orla)
    assert told.turn(minutes=31) == 0
    told.writer.record("voided", None, {"of": mine["id"]})
    assert told.turn(minutes=29) == 0
    assert told.turn(minutes=1) == 1
    assert (heard_by(told, first), heard_by(told, second)) == (1, 1)


@pytest.mark.parametrize("told_before", [False, True])
def test_left_until_later_and_taken_back_is_told_once_and_not_at_that_time(
    told: Told, told_before: bool
):
    told.carried("Orla", "owner")
    lot = told.soaking(25)
    assert told.turn(seconds=30 if told_before else 1) == told_before
    until = told.nursery.clock.text(hours=-6)
    left = told.writer.record("shelved", lot, {"watch": "soak-over", "until": until, "why": "-"})
    assert told.turn(minutes=1) == 0
    told.writer.record("voided", None, {"of": left["id"]})
    assert told.turn(minutes=1) == (not told_before)
    assert [told.turn(hours=6), told.turn(minutes=1)] == [0, 0]
    assert len(told.service.heard) == 1
