"""Messages to phones, over real HTTPS to a push service that opens what it gets."""

import json
from typing import Any

import pytest

from lathhouse.domain.instants import parse_instant
from lathhouse.reminders import outside
from lathhouse.reminders.sender import payload
from lathhouse.store.subscriptions import is_public
from tests.reminders.carried import Phone, Told
from tests.reminders.endpoint import Service, verified
from tests.server import Nursery

pytest_plugins = ["tests.reminders.carried"]


@pytest.fixture
def told(nursery: Nursery, service: Service) -> Told:
    """On each kind of database."""
    return Told(nursery, service)


@pytest.fixture
def told_here(one_nursery: Nursery, service: Service) -> Told:
    """On SQLite, for what does not depend on the database."""
    return Told(one_nursery, service)


def shown(service: Service, phone: Phone) -> list[dict[str, Any]]:
    """Return what a phone was shown, message by message."""
    own = [body for path, _, body in service.heard if path == f"/{phone.id}"]
    return [json.loads(phone.browser.open(body)) for body in own]


def states(told: Told) -> list[tuple[str | None, str, str, str | None]]:
    return [(row["to_name"], row["kind"], row["state"], row["why"]) for row in told.log()]


def test_a_message_says_the_lot_the_place_what_since_when_what_to_do_and_where(told: Told):
    bench = told.place("Soak bench")
    _, phone = told.carried("Orla", "owner")
    lot = told.soaking(25, bench)
    assert told.turn(seconds=30) == 1
    (one,) = shown(told.service, phone)
    assert one["title"] == "Soak bench: 1 due"
    assert "26-017-R" in one["body"]
    assert "soaking since" in one["body"]
    assert "Since 10 September, 07:40" in one["body"]
    assert "Drain it" in one["body"]
    assert one["url"] == f"/#/lot/{lot}"
    _, headers, body = told.service.heard[0]
    assert phone.browser.open_by_library(body) == phone.browser.open(body)
    assert (headers["urgency"], headers["content-encoding"]) == ("high", "aes128gcm")
    assert int(headers["ttl"]) == 4 * 3600
    # RFC 8030 section 5.4: at most 32 characters of base64url.
    assert len(headers["topic"]) <= 32
    assert headers["topic"] == one["tag"]
    said = verified(headers["authorization"])
    assert (said["aud"], said["sub"]) == (told.service.address, "mailto:orla@nursery.example")
    assert said["key"] == phone.call("GET", "/api/v1/reminders").json["key"]


def test_one_state_is_told_once_and_a_higher_level_once_more(told: Told):
    _, phone = told.carried("Orla", "owner")
    told.soaking(25)
    told.turn(seconds=30)
    for _ in range(3):
        assert told.turn(minutes=20) == 0
    # 36 hours: late, at 19:40, and not yet in quiet hours.
    told.turn(hours=10)
    assert told.turn(seconds=20) == 1
    assert [one["title"] for one in shown(told.service, phone)] == [
        "Nursery: 1 due",
        "Nursery: 1 late",
    ]
    assert len(set(told.service.topics())) == 2


def test_thirty_lots_of_one_place_are_one_message(told: Told):
    bench = told.place("Soak bench")
    _, phone = told.carried("Orla", "owner")
    for number in range(30):
        told.soaking(25, bench, label=f"26-{number:03}-R")
    assert told.turn(seconds=30) == 1
    (one,) = shown(told.service, phone)
    assert one["title"] == "Soak bench: 30 due"
    assert one["body"].count("Drain it") == 4
    assert one["body"].endswith("And 26 more.")
    assert one["url"].startswith("/#/walk/")
    assert len({row["message"] for row in told.log()}) == 1
    assert {row["state"] for row in told.log()} == {"taken"}


