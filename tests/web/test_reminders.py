"""The doors of the reminders: who may ask for messages, what is refused, and who reads the log."""

import uuid
from typing import Any

import pytest

from tests.reminders.carried import Phone, Told
from tests.reminders.endpoint import Browser

pytest_plugins = ["tests.reminders.carried"]


RIGHT: dict[str, Any] = Browser().subscription("https://push.example.net/abc")


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"endpoint": "http://push.example.net/abc"}, "endpoint"),
        ({"endpoint": "https://someone@push.example.net/abc"}, "endpoint"),
        ({"endpoint": "https:///abc"}, "endpoint"),
        ({"endpoint": "https://push.example.net:0/abc"}, "endpoint"),
        ({"endpoint": "https://push.example.net/a b"}, "endpoint"),
        ({"endpoint": "https://push.example.net/\r\nHost: x"}, "endpoint"),
        ({"endpoint": "https://push.example.net/" + "a" * 2000}, "endpoint"),
        ({"endpoint": ["https://push.example.net"]}, "endpoint"),
        ({"keys": None}, "keys.p256dh"),
        ({"keys": {**RIGHT["keys"], "auth": "AAAA"}}, "keys.auth"),
        ({"keys": {**RIGHT["keys"], "p256dh": "!"}}, "keys.p256dh"),
    ],
)
def test_what_is_no_subscription_is_refused_in_words(told: Told, said: dict[str, Any], field: str):
    phone = Phone(told.nursery)
    answer = phone.call("POST", "/api/v1/reminders/subscriptions", {**RIGHT, **said})
    assert answer.status_code == 422
    assert answer.json["field"] == field
    assert answer.json["detail"].endswith(".")


def test_the_same_browser_subscribes_once_and_another_session_cannot_drop_it(told: Told):
    phone, other = Phone(told.nursery), Phone(told.nursery)
    first = phone.subscribe(told.service).json["id"]
    assert phone.subscribe(told.service).json["id"] == first
    other.call("DELETE", f"/api/v1/reminders/subscriptions/{first}")
    assert phone.call("GET", "/api/v1/reminders").json["subscriptions"] == [first]
    phone.call("DELETE", f"/api/v1/reminders/subscriptions/{first}")
    assert phone.call("GET", "/api/v1/reminders").json["subscriptions"] == []


def test_a_phone_has_a_few_subscriptions_at_most(told: Told):
    phone = Phone(told.nursery)
    codes = [phone.subscribe(told.service, f"/{n}").status_code for n in range(6)]
    assert codes == [201] * 5 + [403]


def test_a_script_is_no_phone_and_nobody_else_is_let_in(told: Told):
    answer = told.nursery.call("POST", "/api/v1/reminders/subscriptions", RIGHT)
    assert answer.status_code == 403
    assert "paired phone" in answer.json["detail"]
    for path in ("/api/v1/reminders", "/api/v1/deliveries"):
        assert told.nursery.call("GET", path, role=None).status_code == 401
        assert told.nursery.call("GET", path, role="sensor").status_code == 403


def test_who_carries_a_phone_is_said_on_it_and_its_messages_are_theirs(told: Told):
    dev, phone = told.person("Dev"), Phone(told.nursery)
    phone.subscribe(told.service)
    assert phone.call("GET", "/api/v1/reminders").json["to"] == f"device:{phone.id}"
    said = phone.call("POST", "/api/v1/session/person", {"person": dev})
    assert said.json == {"role": "worker", "person": dev}
    assert phone.call("GET", "/api/v1/session").json["person"] == dev
    # It is on record, once however often it is said, and in the phone's row at once.
    assert phone.call("POST", "/api/v1/session/person", {"person": dev}).status_code == 200
    events = told.nursery.call("GET", "/api/v1/events?limit=100").json["events"]
    said_of = [one["data"] for one in events if one["data"].get("id") == phone.id]
    assert said_of[1:] == [{"id": phone.id, "person": dev}]
    assert {row["id"]: row["person"] for row in told.nursery.rows("phones")}[phone.id] == dev
    assert phone.call("GET", "/api/v1/reminders").json["to"] == f"person:{dev}"
    told.soaking(25)
    told.turn(seconds=30)
    assert [row["to_name"] for row in told.log()] == ["Dev"]
    for wrong in (str(uuid.uuid4()), "Dev"):
        answer = phone.call("POST", "/api/v1/session/person", {"person": wrong})
        assert answer.status_code == 422


