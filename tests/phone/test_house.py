"""What the screens read: the server's rows with the unsent events laid over them, offline."""

import json
import uuid

import pytest

from tests.phone.conftest import OpenPhone, Phone
from tests.phone.network import Network

AGO = "(days) => phone.clock.localText(new Date(Date.now() - days * 86_400_000))"


@pytest.fixture
def offline(app: Phone) -> Phone:
    """A phone that has been in touch once, and has no network now."""
    app.page.context.set_offline(True)
    return app


def ago(app: Phone, days: float) -> str:
    return app.run(AGO, days)


def chilled(app: Phone, days: float) -> str:
    """Start a lot whose cold period began so many days ago."""
    lot = str(uuid.uuid4())
    at = {"observedAt": ago(app, days)}
    data = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}
    app.record("lot_started", lot, data, **at)
    app.record("cold_started", lot, {"where": "fridge", "temp_c": 4}, **at)
    return lot


def test_a_chill_of_43_days_without_a_look_alarms_offline_and_a_look_clears_it_at_once(
    offline: Phone,
):
    lot = chilled(offline, 43)
    assert offline.watches(lot)["cold-six-weeks"] == "alarm"
    offline.record("looked", lot, {"moisture": 3, "fungus": "none"})
    assert "cold-six-weeks" not in offline.watches(lot)


def test_undoing_the_look_brings_the_alarm_back(offline: Phone):
    lot = chilled(offline, 43)
    look = offline.record("looked", lot, {"moisture": 3})
    offline.run("(id) => phone.record.undo(id)", look["id"])
    assert offline.watches(lot)["cold-six-weeks"] == "alarm"
    assert offline.lot(lot)["last_look"] is None


def test_the_phone_and_the_server_agree_once_all_is_sent(app: Phone, network: Network):
    app.page.context.set_offline(True)
    lot = chilled(app, 43)
    guessed, found = app.lot(lot), app.watches(lot)
    app.page.context.set_offline(False)
    app.until_in_touch()
    settled = app.lot(lot)
    assert {name: settled[name] for name in guessed} == guessed
    alerts = app.run("() => phone.house.alerts().filter((one) => one.subject.kind === 'lot')")
    assert {alert["watch"]: alert["level"] for alert in alerts} == found


def test_a_minute_later_what_has_fallen_due_shows_by_itself(app: Phone):
    """Nothing is recorded and no network is there: the minute's stroke alone raises it."""
    lot = chilled(app, 41.999)
    app.until_in_touch()
    app.page.context.set_offline(True)
    assert "cold-six-weeks" not in app.watches(lot)
    app.run(
        """() => {
          const real = Date.now;
          Date.now = () => real() + 600_000;
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    assert app.watches(lot)["cold-six-weeks"] == "alarm"


def test_a_split_made_offline_begins_with_what_its_parent_was_when_it_was_split(offline: Phone):
    parent = chilled(offline, 30)
    child = offline.start_lot(label="26-017-R/2", quantity=300, parents=[parent])
    offline.record("cold_ended", parent)
    (spell,) = offline.lot(child)["spells"]
    assert spell["ended_at"] is None
    assert offline.lot(child)["stage"] == "cold"
    assert offline.lot(parent)["quantity"] == 1500
    assert offline.lot(parent)["children"] == [child]


def test_a_split_taken_back_gives_the_parent_its_seeds_again(offline: Phone):
    parent = chilled(offline, 30)
    start = offline.record(
        "lot_started",
        str(uuid.uuid4()),
        {"crop": "acer-palmatum", "label": "x", "quantity": 300, "parents": [parent]},
    )
    offline.run("(id) => phone.record.undo(id)", start["id"])
    assert offline.lot(start["lot"]) is None
    assert offline.lot(parent)["quantity"] == 1800


def test_a_place_made_offline_appears_and_disappears_when_it_is_taken_back(offline: Phone):
    names = "() => phone.house.places().map((place) => place.name)"
    made = offline.record(
        "place_changed", None, {"id": "fridge-1", "name": "Fridge 1", "kind": "chamber", "order": 1}
    )
    assert offline.run(names) == ["Fridge 1"]
    offline.run("(id) => phone.record.undo(id)", made["id"])
    assert offline.run(names) == []


def test_an_event_older_than_what_the_phone_holds_waits_to_be_confirmed(app: Phone):
    """The checkpoint cannot take it: it is kept, shown as waiting, and counts after the sync."""
    lot = chilled(app, 60)
    for days in range(50, 0, -1):
        app.record("looked", lot, {"moisture": 3}, observedAt=ago(app, days))
    app.until_in_touch()
    assert json.loads(app.lot(lot)["base"])["checkpoint_at"] is not None
    app.page.context.set_offline(True)
    old = app.record("watered", lot, {}, observedAt=ago(app, 59), typed=True)
    assert app.run("() => [...phone.house.unconfirmed.value]") == [old["id"]]
    app.page.context.set_offline(False)
    app.until_in_touch()
    assert app.run("() => phone.house.unconfirmed.value.size") == 0
    assert app.lot(lot)["events_count"] == 53


def test_where_a_record_is_can_be_told(app: Phone, network: Network):
    app.page.context.set_offline(True)
    lot = app.start_lot()
    event = app.record("looked", lot, {"moisture": 9})
    where = "(id) => phone.house.savedState(id)"
    assert app.run(where, event["id"]) == "phone"
    app.page.context.set_offline(False)
    app.until("phone.house.tray.value.length === 1")
    assert app.run(where, event["id"]) == "tray"
    (started,) = [stored for stored in network.stored() if stored["kind"] == "lot_started"]
    assert app.run(where, started["id"]) == "server"


def test_f12_a_phone_whose_clock_is_years_out_raises_no_false_alarm(app: Phone, network: Network):
    """Two years ahead: measured at the first contact, corrected in what it shows and records."""
    app.page.add_init_script(
        "const real = Date.now; const ahead = 2 * 365 * 86_400_000;"
        "const Real = Date; globalThis.Date = class extends Real {"
        "  constructor(...given) { given.length ? super(...given) : super(real() + ahead); }"
        "  static now() { return real() + ahead; } };"
    )
    app.page.reload()
    app.page.wait_for_function("() => document.title === 'ready'")
    app.until_in_touch()
    lot = app.start_lot()
    app.record("cold_started", lot, {"where": "fridge"})
    assert app.watches(lot) == {}
    app.until_in_touch()
    assert app.watches(lot) == {}
    (event, _) = network.stored()
    assert abs(event["clock"]["skew_ms"] + 2 * 365 * 86_400_000) < 60_000


def test_five_hundred_lots_are_usable_at_once(open_phone: OpenPhone, network: Network):
    """The bound is 150 ms for a desktop; ten times that keeps a busy machine from failing it."""
    writer = open_phone()
    drafts = [
        [kind, f"00000000-0000-4000-8000-{number:012d}", data]
        for number in range(500)
        for kind, data in (
            ("lot_started", {"crop": "acer-palmatum", "label": f"26-{number}", "quantity": 100}),
            ("cold_started", {"where": "fridge"}),
        )
    ]
    writer.page.context.set_offline(True)
    writer.run(
        """(drafts) => phone.record.recordAll(
          drafts.map(([kind, lot, data]) => ({ kind, lot, data })))""",
        drafts,
    )
    writer.page.context.set_offline(False)
    writer.until_in_touch()
    again = open_phone()
    assert again.run("() => phone.house.lots.value.size") == 500
    assert again.run("() => phone.opened_ms") < 1500