def test_what_nobody_has_goes_to_the_next_person_and_the_alert_says_so(told: Told):
    told.carried("Orla", "owner", order=1)
    dev, phone = told.carried("Dev", order=2)
    told.soaking(25)
    told.turn(seconds=30)
    assert told.turn(minutes=29) == 0
    assert told.turn(minutes=1) == 1
    (one,) = shown(told.service, phone)
    assert one["body"].startswith("Nobody has said that they have it")
    (alert,) = told.nursery.call("GET", "/api/v1/alerts?state=open").json["alerts"]
    assert [(step["what"], step.get("to")) for step in alert["history"]] == [
        ("raised", None),
        ("handed_on", dev),
    ]
    assert alert["handed_on"]["to"] == dev
    assert told.nursery.differences() == []


def test_what_somebody_has_goes_no_further(told: Told):
    told.carried("Orla", "owner", order=1)
    told.carried("Dev", order=2)
    told.soaking(25)
    told.turn(seconds=30)
    (alert,) = told.nursery.call("GET", "/api/v1/alerts?state=open").json["alerts"]
    told.nursery.call("POST", f"/api/v1/alerts/{alert['id']}/acknowledge", {})
    assert told.turn(minutes=31) == 0
    assert states(told)[1] == ("Dev", "next", "not_sent", "acknowledged")


def test_quiet_hours_hold_the_message_and_not_the_state(told: Told):
    told.carried("Dev")
    told.nursery.clock.set("2026-09-10T20:30:00+10:00")
    lot = told.soaking(25)
    assert told.turn(minutes=1) == 0
    assert "soak-over" in told.nursery.alerts()
    (row,) = told.log()
    assert parse_instant(row["due_at"]) == parse_instant("2026-09-11T07:00:00+10:00")
    # Somebody drains it in the night: what is over before it is sent is not sent.
    told.nursery.clock.set("2026-09-11T06:30:00+10:00")
    told.writer.record("soak_ended", lot, {})
    assert told.turn(minutes=31) == 0
    assert states(told) == [("Dev", "first", "not_sent", "cleared")]
    assert told.service.heard == []


def test_freezing_seed_wakes_only_who_agreed(told: Told):
    chamber = {"low_c": 1, "high_c": 5}
    fridge = told.place("Shed fridge", kind="chamber", chamber=chamber)
    told.carried("Dev", order=1)
    _, phone = told.carried("Orla", "owner", order=2, agreed_to_wake=True)
    told.nursery.clock.set("2026-09-11T02:00:00+10:00")
    for minutes in (20, 1):
        cold = {"place": fridge, "quantity_kind": "temp_c", "value": -1.5}
        told.writer.record("read", None, cold, at=told.nursery.clock.text(minutes=minutes))
    assert told.turn(minutes=1) == 1
    (one,) = shown(told.service, phone)
    assert one["grave"] is True
    assert "the seed freezes" in one["body"]
    assert one["url"] == f"/#/fridge/{fridge}"
    assert ("Dev", "next", "waiting", None) in states(told)


def test_what_is_left_until_a_time_is_silent_until_then(told: Told):
    told.carried("Orla", "owner")
    told.soaking(25)
    told.turn(seconds=30)
    (alert,) = told.nursery.call("GET", "/api/v1/alerts?state=open").json["alerts"]
    until = told.nursery.clock.text(hours=-6)
    left = {"until": until, "why": "it needs longer"}
    told.nursery.call("POST", f"/api/v1/alerts/{alert['id']}/shelve", left)
    assert told.turn(hours=5) == 0
    assert told.turn(hours=1, minutes=1) == 1
    assert len(told.service.heard) == 2


def test_a_busy_service_is_asked_again_later_each_time(told_here: Told):
    told_here.carried("Orla", "owner")
    told_here.service.answers[:] = [(503, {}), (429, {"Retry-After": "600"}), (201, {})]
    told_here.soaking(25)
    assert told_here.turn(seconds=30) == 1
    assert told_here.turn(seconds=59) == 0
    assert told_here.turn(seconds=1) == 1
    # Five minutes are our second wait; ten were asked for.
    assert told_here.turn(minutes=9, seconds=59) == 0
    assert told_here.turn(seconds=1) == 1
    assert len(set(told_here.service.topics())) == 1
    (row,) = told_here.log()
    assert (row["state"], row["attempts"]) == ("taken", 3)


