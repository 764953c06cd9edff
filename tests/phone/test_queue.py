"""The queue always moves, and only a verdict for that very record takes it out."""

import uuid

import pytest

from tests.phone.conftest import OpenPhone, Phone
from tests.phone.network import Network, Request

PUSH = "/api/v1/sync/push"
TAKEN = """() => navigator.locks.request(
  "lathhouse-sync", { ifAvailable: true }, (lock) => lock === null)"""


def names(request: Request) -> set[str]:
    return {event["id"] for event in request.body["events"]}


def test_f02_a_lost_reply_leads_to_the_event_being_stored_once(app: Phone, network: Network):
    network.next(PUSH, "lose_reply")
    lot = app.start_lot()
    app.until("phone.house.contact.value.state === 'unreachable'")
    assert len(app.stored("outbox")) == 1
    app.until_sent()
    first, second = network.pushes()
    assert names(first) == names(second)
    assert [event["lot"] for event in network.stored()] == [lot]


def test_f03_a_failing_bookkeeping_is_not_taken_for_a_failed_record(app: Phone, network: Network):
    """The server has it, but the outbox cannot let go of it: sent again, it is `already`."""
    app.run(
        """() => {
          const remove = IDBObjectStore.prototype.delete;
          IDBObjectStore.prototype.delete = function (...given) {
            if (this.name !== "outbox") return remove.apply(this, given);
            IDBObjectStore.prototype.delete = remove;
            throw new Error("the disk is away");
          };
        }"""
    )
    app.start_lot()
    app.until_sent()
    assert len(network.stored()) == 1
    assert len(network.pushes()) == 2
    assert app.stored("refused") == []


@pytest.mark.parametrize("status", ["401", "403", "404", "409", "410", "422", "429", "500", "503"])
def test_f04_no_status_of_a_whole_request_empties_the_outbox(
    app: Phone, network: Network, status: str
):
    """Whatever was the matter, all of it is there once the server takes it again."""
    network.next(PUSH, status, times=2)
    lots = [app.start_lot(label=f"26-{number}") for number in range(3)]
    network.wait(lambda: len(network.pushes()) >= 1)
    app.nudge()
    network.wait(lambda: len(network.pushes()) >= 2)
    app.until("phone.sync.state.doing === 'rest'")
    app.nudge()
    app.until_sent()
    # Nothing was refused in the server's own words: there is nothing for a person to mend.
    assert app.stored("refused") == []
    assert {event["lot"] for event in network.stored()} == set(lots)


def test_f04_signed_out_pauses_and_deletes_nothing(app: Phone, network: Network):
    network.next(PUSH, "401", times=-1)
    first = app.start_lot()
    app.until("phone.house.contact.value.state === 'signed-out'")
    second = app.start_lot(label="26-018-R")
    assert len(app.stored("outbox")) == 2
    network.heal()
    app.run("() => phone.sync.nudge('signed-in')")
    app.until_sent()
    assert {event["lot"] for event in network.stored()} == {first, second}


def test_f06_one_bad_event_holds_up_nothing_and_can_be_mended(app: Phone, network: Network):
    lot = app.start_lot()
    app.page.context.set_offline(True)
    good = app.record("looked", lot, {"moisture": 3})
    bad = app.record("looked", lot, {"moisture": 9})
    after = app.record("watered", lot)
    app.page.context.set_offline(False)
    app.until_sent()
    app.until_in_touch()
    assert {good["id"], after["id"]} < {event["id"] for event in network.stored()}
    (entry,) = app.run("() => phone.house.tray.value")
    assert entry["id"] == bad["id"]
    assert "moisture" in entry["problem"]["detail"]
    mended = app.run("(id) => phone.tray.mend(id, { moisture: 4 })", bad["id"])
    app.until("phone.house.tray.value.length === 0")
    assert mended["mends"] == bad["id"]
    assert mended["seq"] > after["seq"]
    assert mended["observed_at"] == bad["observed_at"]
    assert app.lot(lot)["last"]["moisture"]["value"] == 4
    app.until_in_touch()
    refused_since = app.run("() => phone.house.phone()?.refused_since")
    assert refused_since is None


