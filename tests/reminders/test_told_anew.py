"""Another occurrence is told as its own, whatever stood before; the same one is not told twice."""

import uuid
from typing import Any

from tests.reminders.carried import Phone, Told

pytest_plugins = ["tests.reminders.carried"]


def told_of(told: Told, watch: str) -> list[tuple[str, str, str]]:
    """Return (level, since, to whom) of what was taken of a watch, the oldest first."""
    rows = [row for row in told.log() if row["about"] and row["about"]["watch"] == watch]
    taken = [row for row in rows if row["state"] == "taken"]
    return [(row["about"]["level"], row["about"]["since"][11:16], row["to_name"]) for row in taken]


def standing(told: Told, watch: str) -> dict[str, Any]:
    alerts = told.nursery.call("GET", "/api/v1/alerts?state=standing").json["alerts"]
    (found,) = (alert for alert in alerts if alert["watch"] == watch)
    return dict(found)


def test_a_second_night_of_frost_is_told_though_the_server_was_off_all_morning(told: Told):
    """A power cut from the evening until half past two: the first alarm stands till then."""
    told.carried("Orla", "owner", order=1)
    clock, phone = told.nursery.clock, told.writer
    clock.set("2026-09-10T10:00:00+10:00")
    bench, lot = told.place("Bench"), str(uuid.uuid4())
    said = {"crop": "cornus-kousa", "label": "A", "quantity": 99, "unit": "seeds", "place": bench}
    phone.record("lot_started", lot, said)
    phone.record("sown", lot, {})
    phone.record("counted", lot, {"emerged": 9, "out_of": 99})
    for day in ("2026-09-10", "2026-09-11"):
        night = {"quantity_kind": "forecast_low_c", "value": -1, "for_night_of": day}
        phone.record("read", None, night)
    for _ in range(22):
        told.turn(minutes=30)
    first = standing(told, "frost-tonight")
    clock.set("2026-09-11T14:30:00+10:00")
    told.turn(minutes=1)
    told.turn(minutes=1)
    assert standing(told, "frost-tonight")["id"] != first["id"]
    for _ in range(14):
        told.turn(minutes=30)
    night = [("due", "04:00", "Orla"), ("late", "04:00", "Orla"), ("alarm", "04:00", "Orla")]
    assert told_of(told, "frost-tonight") == night * 2
    past = told.nursery.call("GET", "/api/v1/alerts?state=cleared").json["alerts"]
    (over,) = (alert for alert in past if alert["id"] == first["id"])
    assert [step["what"] for step in over["history"]][-1] == "cleared"


def test_dry_again_is_told_though_somebody_has_the_first_and_a_mended_record_is_not(told: Told):
    """A phone that was off sends moist and dry in one push, after "I have it"."""
    orla, _ = told.carried("Orla", "owner", order=1)
    told.carried("Dev", order=2)
    clock, phone, lot = told.nursery.clock, told.writer, str(uuid.uuid4())
    clock.set("2026-09-09T08:00:00+10:00")
    said = {"crop": "cornus-kousa", "label": "L", "quantity": 900, "unit": "seeds"}
    start = clock.text()
    phone.push(
        phone.event("lot_started", lot, said, at=start), phone.event("sown", lot, {}, at=start)
    )
    phone.record("looked", lot, {"moisture": 1})
    told.turn(minutes=1)
    phone.record("acknowledged", lot, {"watch": "moisture-dry"}, by=orla)
    told.turn(minutes=1)
    first = standing(told, "moisture-dry")
    clock.set("2026-09-09T13:30:00+10:00")
    late = [(3, "2026-09-09T10:00:00+10:00"), (1, "2026-09-09T13:00:00+10:00")]
    looks = [phone.event("looked", lot, {"moisture": value}, at=at) for value, at in late]
    phone.push(*looks)
    again = standing(told, "moisture-dry")
    assert (again["state"], again["id"] == first["id"]) == ("open", False)
    for _ in range(4):
        told.turn(minutes=10)
    heard = [("due", "22:00", "Orla"), ("due", "03:00", "Orla"), ("due", "03:00", "Dev")]
    assert told_of(told, "moisture-dry") == heard
    # The moist look was of another lot: dry since the morning. Nobody hears of it twice.
    phone.record("voided", lot, {"of": looks[0]["id"], "why": "another lot"})
    assert standing(told, "moisture-dry")["id"] == again["id"]
    told.turn(minutes=1)
    assert standing(told, "moisture-dry")["since"] == first["since"]
    assert told_of(told, "moisture-dry")[:3] == heard
    assert [step["what"] for step in standing(told, "moisture-dry")["history"]].count("raised") == 1