def test_after_the_last_try_it_is_given_up_and_the_log_says_why(told_here: Told):
    told_here.carried("Orla", "owner")
    told_here.service.answers[:] = [(503, {})] * 20
    told_here.soaking(25)
    told_here.turn(seconds=30)
    for minutes in (1, 5, 15, 60, 180):
        told_here.turn(minutes=minutes)
    (row,) = [row for row in told_here.log() if row["about"]["level"] == "due"]
    assert (row["state"], row["why"], row["attempts"]) == ("failed", "busy", 6)


@pytest.mark.parametrize("status", [404, 410])
def test_a_subscription_that_is_gone_is_dropped(told_here: Told, status: int):
    """RFC 8030 section 7.3: 404 or 410, and none is sent to any more."""
    _, phone = told_here.carried("Orla", "owner")
    told_here.service.answers[:] = [(status, {})]
    told_here.soaking(25)
    told_here.turn(seconds=30)
    assert states(told_here) == [("Orla", "first", "failed", "gone")]
    assert phone.call("GET", "/api/v1/reminders").json["subscriptions"] == []
    assert told_here.turn(hours=12) == 0
    # The phone may ask again.
    assert phone.subscribe(told_here.service).status_code == 201
    assert len(phone.call("GET", "/api/v1/reminders").json["subscriptions"]) == 1


def test_of_two_phones_one_that_takes_it_is_enough(told_here: Told):
    person, _ = told_here.carried("Orla", "owner")
    Phone(told_here.nursery, "owner", person).subscribe(told_here.service)
    told_here.service.answers[:] = [(410, {}), (201, {})]
    told_here.soaking(25)
    told_here.turn(seconds=30)
    assert len(told_here.service.heard) == 2
    assert states(told_here) == [("Orla", "first", "taken", None)]


def test_a_phone_that_nobody_carries_is_told_for_itself(told_here: Told):
    """The first owner's link names nobody."""
    phone = Phone(told_here.nursery, "owner")
    phone.subscribe(told_here.service)
    told_here.soaking(25)
    assert told_here.turn(seconds=30) == 1
    assert len(shown(told_here.service, phone)) == 1
    assert told_here.log()[0]["to"] == f"device:{phone.id}"


def test_a_session_that_has_ended_takes_nothing_with_it(told_here: Told):
    told_here.carried("Orla", "owner")
    told_here.soaking(25)
    told_here.nursery.clock.forward(days=401)
    told_here.turn(seconds=30)
    assert told_here.service.heard == []


def test_an_inner_address_is_never_gone_to(told_here: Told):
    """Our own choice against server-side request forgery: unless the owner lets it be."""
    told_here.ways.inner = False
    told_here.carried("Orla", "owner")
    told_here.soaking(25)
    told_here.turn(seconds=30)
    assert told_here.service.heard == []
    assert states(told_here) == [("Orla", "first", "failed", "not-reached")]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "10.0.0.1", "169.254.169.254", "::1"])
def test_addresses_of_the_inner_network_are_refused_for_good(host: str):
    with pytest.raises(outside.NotThere) as caught:
        outside.addresses(host, 443, inner=False)
    assert caught.value.lasting


@pytest.mark.parametrize(
    ("address", "public"),
    [
        # IANA IPv6 global unicast address assignments, out of 2000::/3 (RFC 4291 section 2.4).
        ("2001:503:ba3e::2:30", True),  # a root name server's
        ("2a00::1", True),
        ("3fff:ffff::1", True),
        ("1fff:ffff::1", False),
        ("4000::1", False),
        # Carries an IPv4 address, here 10.0.0.1, 127.0.0.1 and 169.254.169.254.
        ("64:ff9b::a00:1", False),  # RFC 6052 section 2.1
        ("64:ff9b::7f00:1", False),
        ("64:ff9b:1::a00:1", False),  # RFC 8215
        ("2002:a00:1::1", False),  # RFC 3056 section 2
        ("2002:a9fe:a9fe::1", False),
        ("::a00:1", False),  # RFC 4291 section 2.5.5.1
        ("::ffff:10.0.0.1", False),  # RFC 4291 section 2.5.5.2
        ("::ffff:198.41.0.4", True),
        ("2001:0:a00:1::1", False),  # RFC 4380 section 2.6
        # RFC 6890 section 2.2.3, and RFC 3879 section 4 for site-local ones.
        ("fec0::1", False),
        ("fe80::1%eth0", False),
        ("fd00::1", False),
        ("2001:db8::1", False),
        ("ff02::1", False),
        ("::1", False),
        ("::", False),
        # RFC 6890 section 2.2.2.
        ("198.41.0.4", True),  # a root name server's
        ("192.168.1.1", False),
        ("100.64.0.1", False),
        ("224.0.0.1", False),
        ("push.example.net", False),
    ],
)
def test_which_addresses_are_of_the_open_internet(address: str, public: bool):
    """RFC 6890 (Cotton and others 2013), and what Python takes for global beyond it."""
    assert is_public(address) is public


