"""Lots that were split and merged again and again: what they inherit costs once for each."""

import uuid

import pytest

from lathhouse.store import lots
from tests.server import Nursery

LEVELS = 40


def test_forty_generations_of_splits_and_merges_cost_once_for_each_lot(
    one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """Two ways lead through each level: followed one by one they would be 2 to the 40th."""
    nursery = one_nursery
    device, clock = nursery.device(), nursery.clock
    first = str(uuid.uuid4())
    usual = {"crop": "acer-palmatum", "label": "26-017-R", "unit": "seeds"}
    begun = clock.text(days=100)
    events = [
        device.event("lot_started", first, {**usual, "quantity": 4000}, at=begun),
        device.event("cold_started", first, {"where": "fridge", "temp_c": 4}, at=begun),
    ]
    merged = first
    for level in range(1, LEVELS + 1):
        halves = [str(uuid.uuid4()) for _ in range(2)]
        at = clock.text(days=100, hours=-2 * level)
        events += [
            device.event("lot_started", half, {**usual, "quantity": 10, "parents": [merged]}, at=at)
            for half in halves
        ]
        merged = str(uuid.uuid4())
        at = clock.text(days=100, hours=-2 * level - 1)
        said = {**usual, "quantity": 20, "parents": halves}
        events.append(device.event("lot_started", merged, said, at=at))
    folds: list[str] = []
    real = lots.snapshot

    def counted(lot_id: str, *more: object) -> object:
        folds.append(lot_id)
        return real(lot_id, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(lots, "snapshot", counted)
    assert len(device.push(*events)["stored"]) == len(events)
    # Each lot itself, and each parent of each as it was then.
    most = (1 + 2 * LEVELS + LEVELS) + (2 * LEVELS + 2 * LEVELS)
    assert len(folds) <= most
    (row,) = [row for row in nursery.rows("lots") if row["id"] == merged]
    (spell,) = row["spells"]
    # The last of forty generations is still as long in the cold as the first.
    assert (spell["kind"], spell["started_at"]) == ("cold", nursery.clock.text(days=100))
    # A late record of the very first one reaches the last.
    folds.clear()
    device.record("cold_ended", first, {}, at=clock.text(days=100, minutes=-30))
    assert len(folds) <= most
    (row,) = [row for row in nursery.rows("lots") if row["id"] == merged]
    assert [spell["ended_at"] for spell in row["spells"] if spell["ended_at"] is None] == []
    assert nursery.differences() == []
