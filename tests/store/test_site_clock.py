"""The wall clock is followed while it can be true; a phone says which of two clocks is right.

All limits are ours (FAULTS F12: what is dated by a wrong clock stays wrong for good).
"""

import math
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lathhouse.app import create_app
from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_text
from lathhouse.settings import Settings
from lathhouse.store import access, engine
from lathhouse.store.access import IDLE_DAYS, SESSION_DAYS
from lathhouse.store.leases import take_lease
from lathhouse.store.models import db
from lathhouse.store.site_clock import DAYS_AGREE_MS, SiteClock, certain_ms, last_trusted_ms
from lathhouse.store.work import Work, writing
from lathhouse.web.requests import SENT_AT, Moment
from tests.on_postgresql import address_for
from tests.saved_file import write_saved_file
from tests.server import Clock, Device, Nursery, close_nursery
from tests.web.test_people import Phone, link_for

START_MS = Clock().ms
PHONE = {"REMOTE_ADDR": "192.168.1.7"}


class Machine:
    """A computer: a wall clock that can be set, beside the time that truly passes."""

    def __init__(self) -> None:
        self.true_ms, self.wrong_by_ms = START_MS, 0

    def wall(self) -> int:
        return self.true_ms + self.wrong_by_ms

    def started(self, trusted_ms: int | None = START_MS) -> SiteClock:
        clock = SiteClock(self.wall, lambda: self.true_ms)
        clock.begin(trusted_ms)
        return clock

    def after(self, days: float = 0.0, wrong_by_days: float = 0.0) -> "Machine":
        self.true_ms += int(days * DAY_MS)
        self.wrong_by_ms = int(wrong_by_days * DAY_MS)
        return self


@pytest.mark.parametrize("wrong_by_days", [30, -3, 0.1, -0.1])
def test_a_clock_that_jumps_while_the_server_runs_is_not_followed(wrong_by_days: float):
    machine = Machine()
    clock = machine.started()
    machine.after(1, wrong_by_days)
    assert (clock(), clock.doubt) == (machine.true_ms, "jumped")
    machine.after(1, wrong_by_days)
    assert clock() == machine.true_ms
    machine.after(1)
    assert (clock(), clock.doubt) == (machine.true_ms, None)


def test_a_clock_that_is_corrected_by_minutes_is_followed():
    machine = Machine()
    clock = machine.started()
    machine.after(0, 0.5 / 24)
    assert (clock(), clock.doubt) == (machine.wall(), None)


def test_a_clock_that_begins_in_the_past_goes_on_from_the_last_time_until_it_is_set():
    machine = Machine().after(3, -20_000)
    clock = machine.started()
    assert (clock(), clock.doubt) == (START_MS, "behind")
    machine.true_ms += HOUR_MS
    assert clock() == START_MS + HOUR_MS
    machine.after(0)
    assert (clock(), clock.doubt) == (machine.true_ms, None)


def test_a_clock_far_ahead_at_the_start_goes_until_it_is_set_back_or_a_phone_agrees():
    """After a winter's rest it is right: the first phone says so."""
    machine = Machine().after(0.1, 400)
    clock = machine.started()
    assert (clock(), clock.doubt) == (machine.wall(), "ahead")
    machine.after(0.1)
    assert (clock(), clock.doubt) == (machine.true_ms, None)
    rested = Machine().after(60)
    clock = rested.started()
    assert clock.doubt == "ahead"
    assert clock.hear(rested.true_ms + 5000)
    assert (clock(), clock.doubt) == (rested.true_ms, None)