def test_a_service_whose_certificate_nobody_vouches_for_is_not_trusted(told_here: Told):
    told_here.ways.trusted = None
    told_here.carried("Orla", "owner")
    told_here.soaking(25)
    told_here.turn(seconds=30)
    assert told_here.service.heard == []
    assert states(told_here) == [("Orla", "first", "waiting", "not-reached")]


def test_an_answer_that_leads_elsewhere_is_not_followed(told_here: Told):
    told_here.carried("Orla", "owner")
    elsewhere = {"Location": f"{told_here.service.address}/elsewhere"}
    told_here.service.answers[:] = [(307, elsewhere)]
    told_here.soaking(25)
    told_here.turn(seconds=30)
    assert len(told_here.service.heard) == 1
    assert states(told_here) == [("Orla", "first", "failed", "refused")]


def ttl_seconds(told: Told) -> list[int]:
    return [int(headers["ttl"]) for _, headers, _ in told.service.heard]


@pytest.mark.parametrize(
    ("time", "quiet_from", "seconds"),
    [
        ("07:40", "20:00", 4 * 3600),
        ("18:30", "20:00", 90 * 60 - 30),
        # A floor of five minutes, ours: a phone that sleeps still gets it.
        ("19:58", "20:00", 300),
        ("18:30", "19:00", 30 * 60 - 30),
    ],
)
def test_no_push_service_may_deliver_into_the_quiet_hours_of_who_is_told(
    told_here: Told, time: str, quiet_from: str, seconds: int
):
    """What is kept longer comes when the phone is switched on, at whatever hour (RFC 8030, 5.2)."""
    told_here.carried("Orla", "owner", quiet_from=quiet_from)
    told_here.nursery.clock.set(f"2026-09-10T{time}:00+10:00")
    told_here.soaking(25)
    assert told_here.turn(seconds=30) == 1
    assert ttl_seconds(told_here) == [seconds]


def test_what_may_wake_is_kept_for_who_agreed_to_it_through_the_night(told_here: Told):
    chamber = {"low_c": 1, "high_c": 5}
    fridge = told_here.place("Shed fridge", kind="chamber", chamber=chamber)
    told_here.carried("Orla", "owner", agreed_to_wake=True)
    told_here.nursery.clock.set("2026-09-10T19:55:00+10:00")
    for minutes in (20, 1):
        cold = {"place": fridge, "quantity_kind": "temp_c", "value": -1.5}
        told_here.writer.record(
            "read", None, cold, at=told_here.nursery.clock.text(minutes=minutes)
        )
    assert told_here.turn(minutes=1) == 1
    assert ttl_seconds(told_here) == [4 * 3600]


def test_a_title_longer_than_a_message_is_cut_and_the_message_goes(told_here: Told):
    _, phone = told_here.carried("Orla", "owner")
    told_here.soaking(25, told_here.place("Far bay " * 20))
    assert told_here.turn(seconds=30) == 1
    assert len(shown(told_here.service, phone)[0]["title"]) <= 200
    long = {"title": "x" * 9000, "url": "/#/", "priority": 1, "intro": "", "lines": []}
    assert len(payload({"id": "m"}, long)) <= 3993
