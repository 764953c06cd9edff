"""Season dates and a crop's plan, asked for over HTTP."""

from typing import Any

import pytest

from tests.server import Nursery

PATH = "/api/v1/calculations/"
VIBURNUM = {"crop": "viburnum-opulus", "collect_year": 2027, "way": "outdoors"}


def test_the_dates_of_season_words_come_with_their_rule_and_its_source(nursery: Nursery):
    asked = {"words": "late summer to autumn", "year": 2027, "hemisphere": "south"}
    found = nursery.call("POST", f"{PATH}season_dates", asked)
    assert found.status_code == 200
    result = {"from": "2027-02-01", "to": "2027-05-31", "rule": "months", "moved_days": 0}
    assert found.json["result"] == result
    moved = nursery.call(
        "POST", f"{PATH}season_dates", {**asked, "latitude_deg": -33.6, "elevation_m": 950}
    ).json
    assert moved["result"]["moved_days"] == 6
    assert any("Hopkins 1919" in source for source in moved["sources"])


def test_a_plan_names_the_spring_that_shows_nothing(nursery: Nursery):
    found = nursery.call("POST", f"{PATH}crop_plan", {**VIBURNUM, "hemisphere": "north"}).json
    assert found["result"]["silent"] == [{"from": "2028-03-01", "to": "2028-05-31"}]
    assert "2028-03-01 to 2028-05-31 shows nothing" in found["says"]
    assert any("Gosling" in source for source in found["sources"])


def test_hard_seed_that_is_opened_with_acid_brings_its_cautions(nursery: Nursery):
    asked = {"crop": "cercis-canadensis", "sown_on": "2027-09-20", "hemisphere": "south"}
    found = nursery.call("POST", f"{PATH}crop_plan", asked).json
    assert [bar["kind"] for bar in found["result"]["bars"]][-2] == "sow"
    assert found["cautions"]


@pytest.mark.parametrize(
    ("name", "asked", "says"),
    [
        ("season_dates", {"words": "fall", "year": 2027, "hemisphere": "north"}, "late summer"),
        ("season_dates", {"words": "spring", "year": "x", "hemisphere": "north"}, "whole year"),
        ("season_dates", {"words": "spring", "year": 2027}, "hemisphere"),
        ("season_dates", {"words": "spring", "year": 2027, "latitude_deg": 4}, "tropics"),
        ("season_dates", {"words": "spring", "year": 2027, "latitude_deg": 91}, "-90 to 90"),
        ("crop_plan", {**VIBURNUM, "hemisphere": "east"}, "north or south"),
        ("crop_plan", {**VIBURNUM, "hemisphere": "north", "crop": "no"}, "cornus-kousa"),
        ("crop_plan", {**VIBURNUM, "hemisphere": "north", "way": "magic"}, "outdoors"),
        ("crop_plan", {**VIBURNUM, "hemisphere": "north", "sown_on": "2027-01-01"}, "one of"),
        ("crop_plan", {"crop": "cornus-kousa", "sown_on": "2027-02-30", "hemisphere": "north"},
         "a date"),
        ("season_dates", {"words": "spring", "year": 2027, "hemisphere": "north",
                          "season_starts": {"spring": "02-29"}}, "MM-DD"),
    ],
)  # fmt: skip
def test_what_cannot_be_reckoned_is_refused_with_what_would_be_right(
    nursery: Nursery, name: str, asked: dict[str, Any], says: str
):
    found = nursery.call("POST", f"{PATH}{name}", asked)
    assert found.status_code == 422
    assert says in found.json["detail"]