def test_stock_that_stands_open_again_is_told_again_once_whoever_had_it_before(told: Told):
    """Covered at three by whoever has it, blown off at four, and one of them covered again."""
    orla, _ = told.carried("Orla", "owner", order=1)
    clock, phone = told.nursery.clock, told.writer
    clock.set("2026-09-10T10:00:00+10:00")
    beds = [told.place("Bench"), told.place("Frame")]
    for bed in beds:
        lot = str(uuid.uuid4())
        said = {"crop": "cornus-kousa", "label": "A", "quantity": 9, "unit": "seeds", "place": bed}
        phone.record("lot_started", lot, said)
        phone.record("sown", lot, {})
        phone.record("counted", lot, {"emerged": 9, "out_of": 9})
    night = {"quantity_kind": "forecast_low_c", "value": -1, "for_night_of": "2026-09-10"}
    phone.record("read", None, night)
    clock.set("2026-09-10T14:00:00+10:00")
    told.turn()
    told.turn(minutes=1)
    phone.record("acknowledged", None, {"nursery": told.nursery.site, "watch": "frost-tonight"},
                 by=orla)  # fmt: skip
    first = standing(told, "frost-tonight")
    assert first["state"] == "acknowledged"
    clock.set("2026-09-10T15:00:00+10:00")
    for bed in beds:
        phone.record("covered", None, {"place": bed})
    told.turn(minutes=1)
    assert "frost-tonight" not in told.nursery.alerts()
    for minute, bed in (("00", beds[0]), ("20", beds[1])):
        clock.set(f"2026-09-10T16:{minute}:00+10:00")
        phone.record("uncovered", None, {"place": bed})
        told.turn(minutes=1)
        told.turn(minutes=1)
    again = standing(told, "frost-tonight")
    assert (again["state"], again["level"], again["id"] == first["id"]) == ("open", "due", False)
    phone.record("covered", None, {"place": beds[0]})
    assert standing(told, "frost-tonight")["id"] == again["id"]
    for _ in range(6):
        told.turn(minutes=30)
    anew = [(level, "06:00", "Orla") for level in ("due", "late", "alarm")]
    assert told_of(told, "frost-tonight") == [("due", "04:00", "Orla"), *anew]