@pytest.mark.parametrize("out_ms", [DAYS_AGREE_MS, -DAYS_AGREE_MS])
def test_a_phone_that_is_minutes_out_ends_the_doubt_of_days_and_no_other(out_ms: int):
    rested = Machine().after(60)
    clock = rested.started()
    assert not clock.hear(rested.true_ms + out_ms + out_ms // DAYS_AGREE_MS)
    assert clock.doubt == "ahead"
    assert clock.hear(rested.true_ms + out_ms)
    assert (clock(), clock.doubt) == (rested.true_ms, None)
    # A clock that is a day ahead is not believed for a phone that is right.
    ahead = Machine().after(0.5, 1)
    clock = ahead.started()
    assert not clock.hear(ahead.true_ms)
    assert clock.doubt == "ahead"
    # Nor one whose hardware clock is in summer time: an hour is no phone's own fault.
    rested = Machine().after(60, math.copysign(1 / 24, out_ms))
    clock = rested.started()
    assert not clock.hear(rested.true_ms)
    assert clock.doubt == "ahead"
    # Which of two clocks jumped, or is behind, is a matter of minutes.
    for machine in (Machine().after(3, -20), Machine()):
        clock = machine.started()
        machine.after(0.1, machine.wrong_by_ms / DAY_MS or 0.1)
        assert not clock.hear(machine.wall() + out_ms)
        assert clock() != machine.wall()
        assert clock.doubt in ("behind", "jumped")


def test_a_phone_that_agrees_with_the_wall_clock_ends_the_doubt_and_no_other_does():
    """The server began with its last hour's time, and was set on while it ran."""
    machine = Machine().after(3, -3)
    clock = machine.started()
    assert clock.doubt is None
    assert not clock.hear(machine.true_ms), "no phone agreed since the start, and this one differs"
    machine.after(0)
    assert (clock(), clock.doubt) == (START_MS, "jumped")
    assert not clock.hear(machine.true_ms - DAY_MS)
    assert clock.hear(machine.true_ms)
    assert (clock(), clock.doubt) == (machine.true_ms, None)
    assert clock.hear(machine.true_ms - 9 * DAY_MS), "from now on it is the phone that is wrong"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[Nursery, Machine, Device]]:
    """A server with a watched clock, and a phone that is always right."""
    machine = Machine()
    url = address_for(tmp_path / "l.sqlite")
    app = create_app(Settings(tmp_path / "data", url, now_ms=machine.started(None)))
    right = Clock()
    nursery = Nursery(app, right)
    nursery.client.environ_base.update(PHONE)
    yield nursery, machine, nursery.device()
    close_nursery(nursery)


def go_on(nursery: Nursery, machine: Machine, days: float, wrong_by_days: float = 0.0) -> None:
    machine.after(days, wrong_by_days)
    nursery.clock.ms = machine.true_ms


@pytest.mark.parametrize("wrong_by_days", [30, -3])
def test_what_a_right_phone_records_is_dated_by_it_whatever_the_servers_clock_says(
    served: tuple[Nursery, Machine, Device], wrong_by_days: int
):
    nursery, machine, phone = served
    go_on(nursery, machine, 0.1, wrong_by_days)
    # As it was measured against the wrong clock by a program that did not know better.
    skew = {"run": "r", "skew_ms": machine.wrong_by_ms}
    event = phone.event("lot_started", str(uuid.uuid4()), STARTED, clock=skew)
    said = phone.push(event)
    assert (said["stored"], said["server_time"]) == ([event["id"]], None)
    assert nursery.call("GET", "/api/v1/sync/pull?after=0").json["server_time"] is None
    (kept,) = nursery.call("GET", "/api/v1/events").json["events"]
    assert kept["at"] == to_text(machine.true_ms)
    told = nursery.call("GET", "/ready", role=None).json
    assert (told["time"], told["time_doubted"]) == (False, "jumped")
    go_on(nursery, machine, 0.1)
    now = {"Lathhouse-Sent-At": nursery.clock.text()}
    bearer = {"Authorization": f"Bearer {nursery.token('owner')}"}
    page = nursery.client.get("/api/v1/sync/pull?after=0", headers={**bearer, **now})
    assert page.json["server_time"] == nursery.clock.text()
    assert nursery.call("GET", "/ready", role=None).json["time"] is True


@pytest.mark.parametrize(("wrong_by_days", "doubt"), [(30, "jumped"), (-20_000, "behind")])
def test_a_saved_file_and_readings_are_dated_likewise_and_phones_are_told_of_the_doubt(
    served: tuple[Nursery, Machine, Device], wrong_by_days: int, doubt: str
):
    """A sensor with a clock of its own says the true time; a phone measured the wrong one."""
    nursery, machine, phone = served
    shed = str(uuid.uuid4())
    phone.record("place_changed", None, {"id": shed, "name": "Shed", "kind": "bench", "order": 1})
    assert nursery.call("GET", "/api/v1/sync/pull?after=0").json["time_doubted"] is None
    go_on(nursery, machine, 3, wrong_by_days)
    if doubt == "behind":
        nursery.app.config["LATHHOUSE"].now_ms = machine.started()
    skew = {"run": "r", "skew_ms": machine.wrong_by_ms}
    event = phone.event("lot_started", str(uuid.uuid4()), STARTED, clock=skew)
    held = {"site": nursery.site, "device": phone.id, "made_at": nursery.clock.text()}
    held |= {"skew_ms": machine.wrong_by_ms, "events": [event]}
    said = nursery.call("POST", "/api/v1/saved-files", {"text": write_saved_file(held)})
    assert (said.json["stored"], said.json["refused"]) == (1, []), said.json
    reading = {"place": shed, "value": 4.5, "read_at": nursery.clock.text()}
    assert nursery.call("POST", "/api/v1/readings", reading).status_code == 200
    kept = nursery.call("GET", "/api/v1/events").json["events"][-2:]
    assert {one["at"] for one in kept} == {to_text(machine.true_ms)}
    assert nursery.call("GET", "/api/v1/sync/pull?after=0").json["time_doubted"] == doubt


