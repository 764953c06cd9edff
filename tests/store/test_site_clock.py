"""The wall clock is followed while it can be true; a phone says which of two clocks is right.

All limits are ours (FAULTS F12: what is dated by a wrong clock stays wrong for good).
"""

import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from lathhouse.app import create_app
from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_text
from lathhouse.settings import Settings
from lathhouse.store.leases import take_lease
from lathhouse.store.site_clock import SiteClock
from tests.saved_file import write_saved_file
from tests.server import Clock, Device, Nursery, close_nursery

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
    url = f"sqlite:///{tmp_path / 'l.sqlite'}"
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


STARTED = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}


def test_the_last_trusted_time_outlives_the_process(
    served: tuple[Nursery, Machine, Device], tmp_path: Path
):
    nursery, machine, _ = served
    with nursery.app.app_context():
        take_lease(nursery.site, "clock", machine.true_ms, sure=True)
        take_lease(nursery.site, "clock", machine.true_ms + 9 * DAY_MS)
    machine.after(2, -100)
    again = machine.started(None)
    url = f"sqlite:///{tmp_path / 'l.sqlite'}"
    create_app(Settings(tmp_path / "data", url, now_ms=again))
    assert (again(), again.doubt) == (START_MS, "behind")
