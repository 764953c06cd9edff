"""What is asked again as a message leaves: at this hour, to this person, on which phones."""

import json
import uuid
from collections.abc import Callable
from typing import Any

import pytest

from lathhouse.domain.instants import parse_instant
from lathhouse.reminders import sender
from lathhouse.reminders.nightly import Nightly
from tests.reminders.carried import Phone, Told

pytest_plugins = ["tests.reminders.carried"]


def asked(told: Told) -> list[str]:
    """Return which phones the service was asked for, in order."""
    return [path[1:] for path, _, _ in told.service.heard]


def test_what_is_tried_again_in_quiet_hours_waits_for_the_morning(told: Told):
    told.carried("Dev")
    told.nursery.clock.set("2026-09-10T19:57:00+10:00")
    told.service.answers[:] = [(503, {})] * 2
    told.soaking(24.1)
    assert [told.turn(seconds=30), told.turn(minutes=1)] == [1, 1]
    # The next try, five minutes on, is past eight.
    assert [told.turn(minutes=5), told.turn(hours=1)] == [0, 0]
    (row,) = told.log()
    assert (row["state"], row["message"]) == ("waiting", None)
    assert parse_instant(row["due_at"]) == parse_instant("2026-09-11T07:00:00+10:00")
    told.nursery.clock.set("2026-09-11T07:00:00+10:00")
    assert told.turn() == 1


def test_what_goes_late_since_the_server_was_off_waits_for_the_end_of_quiet_hours(told: Told):
    """Due at ten to eight in the evening; the server is started again at two."""
    told.carried("Dev")
    told.nursery.clock.set("2026-09-12T19:50:00+10:00")
    told.soaking(24.1)
    told.nursery.clock.set("2026-09-13T02:00:00+10:00")
    assert told.turn() == 0
    # A Sunday: priority 1 knows no days off.
    told.nursery.clock.set("2026-09-13T07:00:00+10:00")
    assert told.turn() == 1


def wants_none(told: Told, person: str, phone: Phone) -> None:
    said = {"id": person, "name": "Dev", "reach": {"push": False}}
    told.writer.record("person_changed", None, said)


def stops(told: Told, person: str, phone: Phone) -> None:
    (own,) = phone.call("GET", "/api/v1/reminders").json["subscriptions"]
    assert phone.call("DELETE", f"/api/v1/reminders/subscriptions/{own}").status_code == 200


def is_cut_off(told: Told, person: str, phone: Phone) -> None:
    assert told.nursery.call("POST", f"/api/v1/phones/{phone.id}/cut-off", {}).status_code == 200


@pytest.mark.parametrize("change", [wants_none, stops, is_cut_off])
def test_who_is_reached_no_more_is_sent_nothing_and_the_log_says_why(
    told: Told, change: Callable[[Told, str, Phone], None]
):
    person, phone = told.carried("Dev")
    told.nursery.clock.set("2026-09-10T20:30:00+10:00")
    told.soaking(25)
    told.turn(minutes=1)
    change(told, person, phone)
    told.nursery.clock.set("2026-09-11T07:00:00+10:00")
    assert told.turn() == 0
    (row,) = [row for row in told.log() if row["about"]["level"] == "due"]
    assert (row["state"], row["why"]) == ("not_sent", "off")
    assert told.service.heard == []


def test_of_two_phones_the_busy_one_is_asked_again_and_the_other_is_not(told: Told):
    told.carried("Orla", "owner", order=1)
    dev, _ = told.carried("Dev", order=2)
    Phone(told.nursery, "worker", dev).subscribe(told.service)
    told.service.answers[:] = [(201, {}), (503, {}), (201, {}), (201, {})]
    told.soaking(25)
    told.turn(seconds=30)
    assert told.turn(minutes=30) == 1
    _, busy, _ = asked(told)
    (row,) = [row for row in told.log() if row["to_name"] == "Dev"]
    assert (row["state"], row["phones"]) == ("waiting", {"asked": 2, "taken": 1})
    assert told.turn(minutes=1) == 1
    assert asked(told)[3:] == [busy]
    (row,) = [row for row in told.log() if row["to_name"] == "Dev"]
    assert (row["state"], row["phones"]) == ("taken", {"asked": 2, "taken": 2})
    assert told.turn(hours=1) == 0
    # Dev was told once, with the first of the two.
    (alert,) = told.nursery.call("GET", "/api/v1/alerts?state=open").json["alerts"]
    assert [step["to"] for step in alert["history"] if step["what"] == "handed_on"] == [dev]


