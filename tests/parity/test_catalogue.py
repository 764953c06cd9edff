"""The whole catalogue of watches: each row raises and clears at its exact boundary, on both sides.

`tests/golden/catalogue.json` gives the instants at which the levels change. A millisecond before
each of them the level is still what it was; at it, and not later, it is the new one.
"""

from collections import defaultdict
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import LEVELS, load_rules
from tests.parity.golden import DAY_NOUGHT, table, watch_case
from tests.parity.twins import in_browser, in_python

# Every row of the project's alert catalogue, in its order, with its priority: 1 minutes to hours,
# 2 today, 3 this week, 4 plan.
CATALOGUE = {
    "cold-six-weeks": 2, "cold-look": 3, "cold-never-looked": 2, "cold-sprouting": 2,
    "cold-long": 3, "warm-done": 3, "look-due": 3, "fungus-recheck": 2, "fungus-neighbours": 3,
    "moisture-dry": 1, "moisture-wet": 3, "moisture-unread": 2, "soak-over": 1,
    "soak-still-water": 2, "sanitise-over": 1, "solution-old": 2, "drained-left": 2,
    "chamber-band": 2, "chamber-silent": 2, "frost-tonight": 1, "frost-now": 1,
    "cover-left-on": 2, "heat-plants": 2, "heat-people": 1, "emergence-no-count": 3,
    "emergence-stalled": 3, "emergence-finished": 4, "emergence-none": 3, "pot-on-due": 4,
    "overwintered": 4, "re-entry": 1, "sale-hold": 1, "round-missing": 2, "phone-silent": 2,
    "record-gap": 2, "count-conflict": 3, "ec-unread": 4, "ec-band": 3, "promise-at-risk": 3,
    "backup-old": 2,
    # Not in the catalogue: what comes in of a lot that was closed meanwhile (FAULTS F26). Ours.
    "after-closing": 3,
}  # fmt: skip
# Where a case is more urgent than its watch: freezing seed, and seed that must not dry.
MORE_URGENT = {"chamber-band": 1, "drained-left": 1}
ROWS = table("catalogue")["cases"]
CROPS = {**load_crops(), **table("watches")["crops"]}


def expected(row: dict[str, Any]) -> list[list[Any]]:
    """Return [instant, level] a millisecond before each step, and at it."""
    found, before = [], None
    for at, level in row["steps"]:
        found += [[to_text(to_ms(at) - 1), before], [at, level]]
        before = level
    return found


@pytest.mark.parametrize("row", ROWS, ids=[f"{one['watch']} {one['name']}" for one in ROWS])
def test_a_row_changes_its_level_at_these_instants_and_not_a_millisecond_off(
    core_page: Page, row: dict[str, Any]
):
    rules = [rule for rule in load_rules() if rule["id"] == row["watch"]]
    if "given" in row:
        rules = [{**rules[0], "given": row["given"]}]
    crops = {name: CROPS[name] for name in ("example", row.get("crop", "example"))}
    case = watch_case({**row, "expected": expected(row)}, crops)
    case |= {"home": row["home"]} if "home" in row else {}
    for result in (in_python(case, rules), *in_browser(core_page, [case], rules)):
        looks = [stop["looks"][0] for stop in result["stops"]]
        levels = [[here["now"], *[one["level"] for one in here["findings"]]] for here in looks]
        assert levels == [[at, *([level] if level else [])] for at, level in expected(row)]
        urgent = {one["priority"] for here in looks for one in here["findings"]}
        assert "priority" not in row or urgent == {row["priority"]}


def test_every_row_of_the_catalogue_has_each_of_its_levels_and_an_end():
    steps: dict[str, set[str]] = defaultdict(set)
    for row in ROWS:
        steps[row["watch"]] |= {level or "cleared" for _, level in row["steps"]}
    assert {rule["id"]: levels_of(rule) | {"cleared"} for rule in load_rules()} == steps


def levels_of(rule: dict[str, Any]) -> set[str]:
    """Return the levels that a rule can come to."""
    cases = [{**rule, **case} for case in rule.get("cases") or [{}]]
    return {level for case in cases for level in LEVELS if case["after"].get(level) is not None}


def test_what_ships_is_the_catalogue():
    assert {rule["id"]: rule["priority"] for rule in load_rules()} == CATALOGUE


def test_a_case_is_more_urgent_than_its_watch_where_the_catalogue_says_so_and_nowhere_else():
    cases = [(rule["id"], case) for rule in load_rules() for case in rule.get("cases") or []]
    assert {watch: case["priority"] for watch, case in cases if "priority" in case} == MORE_URGENT


def test_the_six_week_look_is_foretold_from_day_39_until_it_is_owed(core_page: Page):
    """A list entry, no alert: from the exact instant on, on both sides."""
    started = {"kind": "cold_started", "at": to_text(DAY_NOUGHT)}
    days = [(DAY_NOUGHT + day * DAY_MS + by, told) for day, by, told in
            ((39, -1, 0), (39, 0, 1), (42, -1, 1), (42, 0, 0))]  # fmt: skip
    row = {"name": "", "events": [started], "expected": [[to_text(at), None] for at, _ in days]}
    case = watch_case(row, {"example": CROPS["example"]})
    rules = [rule for rule in load_rules() if rule["id"] == "cold-six-weeks"]
    for result in (in_python(case, rules), *in_browser(core_page, [case], rules)):
        found = [len(stop["looks"][0]["notices"]) for stop in result["stops"]]
        assert found == [told for _, told in days]


def test_list_entries_are_those_that_the_catalogue_calls_so():
    lists = {rule["id"] for rule in load_rules() if rule.get("rings") is False}
    assert lists == {"pot-on-due", "overwintered"}
