"""Crops over HTTP: what ships, what the phone is given, and what an owner changes at run time."""

import copy
from typing import Any

from lathhouse.domain.protocols import load_crops
from tests.server import Device, Nursery

# An owner's own row, of the shape of the shipped ones; figures are this nursery's own.
OWN: dict[str, Any] = {
    "id": "quince-of-the-hill",
    "botanical": "Cydonia oblonga",
    "stages": [
        {"step": 1, "kind": "warm", "target_days": 20, "grade": "practice", "source": None},
        {"step": 2, "kind": "cold", "min": 30, "max": 50, "grade": "practice", "source": None},
        {"step": 3, "kind": "sow"},
        {"step": 4, "kind": "germinate", "min": 10, "max": 20},
    ],
}


def crop_ids(nursery: Nursery) -> set[str]:
    return {row["id"] for row in nursery.rows("protocols")}


def chilled(device: Device, crop: str, days: int) -> str:
    """Start a lot that has been in the cold for some days and was looked at yesterday."""
    text = device.nursery.clock.text
    lot = device.start_lot(at=text(days=days + 1), crop=crop)
    device.record("cold_started", lot, {"where": "fridge", "temp_c": 4}, at=text(days=days))
    device.record("looked", lot, {"moisture": 3, "fungus": "none"}, at=text(days=1))
    return lot


def longest_cold(crop: str, days: int) -> dict[str, Any]:
    """Return a shipped crop as an owner sends it with another longest cold."""
    row = copy.deepcopy(load_crops()[crop])
    step = next(step for step in row["stages"] if step["kind"] == "cold")
    step |= {"max": days, "min": None, "grade": "practice", "source": None}
    return row


def test_all_crops_that_ship_are_there_to_choose_from_and_each_names_its_sources(
    one_nursery: Nursery,
):
    names = one_nursery.call("GET", "/api/v1/crops").json["crops"]
    assert len(names) == len(load_crops()) >= 153
    assert {"id", "botanical", "common", "family"} == names[0].keys()
    found = one_nursery.call("GET", "/api/v1/crops/viburnum-opulus").json
    assert found["crop"]["stages"] == load_crops()["viburnum-opulus"]["stages"]
    (source,) = found["sources"].values()
    assert source["year"] == 2008
    assert source["title"].endswith("Viburnum L.")


def test_a_crop_that_nobody_knows_is_a_problem(one_nursery: Nursery):
    answer = one_nursery.call("GET", "/api/v1/crops/no-such-crop")
    assert answer.status_code == 404
    assert "no-such-crop" in answer.json["detail"]


def test_a_phone_is_given_only_the_crops_in_use(nursery: Nursery):
    assert crop_ids(nursery) == set()
    device = nursery.device()
    device.start_lot(crop="acer-palmatum")
    device.start_lot(crop="tilia-cordata")
    device.start_lot(crop="a-kind-without-a-protocol")
    assert crop_ids(nursery) == {"acer-palmatum", "tilia-cordata"}


def test_an_owner_changes_a_crop_and_its_lots_follow_at_once(nursery: Nursery):
    device = nursery.device()
    lot = chilled(device, "acer-palmatum", 50)
    assert "cold-long" not in nursery.alerts()
    device.record("protocol_changed", None, longest_cold("acer-palmatum", 45))
    nursery.tick()
    assert nursery.alerts()["cold-long"] == "due"
    device.record("protocol_changed", None, longest_cold("acer-palmatum", 35))
    nursery.tick()
    assert nursery.alerts()["cold-long"] == "late"
    device.record("protocol_changed", None, longest_cold("acer-palmatum", 90))
    nursery.tick()
    assert "cold-long" not in nursery.alerts()
    assert nursery.lot(lot)["stage"] == "cold"
    (row,) = nursery.rows("protocols")
    assert row["shipped"] is False
    assert nursery.differences() == []


def test_a_voided_change_brings_the_shipped_figures_back(nursery: Nursery):
    device = nursery.device()
    chilled(device, "acer-palmatum", 50)
    change = device.record("protocol_changed", None, longest_cold("acer-palmatum", 45))
    device.record("voided", None, {"of": change["id"], "why": "that was the snowbell"})
    nursery.tick()
    assert "cold-long" not in nursery.alerts()
    (row,) = nursery.rows("protocols")
    assert row["stages"] == load_crops()["acer-palmatum"]["stages"]


def test_an_owner_adds_a_crop_and_a_lot_of_it_is_watched_by_it(nursery: Nursery):
    device = nursery.device()
    device.record("protocol_changed", None, OWN)
    assert crop_ids(nursery) == {OWN["id"]}
    chilled(device, OWN["id"], 51)
    assert nursery.alerts()["cold-long"] == "due"
    found = nursery.call("GET", f"/api/v1/crops/{OWN['id']}").json
    assert found["crop"]["stages"] == OWN["stages"]
    assert found["sources"] == {}
    listed = nursery.call("GET", "/api/v1/crops").json["crops"]
    assert OWN["id"] in {crop["id"] for crop in listed}
    assert nursery.differences() == []


def test_a_lot_that_came_before_its_crop_is_watched_once_the_crop_is_there(nursery: Nursery):
    device = nursery.device()
    chilled(device, OWN["id"], 51)
    assert "cold-long" not in nursery.alerts()
    device.record("protocol_changed", None, OWN)
    nursery.tick()
    assert nursery.alerts()["cold-long"] == "due"


def test_a_crop_whose_steps_are_upside_down_is_refused_with_what_would_be_right(
    one_nursery: Nursery,
):
    device = one_nursery.device()
    wrong = {**OWN, "stages": [{"kind": "cold", "min": 50, "max": 30}]}
    said = device.push(device.event("protocol_changed", None, wrong))
    assert "min must not be over max" in said["refused"][0]["problem"]["detail"]
    assert crop_ids(one_nursery) == set()
