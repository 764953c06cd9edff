"""The whole catalogue of watches: each row raises and clears at its exact boundary, on both sides.

`tests/golden/catalogue.json` gives the instants at which the levels change. A millisecond before
each of them the level is still what it was; at it, and not later, it is the new one.
"""

from collections import defaultdict
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import LEVELS, load_rules
from tests.parity.golden import table, watch_case
from tests.parity.twins import in_browser, in_python

# Every row of the project's alert catalogue, in its order.
CATALOGUE = (
    "cold-six-weeks", "cold-look", "cold-never-looked", "cold-sprouting", "cold-long", "warm-done",
    "look-due", "fungus-recheck", "fungus-neighbours", "moisture-dry", "moisture-wet",
    "moisture-unread", "soak-over", "soak-still-water", "sanitise-over", "solution-old",
    "drained-left", "chamber-band", "chamber-silent", "frost-tonight", "frost-now", "cover-left-on",
    "heat-plants", "heat-people", "emergence-no-count", "emergence-stalled", "emergence-finished",
    "emergence-none", "pot-on-due", "overwintered", "re-entry", "sale-hold",
    "round-missing", "phone-silent", "record-gap", "count-conflict", "ec-unread", "ec-band",
    "promise-at-risk", "backup-old",
    # Not in the catalogue: what comes in of a lot that was closed meanwhile (FAULTS F26). Ours.
    "after-closing",
)  # fmt: skip
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
    assert {rule["id"] for rule in load_rules()} == set(CATALOGUE)


def test_list_entries_are_those_that_the_catalogue_calls_so():
    lists = {rule["id"] for rule in load_rules() if rule.get("rings") is False}
    assert lists == {"pot-on-due", "overwintered"}
