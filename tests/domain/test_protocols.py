"""The protocol engine against published tables: `tests/reference/crop_facts.json`, both languages.

A figure alone stands for a target: a warm spell is then done at it, a cold one too long at half as
much again, and seedlings are looked for from half of it to one and a half. Those shares are the
program's own choice (`domain/protocols.py`); the figures are their sources'.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.protocols import load_crops, load_sources
from lathhouse.domain.watches import load_rules
from tests.parity.golden import DAY_NOUGHT, life_of
from tests.parity.twins import first_difference, in_browser, in_python

TABLE = json.loads(
    (Path(__file__).parent.parent / "reference" / "crop_facts.json").read_text("utf-8")
)
FACTS: list[dict[str, Any]] = TABLE["facts"]
WARM_AT, COLD_AT, SOWN_AT = 1, 700, 1000
by_crop = pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact["crop"])


def treated(fact: dict[str, Any]) -> dict[str, Any]:
    """Return the case of a lot given the spells that its source names, and then sown."""
    at = {day: to_text(DAY_NOUGHT + day * DAY_MS) for day in (WARM_AT, COLD_AT, SOWN_AT)}
    events = [
        {"kind": f"{kind}_started", "at": at[day], "data": {"where": "indoors"}}
        for kind, day in (("warm", WARM_AT), ("cold", COLD_AT))
        if f"{kind}_days" in fact
    ]
    events.append({"kind": "sown", "at": at[SOWN_AT], "data": {"flats": 2, "per_flat": 50}})
    crops = {fact["crop"]: load_crops()[fact["crop"]]}
    case = life_of({"name": fact["crop"], "crop": fact["crop"], "events": events}, crops, [])
    stops = [[n, event["at"], False] for n, event in enumerate(case["events"], 1)]
    return {**case, "stops": stops}


def check_spell(stop: dict[str, Any], days: float | list[float], share: float) -> None:
    progress = stop["progress"]
    if isinstance(days, list):
        assert [progress["min_days"], progress["longest_days"]] == days
    else:
        assert [progress["target_days"], progress["longest_days"]] == [days, days * share]
    assert stop["step"]["kind"] == stop["facts"]["stage"]


def check_window(stop: dict[str, Any], days: float | list[float]) -> None:
    least, most = days if isinstance(days, list) else (days * 0.5, days * 1.5)
    window, sown = stop["facts"]["window"], to_ms(stop["facts"]["sown_at"])
    found = [(to_ms(window[name]) - sown) / DAY_MS for name in ("opens_at", "closes_at")]
    assert found == [least, most]


@by_crop
def test_a_lot_given_its_kinds_treatment_has_the_periods_of_the_source(
    core_page: Page, fact: dict[str, Any]
):
    case = treated(fact)
    ours, theirs = in_python(case), in_browser(core_page, [case])[0]
    assert first_difference(ours, theirs) is None
    for side in (ours, theirs):
        stops = {stop["facts"]["stage"]: stop for stop in side["stops"]}
        if "warm_days" in fact:
            check_spell(stops["warm"], fact["warm_days"], 1)
            assert stops["warm"]["next"]["kind"] == "cold"
        if "cold_days" in fact:
            check_spell(stops["cold"], fact["cold_days"], 1.5)
            assert stops["cold"]["next"]["kind"] == "sow"
        if "germinate_days" in fact:
            check_window(stops["sown"], fact["germinate_days"])
        else:
            assert stops["sown"]["facts"]["window"] is None


@by_crop
def test_what_a_test_of_the_source_found_is_kept_with_the_crop(fact: dict[str, Any]):
    if "germination_percent" in fact:
        found = load_crops()[fact["crop"]]["germination_percent"]
        low, high = (found.get(name, found.get("value")) for name in ("low", "high"))
        assert [low, high] == fact["germination_percent"]
        assert found["source"] == fact["source"]


@by_crop
def test_the_program_names_the_same_source_as_the_table(fact: dict[str, Any]):
    ours, theirs = load_sources()[fact["source"]], TABLE["sources"][fact["source"]]
    for name in ("author", "year", "title"):
        assert ours[name] == theirs[name]
    assert ours["author"]
    assert ours["title"]
    steps = load_crops()[fact["crop"]]["stages"]
    graded = [s for s in steps if s["kind"] in ("warm", "cold", "germinate")]
    assert {step["source"] for step in graded} == {fact["source"]}


def test_the_six_weeks_at_about_4_degrees_are_common_practice_without_a_source():
    """No published source for the one interval; it ships so marked, and cannot be changed."""
    (rule,) = [rule for rule in load_rules() if rule["id"] == "cold-six-weeks"]
    assert rule["source"].startswith("common practice, no source")
    assert rule["grade"] == "practice"
    assert rule["after"] == {"alarm": {"days": 42}}
    assert rule["fixed"] is True
