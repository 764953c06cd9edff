"""Places, rules and the nursery itself: any order of arrival gives the same rows and alerts."""

import random
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.instants import to_text
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

SEEDS = range(5)
STEPS, BATCH_MOST, DAY_MS = 60, 5, 86_400_000
# How far the phones' clocks are out: not at all, an hour behind, three years ahead.
SKEWS = {"a": 0, "b": 3_600_000, "c": -3 * 365 * DAY_MS}
# How a row is kept, and where; the nursery's own id is each server's own.
KEPT = ("revision", "tail", "checkpoint", "checkpoint_at", "next_deadline")
Event = dict[str, Any]


class Story:
    """What three phones record of a few places, from a seed that a failure names."""

    def __init__(self, seed: int) -> None:
        self.pick = random.Random(seed)
        self.ids = random.Random(f"ids of {seed}")
        self.places = [self.new_id() for _ in range(2)]
        self.lots = [self.new_id() for _ in range(3)]
        self.devices = {name: self.new_id() for name in SKEWS}
        self.events: dict[str, list[Event]] = {name: [] for name in SKEWS}
        self.told: list[Event] = []
        self.at = Clock().ms - 20 * DAY_MS
        for lot in self.lots:
            start = {"crop": "acer-palmatum", "label": "x", "quantity": 90, "unit": "seeds"}
            self.add("lot_started", lot, {**start, "place": self.pick.choice(self.places)})
        for _ in range(STEPS):
            self.step()

    def new_id(self) -> str:
        return str(uuid.UUID(int=self.ids.getrandbits(128), version=4))

    def add(self, kind: str, lot: str | None, data: dict[str, Any]) -> None:
        """Record an event on one of the phones, now by its own clock."""
        device = self.pick.choice(list(SKEWS))
        mine, skew = self.events[device], SKEWS[device]
        event = {"id": self.new_id(), "seq": len(mine) + 1, "kind": kind, "lot": lot, "data": data}
        event |= {"observed_at": to_text(self.at - skew), "clock": {"run": "r", "skew_ms": skew}}
        mine.append(event)
        self.told.append(event)

    def step(self) -> None:
        """Let some hours pass, or none, and record one thing."""
        pick = self.pick
        self.at += pick.choice([0, 1, 3_600_000, 7 * 3_600_000, 11 * 3_600_000])
        place, lot = pick.choice(self.places), pick.choice(self.lots)
        row = {"id": place, "name": f"House {pick.randint(1, 9)}", "order": pick.randint(1, 5)}
        row |= {"kind": pick.choice(["chamber", "bench"]), "daily": pick.random() < 0.8}
        reading = {"place": place, "quantity_kind": "temp_c", "value": pick.choice([-3, 4, 4, 12])}
        answer = {"watch": "round-missing", "place": place, "why": "away"}
        until = to_text(self.at + pick.choice([1, 9]) * DAY_MS)
        after = {"due": {"days": pick.randint(2, 9)}}
        rule = {"id": f"own-{place}", "subjects": ["lot"], "clock": ["seen_at"], "after": after}
        rule |= {"priority": 4, "says": "{label}: a long while", "next_action": "Look at it"}
        choices: list[tuple[str, str | None, dict[str, Any]]] = [
            ("place_changed", None, row),
            ("read", None, reading),
            ("read", None, reading),
            ("round_closed", None, {"place": place}),
            ("round_closed", None, {}),
            ("acknowledged", None, answer),
            ("shelved", None, {**answer, "until": until}),
            ("covered", None, {"place": place}),
            ("uncovered", None, {"place": place}),
            ("moved", lot, {"place": place}),
            ("looked", lot, {"moisture": 3}),
            ("watch_changed", None, rule),
            ("person_changed", None, {"id": f"jo-{place}", "name": pick.choice("JK") + place}),
            ("voided", None, {"of": pick.choice(self.told)["id"], "why": "slip"}),
            ("amended", None, self.amendment()),
        ]
        self.add(*pick.choice(choices))

    def amendment(self) -> dict[str, Any]:
        target = self.pick.choice(self.told)
        elsewhere = {"place": self.pick.choice([*self.places, None])}
        other = {"name": "Shed"}
        said = self.pick.choice([{"value": 5}, {"daily": True}, other, {"moisture": 1}, elsewhere])
        return {"of": target["id"], "data": said}

    def arrivals(self, order: int) -> list[tuple[str, list[Event]]]:
        """Return the batches in one of the orders in which they might arrive."""
        pick = random.Random(f"{order}|{self.lots[0]}")
        batches = []
        for device, events in self.events.items():
            mine = list(events)
            if order:
                pick.shuffle(mine)
            size = pick.randint(1, BATCH_MOST) if order else 2 * BATCH_MOST
            cut = [mine[start : start + size] for start in range(0, len(mine), size)]
            batches += [(self.devices[device], part) for part in cut]
        if order:
            pick.shuffle(batches)
        return batches


def told(nursery: Nursery) -> Any:
    """Return what is said of every row that is no phone, and what stands on each of them."""
    rows: dict[Any, Any] = {}
    for kind in ("lots", "places", "people", "watches", "nursery"):
        for row in nursery.rows(kind):
            name = None if kind == "nursery" else row["id"]
            left_out = (*KEPT, *(("id",) if kind == "nursery" else ()))
            rows[kind, name] = {key: row[key] for key in row if key not in left_out}
    alerts = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    stands = {
        (alert["subject"]["id"], alert["watch"], alert["level"], alert["since"], alert["state"])
        for alert in alerts
        if alert["subject"]["kind"] in ("lot", "place")
    }
    return rows, stands


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


def push_all(nursery: Nursery, story: Story, order: int) -> None:
    for device, events in story.arrivals(order):
        body = {"device": device, "sent_at": nursery.clock.text(), "events": events}
        said = nursery.call("POST", "/api/v1/sync/push", body).json
        assert said["refused"] == [], said["refused"]


def test_any_order_gives_the_same_places_rules_and_alerts(nurseries: list[Nursery]):
    for seed in SEEDS:
        print("seed", seed)
        for order, nursery in enumerate(nurseries):
            push_all(nursery, Story(seed), order)
    for nursery in nurseries:
        nursery.tick()
        assert nursery.differences() == []
    first, *others = map(told, nurseries)
    for other in others:
        assert other == first
    assert {"round-missing", "chamber-band"} <= {watch for _, watch, *_ in first[1]}


def test_on_either_database_the_stored_rows_are_a_fold_from_nothing(nursery: Nursery):
    for seed in (101, 102):
        print("seed", seed)
        push_all(nursery, Story(seed), order=seed)
    nursery.tick()
    assert nursery.differences() == []