def test_f06_a_mended_record_that_is_refused_again_can_be_mended_again(
    app: Phone, network: Network
):
    lot = app.start_lot()
    bad = app.record("looked", lot, {"moisture": 9})
    app.until("phone.house.tray.value.length === 1 && phone.house.pending.value.length === 0")
    worse = app.run("(id) => phone.tray.mend(id, { moisture: 8 })", bad["id"])
    app.until("(phone.house.tray.value[0] ?? {}).id === given", worse["id"])
    assert app.run("() => phone.house.trayCount.value") == 1
    app.run("(id) => phone.tray.mend(id, { moisture: 4 })", worse["id"])
    app.until("phone.house.tray.value.length === 0")
    app.until_in_touch()
    assert app.run("() => phone.house.phone().refused_since") is None
    assert app.run("() => phone.house.phone().gap_since") is None


def test_f06_a_refused_record_can_be_given_up_with_a_reason(app: Phone, network: Network):
    lot = app.start_lot()
    bad = app.record("counted", lot, {"emerged": -1, "out_of": 20})
    app.until("phone.house.tray.value.length === 1")
    app.run("(id) => phone.tray.giveUp(id, 'wrong lot')", bad["id"])
    app.until("phone.house.tray.value.length === 0")
    (voided,) = [event for event in network.stored() if event["kind"] == "voided"]
    assert voided["data"] == {"of": bad["id"], "why": "wrong lot"}
    app.until_in_touch()
    assert app.run("() => phone.house.phone().refused_since") is None


def test_f06_an_event_over_which_the_server_stumbles_holds_up_nothing(app: Phone, network: Network):
    """Every request that holds it fails whole; the others go through all the same."""
    app.page.context.set_offline(True)
    lots = [app.start_lot(label=f"26-{number}") for number in range(12)]
    poison = app.stored("outbox")[5]["id"]
    network.next(PUSH, "500", times=-1, concerns=lambda request: poison in names(request))
    app.page.context.set_offline(False)
    app.until("phone.house.contact.value.state === 'held-up'")
    assert {event["lot"] for event in network.stored()} == {*lots[:5], *lots[6:]}
    assert [entry["id"] for entry in app.stored("outbox")] == [poison]
    network.heal()
    app.nudge()
    app.until_sent()
    assert len(network.stored()) == 12


def test_f06_a_single_event_that_cannot_be_read_goes_to_the_tray_in_the_servers_words_only(
    app: Phone, network: Network
):
    """What something on the way refuses waits, and others pass it by: nobody could mend it."""
    app.page.context.set_offline(True)
    app.start_lot()
    bad = app.record("noted", None, {"text": "?"})
    network.next(PUSH, "400", times=-1, concerns=lambda request: bad["id"] in names(request))
    app.page.context.set_offline(False)
    app.until("phone.house.contact.value.state === 'held-up'")
    assert len(network.stored()) == 1
    assert [event["id"] for event in app.run("() => phone.house.pending.value")] == [bad["id"]]
    network.heal()
    network.next(PUSH, "400 said", times=-1, concerns=lambda request: bad["id"] in names(request))
    app.nudge()
    app.until("phone.house.tray.value.length === 1 && phone.house.pending.value.length === 0")
    assert app.run("() => phone.house.tray.value[0].id") == bad["id"]