def test_who_is_said_to_have_it_on_anothers_phone_hears_of_it_once(told: Told):
    """Orla says that Dev has it, then that Mele has; what each says of themselves is no news."""
    orla, phone = told.carried("Orla", "owner", order=1)
    dev, own = told.carried("Dev", order=2)
    mele, _ = told.carried("Mele", order=3)
    told.nursery.clock.set("2026-09-10T08:00:00+10:00")
    lot = told.soaking(25)
    told.turn(minutes=1)

    def has_it(said_on: Phone, who: str) -> None:
        told.nursery.clock.forward(minutes=1)
        event = told.writer.event("acknowledged", lot, {"watch": "soak-over"}, by=who)
        sent = {"device": said_on.id, "sent_at": told.nursery.clock.text(), "events": [event]}
        assert said_on.call("POST", "/api/v1/sync/push", sent).json["stored"] == [event["id"]]
        # Sent again, as a phone does whose answer was lost.
        assert said_on.call("POST", "/api/v1/sync/push", sent).json["already"] == [event["id"]]

    has_it(phone, dev)
    has_it(phone, mele)
    for _ in range(3):
        told.turn(minutes=1)
    has_it(phone, orla)
    has_it(own, dev)
    for _ in range(3):
        told.turn(minutes=1)
    soak = [row for row in told.log() if row["about"]["watch"] == "soak-over"]
    rows = [(row["to_name"], row["kind"], row["state"]) for row in soak]
    # Dev had it no longer when his message was to go.
    assert [row for row in rows if row[1] != "next"] == [
        ("Orla", "first", "taken"), ("Dev", "given", "not_sent"), ("Mele", "given", "taken"),
    ]  # fmt: skip
    (heard,) = (row for row in soak if row["kind"] == "given" and row["state"] == "taken")
    assert heard["about"]["says"].startswith("26-017-R")
    # Nobody has the message who cannot be told: it goes to no other in their place.
    has_it(phone, told.person("Tavita"))
    told.turn(minutes=1)
    assert [row["to_name"] for row in told.log() if row["kind"] == "given"] == ["Dev", "Mele"]
    assert told.nursery.differences() == []


def soak_over_for_three(told: Told) -> tuple[str, str]:
    """Tell Orla of a soak past its time, with Dev and Mele next in line; return Dev and the lot."""
    told.carried("Orla", "owner", order=1)
    dev, _ = told.carried("Dev", order=2)
    told.carried("Mele", order=3)
    told.nursery.clock.set("2026-09-10T08:00:00+10:00")
    lot = told.soaking(25)
    told.turn(minutes=1)
    return dev, lot


def test_taken_on_and_given_back_within_one_push_it_goes_to_the_next(told: Told):
    """Said on a phone out of signal, both come at once: the alert was never seen to be with Dev."""
    dev, lot = soak_over_for_three(told)
    clock, phone = told.nursery.clock, told.writer
    first, then = clock.text(minutes=2), clock.text(minutes=1)
    soak = {"watch": "soak-over"}
    taken = phone.event("acknowledged", lot, soak, at=first, by=dev)
    phone.push(taken, phone.event("given_back", lot, soak, at=then, by=dev))
    told.turn(minutes=1)
    for _ in range(4):
        told.turn(minutes=31)
    assert [name for _, _, name in told_of(told, "soak-over")] == ["Orla", "Orla", "Mele"]
    # Undone, the answer that stood before is not told in the history a second time.
    phone.record("voided", lot, {"of": taken["id"], "why": "another lot"})
    what = [step["what"] for step in standing(told, "soak-over")["history"]]
    assert what.count("given_back") == 1


def test_what_is_given_back_goes_on_to_the_others_and_frost_is_left_till_it_gets_worse(told: Told):
    """Dev has it, and gives it back: the others hear of it anew, and it goes to the next again."""
    dev, lot = soak_over_for_three(told)
    clock, phone = told.nursery.clock, told.writer
    phone.record("acknowledged", lot, {"watch": "soak-over"}, by=dev)
    told.turn(minutes=45)
    phone.record("given_back", lot, {"watch": "soak-over"}, by=dev)
    told.turn(minutes=1)
    told.turn(minutes=31)
    whom = [name for _, _, name in told_of(told, "soak-over")]
    assert whom == ["Orla", "Orla", "Mele"]
    steps = [step["what"] for step in standing(told, "soak-over")["history"]]
    assert [step for step in steps if step != "handed_on"] == [
        "raised",
        "acknowledged",
        "given_back",
    ]
    # Left until the next day, it is left until it is late, and then told once.
    until = {"watch": "soak-over", "until": clock.text(hours=-30), "why": "no time"}
    phone.record("shelved", lot, until, by=dev)
    late = standing(told, "soak-over")
    assert (late["state"], late["shelved_until"]) == ("shelved", late["rises_at"])
    clock.set(late["rises_at"])
    told.turn()
    told.turn(seconds=21)
    assert [row[::2] for row in told_of(told, "soak-over")][3:] == [("late", "Orla")]
