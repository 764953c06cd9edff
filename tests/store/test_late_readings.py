"""What comes late goes on from a row as it was, and comes to what the whole log comes to."""

import random
import uuid
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select, text

from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.rows import MARK_MS, MARKS, go_on, go_on_marking, marks
from lathhouse.store import config, long_rows
from lathhouse.store.log import Log
from lathhouse.store.long_rows import spared
from lathhouse.store.models import RowMark
from lathhouse.store.work import looking
from tests.parity.test_rows import place_case
from tests.server import Nursery

SEEDS = range(12)


def fridge(nursery: Nursery, device: Any) -> str:
    row = {"id": str(uuid.uuid4()), "name": "Shed fridge", "order": 1, "kind": "chamber"}
    device.record("place_changed", None, row, at=nursery.clock.text(days=60))
    return row["id"]


def readings(device: Any, place: str, times_ms: list[int], start: float = 3) -> list[Any]:
    said = {"place": place, "quantity_kind": "temp_c", "by_sensor": "probe"}
    return [
        device.event("read", None, {**said, "value": start + at // 60_000 % 7}, at=to_text(at))
        for at in times_ms
    ]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_row_kept_at_marks_goes_on_to_what_the_whole_log_comes_to(seed: int):
    case = place_case(seed)
    ordered = effective(case["events"])
    whole = go_on(case["row"], ordered)
    at = marks(ordered[-1]["at"])
    row, kept = go_on_marking(case["row"], iter(ordered), at)
    assert row == whole
    assert [until for until, _ in kept] == sorted({until for until, _ in kept})
    for until, was in kept:
        assert go_on(was, [event for event in ordered if event["at"] > until]) == whole
        assert was == go_on(case["row"], [event for event in ordered if event["at"] <= until])


@pytest.mark.parametrize("seed", SEEDS[:3])
def test_late_readings_in_any_order_come_to_what_all_of_them_come_to(
    one_nursery: Nursery, seed: int, monkeypatch: pytest.MonkeyPatch
):
    """With corrections, covers and rounds between; `check` folds the whole log from nothing."""
    pick, nursery = random.Random(seed), one_nursery
    device, now = nursery.device(), nursery.clock.ms
    place = fridge(nursery, device)
    routes = {"late": 0, "whole": 0}
    for name, route in (("late", long_rows.fold_late), ("whole", long_rows.fold_whole)):

        def counted(*asked: Any, name: str = name, route: Any = route) -> Any:
            found = route(*asked)
            routes[name] += found is not None
            return found

        monkeypatch.setattr(long_rows, f"fold_{name}", counted)
    at, events = now - 12 * 24 * HOUR_MS, []
    while at < now:
        at += pick.choice([10, 10, 90, 600]) * MINUTE_MS
        events += readings(device, place, [min(at, now)])
        if pick.random() < 0.05:
            what = pick.choice(["covered", "uncovered", "round_closed"])
            events.append(device.event(what, None, {"place": place}, at=to_text(min(at, now))))
        if pick.random() < 0.03:
            said = {"of": pick.choice(events)["id"], "data": {"value": 9.5}}
            # Its own clock may say that it was made before what it corrects.
            when = pick.choice([min(at, now), at - 20 * 24 * HOUR_MS])
            events.append(device.event("amended", None, said, at=to_text(when)))
    # Most come in order, a few hours late, and some days: a logger that was off sends its memory.
    late = [pick.choice([0, 0, 0, 0, 5, 40, 90]) for _ in events]
    order = sorted(range(len(events)), key=lambda number: number + late[number])
    while order:
        size = pick.randint(1, 16)
        batch, order = order[:size], order[size:]
        device.push(*(events[number] for number in batch))
    assert nursery.differences() == []
    assert min(routes.values()) > 2, routes


def test_a_late_reading_reads_no_more_than_what_came_since(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    device, now = nursery.device(), nursery.clock.ms
    place = fridge(nursery, device)
    times = list(range(now - 40 * 24 * HOUR_MS, now, HOUR_MS))
    for first in range(0, len(times), 50):
        device.push(*readings(device, place, times[first : first + 50]))
    with nursery.app.app_context():
        count = looking(
            nursery.site, nursery.clock.text(),
            lambda work: work.connection.scalar(select(func.count()).select_from(RowMark)),
        )  # fmt: skip
    assert 0 < count <= 2 * MARKS + 1
    read: list[int] = []
    real = Log.since

    def counted(*asked: Any) -> Any:
        found = real(*asked)
        read.append(len(found))
        return found

    monkeypatch.setattr(Log, "since", counted)
    monkeypatch.setattr(long_rows, "fold_whole", None)
    for hours in (1, 12, 72):
        device.push(*readings(device, place, [now - hours * HOUR_MS - 7 * MINUTE_MS]))
        # Marks lie twice as far back as the one after them: about so much, whatever there is.
        assert read[-1] <= 4 * hours + 2 * MARK_MS // HOUR_MS + 8
    monkeypatch.undo()
    assert nursery.differences() == []
    # A correction is folded from the whole log, and leaves marks that hold it.
    event = device.event("voided", None, {"of": readings(device, place, [now])[0]["id"]})
    device.push(*readings(device, place, [now - 100 * HOUR_MS]), event)
    device.push(*readings(device, place, [now - 101 * HOUR_MS]))
    assert nursery.differences() == []


def test_the_flow_of_a_log_says_what_the_whole_log_says(nursery: Nursery):
    """Part by part, with what corrects it: `effective` of all the events at once is the judge."""
    pick = random.Random(7)
    devices, now = [nursery.device() for _ in range(3)], nursery.clock.ms
    place = fridge(nursery, devices[0])
    told: list[Any] = []
    for _ in range(120):
        device = pick.choice(devices)
        at = now - pick.randrange(40) * HOUR_MS
        event = readings(device, place, [at])[0]
        if told and pick.random() < 0.3:
            of = pick.choice(told)["id"]
            kind = pick.choice(["voided", "amended"])
            said = {"of": of} if kind == "voided" else {"of": of, "data": {"value": pick.random()}}
            event = device.event(kind, None, said, at=to_text(at))
        told.append(event)
        device.push(event)

    def both(work: Any) -> tuple[list[Any], list[Any]]:
        log = Log(work, [])
        return list(log.flow("place", place)), effective(log.events_about("place", place))

    with nursery.app.app_context():
        flow, whole = looking(nursery.site, nursery.clock.text(), both)
    assert flow == whole
    assert len(flow) > 50


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.integers(1, 40), min_size=1, max_size=120))
def test_what_is_spared_is_few_and_leaves_no_long_gap(hours: list[int]):
    kept: list[str] = []
    at = to_ms("2026-01-01T00:00:00.000Z")
    for step in hours:
        at += max(step * HOUR_MS, MARK_MS)
        kept = sorted(spared(sorted([*kept, to_text(at)])))
        assert kept[-1] == to_text(at)
        assert len(kept) <= MARKS + 2


def test_a_row_says_the_same_after_it_was_folded_again_from_nothing(one_nursery: Nursery):
    device, now = one_nursery.device(), one_nursery.clock.ms
    place = fridge(one_nursery, device)
    device.push(*readings(device, place, list(range(now - 90 * HOUR_MS, now, HOUR_MS))))
    device.push(*readings(device, place, [now - 30 * MINUTE_MS]))
    (before,) = [row for row in one_nursery.rows("places") if row["id"] == place]
    with one_nursery.database() as connection:
        connection.execute(text("DELETE FROM row_marks"))
    with one_nursery.app.app_context():
        fresh = looking(
            one_nursery.site,
            one_nursery.clock.text(),
            lambda work: config.fold_row(
                work.site_id, ("place", place), None, Log(work, []).events_about("place", place)
            ),
        )
    assert {**before, "revision": 0} == {**before, **fresh, "id": place, "revision": 0}