def test_what_one_phone_has_is_taken_though_the_other_stays_busy_until_nobody_need_know(told: Told):
    person, _ = told.carried("Orla", "owner")
    Phone(told.nursery, "owner", person).subscribe(told.service)
    told.service.answers[:] = [(201, {}), (503, {})]
    lot = told.soaking(25)
    told.turn(seconds=30)
    told.writer.record("soak_ended", lot, {})
    assert told.turn(minutes=1) == 0
    assert [(row["state"], row["why"]) for row in told.log()] == [("taken", None)]


def test_one_test_waits_at_a_time_and_goes_after_the_alarms(told: Told):
    _, phone = told.carried("Orla", "owner")
    ids = {phone.call("POST", "/api/v1/reminders/test", {}).json["id"] for _ in range(5)}
    assert len(ids) == 1
    told.soaking(25)
    assert told.turn(seconds=30) == 2
    bodies = [json.loads(phone.browser.open(body)) for _, _, body in told.service.heard]
    assert [one["title"] for one in bodies] == ["Nursery: 1 due", "Lathhouse: a test"]
    assert phone.call("POST", "/api/v1/reminders/test", {}).json["id"] not in ids


def test_the_log_is_kept_400_days_and_what_waits_for_ever(told: Told):
    """The time is ours; the nightly work does it, once a backup holds what is taken out."""
    _, phone = told.carried("Orla", "owner")
    phone.call("POST", "/api/v1/reminders/test", {})
    told.turn(seconds=1)
    phone.call("POST", "/api/v1/reminders/test", {})
    night = Nightly(told.nursery.app, told.nursery.site, told.folder(), told.nursery.clock)
    kept = []
    for days in (399, 2):
        told.nursery.clock.forward(days=days)
        with told.nursery.app.app_context():
            assert night.look() is not None
        kept.append([row["state"] for row in told.log()])
    assert kept == [["taken", "waiting"], ["waiting"]]


def test_after_an_outage_priority_1_goes_before_what_has_waited_longer(told: Told):
    """A place that nobody walked since morning, and a soak that came to its end an hour ago."""
    told.carried("Orla", "owner", works=[1, 2, 3, 4, 5, 6])
    start = told.nursery.clock.text(days=15)
    lot, said = str(uuid.uuid4()), {"crop": "cornus-kousa", "label": "26-001-A", "quantity": 900,
                                    "unit": "seeds"}  # fmt: skip
    cold = [("lot_started", said), ("cold_started", {"where": "fridge", "temp_c": 4})]
    told.writer.push(*[told.writer.event(kind, lot, data, at=start) for kind, data in cold])
    told.nursery.tick()
    told.nursery.clock.forward(hours=1)
    told.soaking(24.1)
    told.nursery.tick()
    due = sorted((row["due_at"], row["about"]["priority"]) for row in told.log())
    assert due[0][1] != 1
    told.turn(minutes=1)
    urgency = [headers["urgency"] for _, headers, _ in told.service.heard]
    assert urgency[0] == "high"
    assert set(urgency[1:]) == {"normal"}


def test_what_the_sender_itself_fails_at_is_tried_six_times_and_holds_up_no_other(
    told: Told, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    """Six tries, as for a busy service: ours."""
    told.carried("Orla", "owner")
    bad, good = told.place("Bad bench"), told.place("Good bench")
    real = sender.payload

    def fails(message: dict[str, Any], text: dict[str, Any]) -> bytes:
        if text["title"].startswith("Bad"):
            raise RuntimeError("a fault of ours")
        return real(message, text)

    monkeypatch.setattr(sender, "payload", fails)
    told.soaking(25, bad)
    told.soaking(25, good, "26-018-S")
    told.turn(seconds=30)
    assert len(told.service.heard) == 1
    assert "a fault of ours" in caplog.text
    for minutes in (1, 5, 15, 60, 180):
        told.turn(minutes=minutes)
    found = {row["about"]["place"]: row for row in told.log() if row["about"]["level"] == "due"}
    assert found[good]["state"] == "taken"
    ended = [found[bad][name] for name in ("state", "why", "attempts")]
    assert ended == ["failed", "fault", 6]
    asked = len(told.service.heard)
    told.turn(hours=1)
    assert len(told.service.heard) == asked


def test_a_message_that_ends_the_process_at_each_try_is_given_up_too(
    told: Told, monkeypatch: pytest.MonkeyPatch
):
    """Nothing is noted of a try after which nobody lives; the lease brings it back."""
    told.carried("Orla", "owner")

    def dies(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sender, "send_one", dies)
    told.soaking(25)
    told.nursery.clock.forward(seconds=30)
    for _ in range(6):
        with pytest.raises(KeyboardInterrupt):
            told.turn(minutes=2)
    assert told.turn(minutes=2) == 0
    (row,) = told.log()
    assert (row["state"], row["why"], row["attempts"]) == ("failed", "fault", 6)