def test_an_answer_to_an_alert_is_dated_by_who_gives_it_and_its_time_is_heard_like_a_push(
    served: tuple[Nursery, Machine, Device],
):
    nursery, machine, phone = served
    lot = phone.start_lot(at=nursery.clock.text(days=30))
    phone.record("cold_started", lot, {}, at=nursery.clock.text(days=10))
    nursery.tick()
    alerts = nursery.call("GET", "/api/v1/alerts?state=standing").json["alerts"]
    (look,) = (one["id"] for one in alerts if one["watch"] == "cold-look")

    def answer(how: str, **body: str) -> Any:
        sent = {"Authorization": f"Bearer {nursery.token('owner')}"}
        sent["Lathhouse-Sent-At"] = nursery.clock.text()
        said = nursery.client.post(f"/api/v1/alerts/{look}/{how}", json=body, headers=sent)
        assert said.status_code == 200, said.json
        event = nursery.call("GET", "/api/v1/events").json["events"][-1]
        assert event["at"] == event["observed_at"] == nursery.clock.text()
        return said.json

    def doubt() -> str | None:
        found: str | None = nursery.call("GET", "/api/v1/sync/pull?after=0").json["time_doubted"]
        return found

    go_on(nursery, machine, 0.1, 30)
    nursery.app.config["LATHHOUSE"].now_ms = machine.started()
    assert answer("acknowledge")["acknowledged_at"] == nursery.clock.text()
    assert doubt() == "ahead"
    # The computer rested for three days and is right: whoever answers says so.
    go_on(nursery, machine, 3)
    nursery.app.config["LATHHOUSE"].now_ms = machine.started()
    assert doubt() == "ahead"
    left = to_text(machine.true_ms + HOUR_MS)
    assert answer("shelve", until=left, why="rain")["shelved_at"] == nursery.clock.text()
    assert doubt() is None


def test_a_phone_is_cut_off_and_paired_again_by_no_clock_that_runs_ahead(
    served: tuple[Nursery, Machine, Device],
):
    """Or what was said of it then would stand for good over what is said later."""
    nursery, machine, _ = served
    phone, owner = Phone(nursery), {"Authorization": f"Bearer {nursery.token('owner')}"}

    def row() -> dict[str, Any]:
        return next(one for one in nursery.rows("phones") if one["id"] == phone.id)

    def pair_and_cut_off() -> None:
        sent = {"HTTP_LATHHOUSE_SENT_AT": nursery.clock.text()}
        phone.client.environ_base.update(PHONE | sent)
        assert phone.pair(link_for(nursery, "worker")["link"]).status_code == 200
        assert row()["cut_off_at"] is None
        go_on(nursery, machine, 0.001, machine.wrong_by_ms / DAY_MS)
        at = nursery.clock.text()
        asked = {"path": f"/api/v1/phones/{phone.id}/cut-off", "headers": owner | {SENT_AT: at}}
        assert nursery.client.post(**asked).status_code == 200
        event = nursery.call("GET", "/api/v1/events").json["events"][-1]
        assert row()["cut_off_at"] == event["data"]["cut_off_at"] == event["at"] == at

    # In no doubt, though no phone has agreed yet: it is the owner's phone that is wrong.
    sent = {"HTTP_LATHHOUSE_SENT_AT": nursery.clock.text(days=-30)}
    phone.client.environ_base.update(PHONE | sent)
    assert phone.pair(link_for(nursery, "worker")["link"]).status_code == 200
    asked = {"path": f"/api/v1/phones/{phone.id}/cut-off"}
    asked["headers"] = owner | {SENT_AT: nursery.clock.text(days=-30)}
    assert nursery.client.post(**asked).status_code == 200
    told = nursery.call("GET", "/api/v1/events").json["events"]
    assert {one["at"] for one in told} == {row()["cut_off_at"]} == {nursery.clock.text()}

    go_on(nursery, machine, 0.1, 30)
    nursery.app.config["LATHHOUSE"].now_ms = machine.started()
    pair_and_cut_off()
    go_on(nursery, machine, 0.1)
    pair_and_cut_off()
    # A time that cannot be right dates nothing, and holds up no cutting off.
    for odd in (-1, machine.true_ms + 401 * DAY_MS):
        assert Moment(machine.true_ms, False, odd).observed_ms == machine.true_ms


