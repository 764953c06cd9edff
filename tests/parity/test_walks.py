"""Crops walked event by event to the end, on both sides: `tests/golden/walks.json` says what then.

Steps that repeat, that may be left out, that have a target only, that end on a count of sprouted
seed; and flats that stand outdoors for two winters. The crop's source stands beside each walk.
"""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.instants import to_ms
from lathhouse.domain.protocols import load_crops, load_sources
from tests.parity.golden import life_of, table
from tests.parity.twins import Case, first_difference, in_browser, in_python

WALKS = table("walks")
by_name = pytest.mark.parametrize("walk", WALKS["cases"], ids=lambda one: one["name"])


def walk_case(walk: dict[str, Any]) -> Case:
    """Return the case of a walk: at each instant only what has been recorded by then is known."""
    crops = {walk["crop"]: load_crops()[walk["crop"]]}
    case = life_of(walk, crops, [])
    known = [
        sum(to_ms(event["at"]) <= to_ms(line["at"]) for event in case["events"])
        for line in walk["says"]
    ]
    instants = [line["at"] for line in walk["says"]]
    return {**case, "stops": [[n, at, False] for n, at in zip(known, instants, strict=True)]}


def said(stop: dict[str, Any]) -> dict[str, Any]:
    """Return what a stop says in the few words of the golden file."""
    step, progress, after = stop["step"], stop["progress"], stop["next"]
    lengths = [progress.get(name) for name in ("min_days", "target_days", "longest_days")]
    (look,) = stop["looks"]
    rings = {one["watch"]: one["level"] for one in look["findings"]}
    window = stop["facts"]["window"]
    return {
        "at": look["now"],
        "stage": stop["facts"]["stage"],
        "day": progress["day"],
        "step": step["step"] if step else None,
        "of_days": lengths,
        "next": after["kind"] + (", may be left out" if after.get("optional") else "")
        if after
        else None,
        "should_come_up": [window["opens_at"], window["closes_at"]] if window else None,
        "rings": {watch: rings[watch] for watch in WALKS["watches"] if watch in rings},
    }


@by_name
def test_a_crop_is_walked_to_the_end_alike_on_both_sides(core_page: Page, walk: dict[str, Any]):
    case = walk_case(walk)
    ours, theirs = in_python(case), in_browser(core_page, [case])[0]
    assert first_difference(ours, theirs) is None
    for side in (ours, theirs):
        for stop, expected in zip(side["stops"], walk["says"], strict=True):
            assert said(stop) == expected


@by_name
def test_each_walk_names_a_source_of_its_crop(walk: dict[str, Any]):
    source = load_sources()[walk["source"]]
    assert all(source[name] for name in ("author", "year", "title"))
    steps = load_crops()[walk["crop"]]["stages"]
    assert walk["source"] in {step["source"] for step in steps}


def test_the_walks_are_of_every_sort_of_step():
    crops = [load_crops()[walk["crop"]] for walk in WALKS["cases"]]
    kinds = [[step["kind"] for step in crop["stages"]] for crop in crops]
    assert any(one.count("warm") == 3 and one.count("cold") == 3 for one in kinds)
    steps = [step for crop in crops for step in crop["stages"]]
    assert any(step.get("optional") for step in steps)
    assert any(step.get("until_sprouted") for step in steps)
    only_aim = [s for s in steps if s.get("target_days") and s["min"] is None and s["max"] is None]
    assert {step["kind"] for step in only_aim} >= {"warm", "cold", "germinate"}
    outdoors = [
        event
        for walk in WALKS["cases"]
        for event in walk["events"]
        if event["kind"] == "cold_started" and event["data"].get("where") == "outdoors"
    ]
    assert len(outdoors) >= 2


def test_a_viburnum_in_its_first_winters_is_never_called_dead():
    """Its second spring may yet come: Gosling 2007, Practice Guide 18, p. 21."""
    (walk,) = [one for one in WALKS["cases"] if one["name"] == "two winters outdoors"]
    first = next(event["at"] for event in walk["events"] if event["kind"] == "counted")
    for line in walk["says"]:
        if line["at"] < first:
            assert not [watch for watch in line["rings"] if watch.startswith("emergence-")], line
