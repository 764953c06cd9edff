"""Buckets of bleach over HTTP: what the row says, and a dip in one that is past its life."""

import uuid
from typing import Any

import pytest

from tests.server import Device, Nursery


def mix(device: Device, hours_ago: float, **more: Any) -> str:
    """Mix four litres that long ago; return the bucket's id."""
    bucket = str(uuid.uuid4())
    said = {
        "solution": bucket, "product_strength": 4, "product_unit": "percent_available_chlorine",
        "wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000, "product_ml": 600,
        "water_ml": 3400, "ppm": 6000, "percent_by_volume": 15,
    }  # fmt: skip
    at = device.nursery.clock.text(hours=hours_ago)
    device.record("solution_mixed", None, {**said, **more}, at=at)
    return bucket


def dip(device: Device, bucket: str, minutes_ago: float = 0, **more: Any) -> str:
    """Dip a new lot; return its id."""
    lot = device.start_lot(at=device.nursery.clock.text(days=1))
    at = device.nursery.clock.text(minutes=minutes_ago)
    said = {"solution": bucket, "limit_minutes": 10, **more}
    device.record("sanitise_started", lot, said, at=at)
    return lot


def bucket_row(nursery: Nursery, bucket: str) -> dict[str, Any]:
    (row,) = [row for row in nursery.rows("solutions") if row["id"] == bucket]
    return row


def told_of(nursery: Nursery) -> set[str]:
    """Return the lots of which `solution-old` says something."""
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    return {alert["lot"] for alert in found if alert["watch"] == "solution-old" and alert["lot"]}


def test_a_bucket_reaches_the_phones_with_its_life_and_its_uses(nursery: Nursery):
    device = nursery.device()
    bucket = mix(device, 2)
    lot = dip(device, bucket)
    row = bucket_row(nursery, bucket)
    assert (row["ppm"], row["product_ml"], row["open"]) == (6000, 600, True)
    assert row["mixed_at"] == nursery.clock.text(hours=2)
    assert row["old_at"] == nursery.clock.text(hours=-22)
    assert row["spent_at"] == nursery.clock.text(minutes=-10)
    (use,) = row["used_by"]
    assert (use["lot"], use["old"], use["spent"]) == (lot, False, False)
    assert told_of(nursery) == set()
    device.record("solution_discarded", None, {"solution": bucket})
    assert bucket_row(nursery, bucket)["open"] is False
    assert nursery.differences() == []


def test_a_dip_in_a_bucket_past_its_life_is_stored_and_told_for_a_day(nursery: Nursery):
    device = nursery.device()
    bucket = mix(device, 25)
    lot = dip(device, bucket, why="the shop is shut")
    assert told_of(nursery) == {lot}
    (use,) = bucket_row(nursery, bucket)["used_by"]
    assert (use["old"], use["why"]) == (True, "the shop is shut")
    nursery.clock.forward(days=1)
    nursery.tick()
    assert told_of(nursery) == set()


@pytest.mark.parametrize(("minutes", "spent"), [(9.9, False), (10, True)])
def test_the_batch_after_the_first_finds_the_bucket_spent(
    one_nursery: Nursery, minutes: float, spent: bool
):
    device = one_nursery.device()
    bucket = mix(device, 1)
    dip(device, bucket, minutes_ago=minutes)
    second = dip(device, bucket)
    assert told_of(one_nursery) == ({second} if spent else set())


def test_how_a_bucket_was_mixed_may_come_after_its_dip_and_be_corrected(nursery: Nursery):
    """Another phone mixed it, and sends that later; then the time turns out to be wrong."""
    device, other = nursery.device(), nursery.device()
    bucket = str(uuid.uuid4())
    lot = dip(device, bucket)
    assert told_of(nursery) == set()
    said = {
        "solution": bucket, "product_strength": 4, "product_unit": "percent_available_chlorine",
        "wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000, "product_ml": 600,
        "water_ml": 3400,
    }  # fmt: skip
    mixed = other.record("solution_mixed", None, said, at=nursery.clock.text(hours=30))
    nursery.tick()
    assert told_of(nursery) == {lot}
    other.record("voided", None, {"of": mixed["id"]})
    nursery.tick()
    assert told_of(nursery) == set()
    assert nursery.differences() == []


@pytest.mark.parametrize("back", [False, True])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0), (2, 1, 0)])
def test_a_dip_put_right_goes_to_its_own_bucket_whatever_came_first(
    one_nursery: Nursery, order: tuple[int, ...], back: bool
):
    nursery = one_nursery
    device = nursery.device()
    first, second = mix(device, 30), mix(device, 1)
    lot = device.start_lot(at=nursery.clock.text(days=1))
    dipped = device.event("sanitise_started", lot, {"solution": first, "limit_minutes": 10})
    named = [second, first if back else second]
    told = [dipped]
    for minutes, bucket in enumerate(named):
        nursery.clock.forward(minutes=minutes)
        told.append(
            device.event("amended", None, {"of": dipped["id"], "data": {"solution": bucket}})
        )
    for place in order:
        assert device.push(told[place])["refused"] == []
    nursery.tick()
    used = {bucket: bucket_row(nursery, bucket)["used_for"] for bucket in (first, second)}
    assert used == ({first: [lot], second: []} if back else {first: [], second: [lot]})
    assert told_of(nursery) == ({lot} if back else set())
    assert nursery.differences() == []


def test_an_amendment_taken_back_gives_the_dip_back_to_its_bucket(nursery: Nursery):
    device = nursery.device()
    first, second = mix(device, 2), mix(device, 1)
    lot = dip(device, first)
    (use,) = bucket_row(nursery, first)["used_by"]
    amended = {"of": use["event"], "data": {"solution": second}}
    change = device.record("amended", None, amended)
    assert [bucket_row(nursery, one)["used_for"] for one in (first, second)] == [[], [lot]]
    assert bucket_row(nursery, first)["spent_at"] is None
    device.record("voided", None, {"of": change["id"]})
    assert [bucket_row(nursery, one)["used_for"] for one in (first, second)] == [[lot], []]
    assert nursery.differences() == []


def test_a_reading_put_right_goes_to_its_own_place(nursery: Nursery):
    device = nursery.device()
    shed, barn = str(uuid.uuid4()), str(uuid.uuid4())
    for place in (shed, barn):
        device.record("place_changed", None, {"id": place, "name": place, "kind": "bench"})
    said = {"place": shed, "quantity_kind": "temp_c", "value": 4}
    reading = device.record("read", None, said)
    device.record("amended", None, {"of": reading["id"], "data": {"place": barn}})
    read = {row["id"]: row.get("last_read") for row in nursery.rows("places")}
    assert read[shed] is None
    assert read[barn]["temp_c"]["value"] == 4
    assert nursery.differences() == []


def test_bleach_on_acid_is_stored_and_stands_on_the_lots_record(one_nursery: Nursery):
    device = one_nursery.device()
    lot = device.start_lot()
    device.record("scarified", lot, {"method": "acid", "minutes": 20})
    one_nursery.clock.forward(minutes=5)
    device.record("sanitise_started", lot, {})
    row = one_nursery.lot(lot)
    assert row is not None
    assert [note["kind"] for note in row["discrepancies"]] == ["acid_not_rinsed"]
