"""A lot of double dormancy through both its winters: `tests/golden/two_winters.json`, both sides.

It is never called dead in its first spring, and never forgotten after its second.
"""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.instants import to_ms
from lathhouse.domain.protocols import load_crops
from tests.parity.golden import life_of, table
from tests.parity.twins import Case, first_difference, in_browser, in_python

STORIES = table("two_winters")
BY_NAME = {story["name"]: story for story in STORIES["cases"]}
by_name = pytest.mark.parametrize("story", STORIES["cases"], ids=lambda one: one["name"])
WATCHES = ("emergence-", "cold-")


def case_of(story: dict[str, Any], crop: str = STORIES["crop"], **changed: Any) -> Case:
    """Return the case of a story: at each instant only what has been recorded by then is known."""
    case = life_of({**story, "crop": crop}, {crop: load_crops()[crop]}, [])
    instants = [at for at, _ in story["says"]]
    known = [sum(to_ms(e["at"]) <= to_ms(at) for e in case["events"]) for at in instants]
    stops = [[n, at, False] for n, at in zip(known, instants, strict=True)]
    return {**case, "home": story["home"], "stops": stops, **changed}


def rings(stop: dict[str, Any]) -> dict[str, str]:
    (look,) = stop["looks"]
    found = {one["watch"]: one for one in look["findings"] if one["hidden_by"] is None}
    return {name: one["level"] for name, one in found.items() if name.startswith(WATCHES)}


def action(stop: dict[str, Any]) -> str:
    found = stop["looks"][0]["findings"]
    return str(next(one["next_action"] for one in found if one["watch"] == "emergence-none"))


@by_name
def test_two_winters_are_walked_alike_on_both_sides(core_page: Page, story: dict[str, Any]):
    case = case_of(story)
    ours, theirs = in_python(case), in_browser(core_page, [case])[0]
    assert first_difference(ours, theirs) is None
    assert [[s["looks"][0]["now"], rings(s)] for s in theirs["stops"]] == story["says"]


def test_the_first_spring_says_hold_over_and_until_when_and_the_second_says_cut_test():
    stops = in_python(case_of(BY_NAME["held over without a date, and nothing else recorded"]))
    first = [stop for stop in stops["stops"] if "emergence-none" in rings(stop)]
    assert action(first[0]).startswith("Hold it over")
    assert "1 September" in action(first[0])
    assert "cut test" in action(first[-1])
    assert "Hold it over" not in action(first[-1])


@pytest.mark.parametrize("story", [s for s in STORIES["cases"] if "shed" not in s["name"]],
                         ids=lambda one: one["name"])  # fmt: skip
def test_no_alarm_about_emergence_before_the_spring_that_should_show_it(story: dict[str, Any]):
    for stop in in_python(case_of(story))["stops"]:
        second = stop["facts"]["second_spring"]
        if second["known"] and stop["looks"][0]["now"] < second["opens_at"]:
            assert {level for name, level in rings(stop).items() if name[0] == "e"} <= {"due"}


def test_a_change_of_hemisphere_moves_the_spring_that_is_waited_for():
    story = BY_NAME["held over without a date, and nothing else recorded"]
    south = in_python(case_of(story))["stops"][-1]["facts"]["second_spring"]
    north = in_python(case_of(story, home={"hemisphere": "north"}))["stops"][-1]["facts"]
    assert south["opens_at"] == "2027-08-31T14:00:00.000Z"
    # In the north the same day of May is spring: summer and winter follow, and the next spring.
    assert north["second_spring"]["opens_at"] == "2027-02-28T13:00:00.000Z"


def test_in_the_tropics_no_spring_is_claimed_until_the_owner_sets_dates():
    story = BY_NAME["nobody holds it over, nor records another winter"]
    tropics = {"hemisphere": "south", "latitude_deg": -17}
    own = {"spring": "09-01", "summer": "12-01", "autumn": "03-01", "winter": "06-01"}
    for home, known in ((tropics, False), ({**tropics, "season_starts": own}, True)):
        stop = in_python(case_of(story, home=home))["stops"][-1]
        assert stop["facts"]["second_spring"]["known"] is known
        assert "emergence-none" in rings(stop)