def test_f07_two_tabs_do_not_flush_at_once(open_phone: OpenPhone, network: Network):
    """One tab's push hangs; the other does not send the same; when that ends, all goes."""
    first, second = open_phone(), open_phone()
    for tab in (first, second):
        tab.until_in_touch()
    network.next(PUSH, "hang")
    lot = first.start_lot()
    network.wait(lambda: network.pushing == 1)
    second.record("looked", lot, {"moisture": 3})
    for tab in (first, second):
        tab.nudge()
        # Requests for the lock are answered in order: when ours is refused, theirs were.
        assert tab.run(TAKEN) is True
    assert network.busiest_push == 1
    network.heal()
    for tab in (first, second):
        tab.nudge()
        tab.until_sent()
    assert network.busiest_push == 1
    assert [event["kind"] for event in network.stored()] == ["lot_started", "looked"]


def test_f07_a_tab_closed_in_the_middle_of_a_push_strands_nothing(
    open_phone: OpenPhone, network: Network
):
    first, second = open_phone(), open_phone()
    network.next(PUSH, "hang")
    first.start_lot()
    network.wait(lambda: network.pushing == 1)
    first.page.close()
    network.heal()
    second.nudge()
    second.until_sent()
    assert len(network.stored()) == 1


def test_what_one_tab_records_and_sends_the_other_tab_shows(open_phone: OpenPhone):
    first, second = open_phone(), open_phone()
    lot = first.start_lot()
    second.until("phone.house.lots.value.has(given)", lot)
    first.until_in_touch()
    second.until("phone.house.pending.value.length === 0")
    second.until("phone.house.lots.value.get(given).revision > 0", lot)


def test_f21_the_queue_moves_when_the_network_comes_back(app: Phone, network: Network):
    app.page.context.set_offline(True)
    lot = app.start_lot()
    app.until("phone.house.contact.value.state === 'unreachable'")
    app.page.context.set_offline(False)
    app.until_sent()
    assert [event["lot"] for event in network.stored()] == [lot]


def test_f22_an_answer_that_never_comes_does_not_stop_the_queue(
    open_phone: OpenPhone, network: Network
):
    """No new record and no event of the browser: the time limit and the timer alone."""
    app = open_phone(request_ms=1500)
    app.until_in_touch()
    network.next(PUSH, "hang", times=2)
    app.start_lot()
    app.until_sent()
    assert len(network.pushes()) >= 3
    assert len(network.stored()) == 1


def test_f22_a_request_that_never_settles_is_ended_by_the_watchdog(
    open_phone: OpenPhone, network: Network
):
    app = open_phone(watchdog_ms=500)
    app.until_in_touch()
    app.run(
        """() => {
          const real = window.fetch;
          window.fetch = () => {
            window.fetch = real;
            return new Promise(() => {});
          };
        }"""
    )
    app.start_lot()
    app.until_sent()
    assert len(network.stored()) == 1


def test_f22_the_server_stopped_and_started_again_gets_everything(
    open_phone: OpenPhone, network: Network
):
    app = open_phone()
    app.until_in_touch()
    network.stop()
    lot = app.start_lot()
    app.until("phone.house.contact.value.state === 'unreachable'")
    network.start()
    app.until_sent()
    assert [event["lot"] for event in network.stored()] == [lot]


def test_an_id_on_record_with_another_body_is_refused_and_shown(app: Phone, network: Network):
    """A clone of this phone has sent the same id with other words: neither is lost, none merged."""
    lot = str(uuid.uuid4())
    app.page.context.set_offline(True)
    event = app.record("looked", lot, {"moisture": 3})
    other = {name: value for name, value in event.items() if name not in ("device", "at")}
    body = {"device": str(uuid.uuid4()), "events": [{**other, "data": {"moisture": 2}}]}
    body["sent_at"] = event["observed_at"]
    network.next(PUSH, "503", times=-1, concerns=lambda request: request.body != body)
    app.page.context.set_offline(False)
    app.run("(body) => phone.server.ask('POST', '/api/v1/sync/push', body)", body)
    network.heal()
    app.nudge()
    app.until("phone.house.tray.value.length === 1")
    assert [stored["data"] for stored in network.stored()] == [{"moisture": 2}]