@pytest.mark.parametrize(
    ("role", "allowed"),
    [
        ("viewer", {"Vi"}),
        ("worker", {"Vi", "Dev", "Ann"}),
        ("owner", {"Vi", "Dev", "Ann", "Orla"}),
    ],
)
def test_nobody_says_that_they_carry_the_phone_of_one_who_may_do_more(told: Told, role, allowed):
    people = {
        told.person("Orla", role="owner"): "Orla",
        told.person("Dev", role="worker"): "Dev",
        told.person("Ann"): "Ann",
        told.person("Vi", role="viewer"): "Vi",
    }
    phone = Phone(told.nursery, role)
    for person, name in people.items():
        answer = phone.call("POST", "/api/v1/session/person", {"person": person})
        assert answer.status_code == (200 if name in allowed else 403), name
        if name not in allowed:
            assert f"a {role}'s. Pair it for {name} by a link" in answer.json["detail"]
    assert people[phone.call("GET", "/api/v1/session").json["person"]] in allowed
    assert phone.call("POST", "/api/v1/session/person", {"person": None}).status_code == 200


def test_a_test_message_comes_and_the_log_says_so(told: Told):
    _, phone = told.carried("Orla", "owner")
    assert phone.call("POST", "/api/v1/reminders/test").status_code == 202
    assert told.turn() == 1
    assert b"Messages reach you here" in phone.browser.open(told.service.heard[0][2])
    (row,) = told.log(phone)
    assert (row["kind"], row["state"]) == ("test", "taken")
    assert phone.call("POST", "/api/v1/reminders/test", {"channel": "smoke"}).status_code == 422


def test_an_owner_reads_the_whole_log_and_everybody_else_their_own(told: Told):
    _, orla = told.carried("Orla", "owner", order=1)
    _, dev = told.carried("Dev", order=2)
    told.soaking(25)
    told.turn(seconds=30)
    assert {row["to_name"] for row in told.log(orla)} == {"Orla", "Dev"}
    assert [row["to_name"] for row in told.log(dev)] == ["Dev"]


def test_the_log_pages_from_the_newest_back(told: Told):
    _, orla = told.carried("Orla", "owner")
    for _ in range(7):
        orla.call("POST", "/api/v1/reminders/test")
        # One test waits at a time.
        assert told.turn(seconds=1) == 1
    found: list[str] = []
    after, more = "", True
    while more:
        page = orla.call("GET", f"/api/v1/deliveries?limit=3{after}").json
        found += [row["id"] for row in page["deliveries"]]
        after, more = f"&after={page['deliveries'][-1]['id']}", page["more"]
    assert len(found) == 7
    assert found == sorted(found, reverse=True)
    assert orla.call("GET", "/api/v1/deliveries?after=%00").status_code == 400


def test_whom_a_push_service_can_turn_to_is_never_made_up(told: Told):
    """FAULTS F24: a subject that is no real mailto or https is refused by one of them."""
    told.ways.contact, told.ways.address = "", "http://localhost:8321/"
    _, phone = told.carried("Orla", "owner")
    assert phone.call("GET", "/api/v1/reminders").json["push_ready"] is False
    told.soaking(25)
    told.turn(seconds=30)
    assert [(row["state"], row["why"]) for row in told.log()] == [("failed", "no-contact")]
    told.person("Mele", email="mele@nursery.example")
    assert phone.call("GET", "/api/v1/reminders").json["push_ready"] is True
    told.ways.address = "https://rounds.nursery.example/"
    assert told.ways.subject([]) == "https://rounds.nursery.example"