@pytest.mark.parametrize("by_passphrase", [False, True])
def test_a_clock_far_ahead_signs_no_phone_out_and_lets_none_in_for_longer(
    served: tuple[Nursery, Machine, Device], by_passphrase: bool
):
    """What had ended by the last time that was trusted stays ended."""
    nursery, machine, _ = served
    days = IDLE_DAYS if by_passphrase else SESSION_DAYS
    let_in: list[str] = []

    def act(work: Work) -> None:
        for _ in range(2):
            device, more = str(uuid.uuid4()), {"by_passphrase": by_passphrase}
            let_in.append(access.let_in(work, "worker", None, device, None, None, **more)["cookie"])

    def status(cookie: str) -> int:
        sent = {"Cookie": f"lathhouse_session={cookie}"}
        phone = nursery.app.test_client(use_cookies=False)
        return phone.get("/api/v1/alerts", headers=sent).status_code

    def ticks(days: float, wrong_by_days: float, *, restarts: bool = False) -> None:
        """Go on to then; the clock's lease is taken there, as it is every few seconds."""
        go_on(nursery, machine, days, wrong_by_days)
        settings = nursery.app.config["LATHHOUSE"]
        with nursery.app.app_context():
            if restarts:
                with engine.reading(db.engine) as connection:
                    settings.now_ms = machine.started(last_trusted_ms(connection))
            now_ms = settings.now_ms()
            take_lease(nursery.site, "clock", now_ms, certain_ms(settings.now_ms))

    with nursery.app.app_context():
        writing(nursery.site, nursery.clock.text(), act)
    in_use = let_in[0]
    ticks(days - 1, 0)
    assert status(in_use) == 200
    ticks(2, 0)
    assert [status(one) for one in let_in] == [200, 401], "the other was not in touch"
    ticks(1, 0)
    ticks(0.1, days + 20, restarts=True)
    assert [status(one) for one in let_in] == [200, 401]
    assert nursery.call("GET", "/ready", role=None).json["time_doubted"] == "ahead"
    shown = nursery.call("GET", "/api/v1/phones").json["phones"]
    assert sorted(one["lets_in"] for one in shown) == [False, True]
    # Set right again, no session lives longer for what was noted meanwhile.
    ticks(0.1, 0)
    ticks(days + 1, 0)
    assert [status(one) for one in let_in] == [401, 401]
    # In a doubt that nobody ends, time is counted all the same, over a restart too.
    with nursery.app.app_context():
        writing(nursery.site, nursery.clock.text(), act)
    for half in (days / 2 - 1, days / 2 + 1):
        ticks(0.1, days + 20, restarts=True)
        assert status(let_in[-2]) == 200
        ticks(half, days + 20)
    assert status(let_in[-1]) == 401, "it was not in touch"


def test_a_link_does_not_outlive_its_end_where_the_clock_ran_ahead(
    served: tuple[Nursery, Machine, Device],
):
    """Neither one that had ended by then, nor one that was made then."""
    nursery, machine, _ = served
    site = nursery.site

    def at(days: float) -> str:
        return to_text(machine.true_ms + round(days * DAY_MS))

    def opens(secret: str, days: float) -> bool:
        return access.redeem(site, secret, str(uuid.uuid4()), None, at(days)) is not None

    with nursery.app.app_context():
        ended = access.another_owner_link(site, at(0))
        assert not opens(ended, 200)
        access.another_owner_link(site, at(600))
        assert not opens(ended, 201)
        ahead = access.make_link(site, "worker", None, at(600), 10)
        assert not opens(ahead, 300)
        assert opens(ahead, 600)


STARTED = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}


def test_the_last_trusted_time_outlives_the_process(
    served: tuple[Nursery, Machine, Device], tmp_path: Path
):
    nursery, machine, _ = served
    with nursery.app.app_context():
        take_lease(nursery.site, "clock", machine.true_ms, machine.true_ms)
        take_lease(nursery.site, "clock", machine.true_ms + 9 * DAY_MS)
    machine.after(2, -100)
    again = machine.started(None)
    url = address_for(tmp_path / "l.sqlite")
    create_app(Settings(tmp_path / "data", url, now_ms=again))
    assert (again(), again.doubt) == (START_MS, "behind")
