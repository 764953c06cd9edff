"""The order of arrival means nothing: random logs through the HTTP door, pushed in other orders."""

import json
import random
import uuid
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from lathhouse.domain.instants import to_ms, to_text
from lathhouse.errors import Refusal
from lathhouse.sync.kinds import check_event, corrected_at
from tests.on_postgresql import address_for
from tests.parity.logs import CHILD, LOT, PARENTS
from tests.parity.stories import make_log
from tests.server import Clock, Nursery, close_nursery, open_nursery

SEEDS = range(80)
BATCH_MOST = 7
NAMES = (LOT, CHILD, *PARENTS)
# How a row is kept, not what it says; and when it was that it was derived.
KEPT = ("revision", "tail", "checkpoint", "checkpoint_at", "next_deadline", "folded_at")
Event = dict[str, Any]


def uuid_of(seed: int, name: Any) -> Any:
    """Return the id under which a random log's name goes over the wire."""
    if name is None or not isinstance(name, str):
        return name
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{seed}|{name}"))


def sent(seed: int, event: Event) -> Event:
    """Return a random log's event as its phone would send it, its clock an hour or years out."""
    pick = random.Random(f"{seed}|{event['device']}")
    skew_ms = pick.choice([0, 0, 3_600_000, -400 * 86_400_000])
    ids = {name: uuid_of(seed, name) for name in NAMES}
    data = {name: _renamed(seed, ids, name, value) for name, value in (event["data"] or {}).items()}
    clock = {"clock": {"run": "r", "skew_ms": skew_ms}} if skew_ms else {}
    return {
        "id": uuid_of(seed, event["id"]),
        "seq": event["seq"],
        "kind": event["kind"],
        "lot": ids.get(event["lot"], uuid_of(seed, event["lot"])),
        "observed_at": to_text(to_ms(event["at"]) - skew_ms),
        "by": None,
        "data": data,
        **clock,
    }


def _renamed(seed: int, ids: dict[str, str], name: str, value: Any) -> Any:
    if name == "of":
        return uuid_of(seed, value)
    if name == "parents" and isinstance(value, list):
        return [ids.get(one, one) for one in value]
    return ids.get(value, value) if isinstance(value, str) else value


def takeable(event: Event) -> bool:
    """Say whether the door takes it: what it refuses is another test's matter."""
    try:
        corrected_at(check_event(event), 0, Clock().ms)
    except Refusal:
        return False
    return True


def logs(seed: int) -> dict[str, list[Event]]:
    """Return {device: its events in its own order} of a random log, without doubles."""
    found: dict[str, dict[str, Event]] = defaultdict(dict)
    for event in make_log(seed)[0]:
        found[event["device"]].setdefault(event["id"], sent(seed, event))
    return {
        device: sorted(filter(takeable, events.values()), key=lambda event: event["seq"])
        for device, events in found.items()
    }


def arrivals(seed: int, order: int) -> list[tuple[str, list[Event]]]:
    """Return batches as they might arrive: each device's events in any order, some twice."""
    pick = random.Random(f"{seed}|{order}")
    batches = []
    for device, events in logs(seed).items():
        mine = list(events)
        if order:
            pick.shuffle(mine)
        while mine:
            size = pick.randint(1, BATCH_MOST)
            batches.append((uuid_of(seed, f"device {device}"), mine[:size]))
            mine = mine[size:]
    if order:
        pick.shuffle(batches)
        batches += pick.sample(batches, len(batches) // 3)
    return batches


def told(nursery: Nursery) -> Any:
    """Return what the nursery says of lots and places, and what stands, without how it is kept."""
    found = {}
    for kind in ("lots", "places", "protocols", "watches"):
        for row in nursery.rows(kind):
            plain = {name: value for name, value in row.items() if name not in KEPT}
            found[kind, row["id"]] = plain
    alerts = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    # Not by its id: a row that stands goes on under the start for which it was raised.
    about_lots = {
        (alert["lot"], alert["watch"], alert["level"], alert["since"], alert["state"])
        for alert in alerts
        if alert["subject"]["kind"] == "lot"
    }
    return found, about_lots


@pytest.fixture
def nurseries(tmp_path: Path, clock: Clock) -> Iterator[list[Nursery]]:
    """Three servers of the same record to be."""
    opened = [
        open_nursery(address_for(tmp_path / f"{n}.sqlite"), tmp_path / str(n), clock)
        for n in range(3)
    ]
    yield opened
    for one in opened:
        close_nursery(one)


def push_all(nursery: Nursery, seed: int, order: int) -> None:
    for device, events in arrivals(seed, order):
        body = {"device": device, "sent_at": nursery.clock.text(), "events": events}
        said = nursery.call("POST", "/api/v1/sync/push", body).json
        assert said["refused"] == [], (seed, said["refused"])


def test_any_order_of_arrival_gives_the_same_lots_and_alerts(nurseries: list[Nursery]):
    """Repeated spells, corrections of corrections, splits, clocks that are years out, doubles."""
    events = 0
    for seed in SEEDS:
        print("seed", seed)
        for order, nursery in enumerate(nurseries):
            push_all(nursery, seed, order)
        events += sum(map(len, logs(seed).values()))
    for nursery in nurseries:
        nursery.tick()
        assert nursery.differences() == []
    first, *others = map(told, nurseries)
    assert events > 500
    for other in others:
        assert other == first


def test_on_either_database_the_stored_lots_are_a_fold_from_nothing(nursery: Nursery):
    for seed in (3, 5, 8):
        print("seed", seed)
        push_all(nursery, seed, order=seed)
        nursery.tick()
        assert nursery.differences() == []


def test_the_check_that_compares_with_a_fold_can_fail(one_nursery: Nursery):
    push_all(one_nursery, 2, order=1)
    spoil(one_nursery)
    assert any("is not what its events say" in one for one in one_nursery.differences())


def spoil(nursery: Nursery) -> None:
    """Change a stored lot behind the record's back."""
    with nursery.database() as connection:
        query = "SELECT id, data FROM subjects WHERE kind = 'lot' ORDER BY id"
        row = connection.execute(text(query)).first()
        assert row is not None
        said = {"id": row.id, "data": json.dumps({**json.loads(row.data), "quantity": 123456})}
        connection.execute(text("UPDATE subjects SET data = :data WHERE id = :id"), said)


@pytest.mark.parametrize("generations", [1, 2])
def test_a_parents_past_told_late_together_with_a_childs_present_reaches_the_child(
    one_nursery: Nursery, generations: int
):
    """The demo's oldest stock, pushed phone by phone: the child knew nothing of its sowing."""
    orla, shed, clock = one_nursery.device(), one_nursery.device(), one_nursery.clock
    family = [orla.start_lot(at=clock.text(days=400))]
    for age in range(generations):
        at = clock.text(days=100 - age)
        family.append(orla.start_lot(at=at, parents=[family[-1]], label=f"child {age}"))
    cold = {"where": "fridge", "temp_c": 4}
    said = shed.push(
        shed.event("cold_started", family[0], cold, at=clock.text(days=390)),
        *(shed.event("looked", lot, {"moisture": 3}, at=clock.text(days=1)) for lot in family),
    )
    assert said["refused"] == []
    assert one_nursery.lot(family[-1])["spells"][0]["started_at"] == clock.text(days=390)
    assert one_nursery.differences() == []
