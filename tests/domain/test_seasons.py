"""Season words as dates: against published collecting times of twelve crops, and at every edge."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lathhouse.domain.outdoors import outdoor_seasons
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.seasons import (
    MOVED_DAYS_MAX,
    PARTS,
    SEASONS,
    add_days,
    next_span,
    read_words,
    season_dates,
    season_rule,
)
from lathhouse.domain.year_plan import WAYS, lasts, plan_crop

NORTH, SOUTH = {"hemisphere": "north"}, {"hemisphere": "south"}
REFERENCE = Path(__file__).parent.parent / "reference" / "collecting_dates.json"
PUBLISHED: list[dict[str, Any]] = json.loads(REFERENCE.read_text(encoding="utf-8"))["crops"]
by_crop = pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: row["crop"])
words = st.builds(
    lambda part, season: f"{part} {season}".strip(), st.sampled_from(["", *PARTS]),
    st.sampled_from(SEASONS),
)  # fmt: skip
years = st.integers(1900, 2150)


def days(earlier: str, later: str) -> int:
    return (date.fromisoformat(later) - date.fromisoformat(earlier)).days


def months_on(day: str, months: int) -> str:
    year, month = divmod(int(day[:4]) * 12 + int(day[5:7]) - 1 + months, 12)
    return f"{year:04d}-{month + 1:02d}-{min(int(day[8:]), 28):02d}"


def published_span(row: dict[str, Any], year: int, later: int) -> tuple[str, str]:
    """Return the first and last day of the months printed, so many months later."""
    first, last = (f"{year}-{month:02d}-01" for month in row["months"])
    return months_on(first, later), add_days(months_on(last, later + 1), -1)


@by_crop
@pytest.mark.parametrize(("place", "months"), [(NORTH, 0), (SOUTH, 6)], ids=["north", "south"])
def test_a_crop_is_collected_when_growers_say(row: dict[str, Any], place: Any, months: int):
    """Within a month at either end, and overlapping: the south is the north six months later."""
    first, last = published_span(row, 2027, months)
    crop = load_crops()[row["crop"]]
    plan = plan_crop(crop, {"collect_year": int(first[:4])}, place)
    assert plan is not None
    ours = next_span(crop["harvest_season"], add_days(first, -31), place)
    assert ours is not None
    assert abs(days(ours["from"], first)) <= 31
    assert abs(days(ours["to"], last)) <= 31
    assert ours["from"] <= last
    assert ours["to"] >= first
    assert plan["bars"][0]["kind"] == "collect"


def test_the_meteorological_seasons_are_whole_months_and_know_leap_years():
    """Spring is March to May in the north and September to November in the south (WMO usage)."""
    assert season_dates("spring", 2027, NORTH) == {"from": "2027-03-01", "to": "2027-05-31"}
    assert season_dates("spring", 2027, SOUTH) == {"from": "2027-09-01", "to": "2027-11-30"}
    assert season_dates("winter", 2027, NORTH) == {"from": "2027-12-01", "to": "2028-02-29"}
    assert season_dates("late winter", 2027, NORTH) == {"from": "2027-02-01", "to": "2027-02-28"}
    assert season_dates("late summer", 2028, SOUTH) == {"from": "2028-02-01", "to": "2028-02-29"}
    assert season_dates("late summer", 2100, SOUTH) == {"from": "2100-02-01", "to": "2100-02-28"}


def test_a_season_over_the_new_year_begins_in_the_old_one():
    assert season_dates("summer", 2026, SOUTH) == {"from": "2026-12-01", "to": "2027-02-28"}
    assert season_dates("autumn to winter", 2026, NORTH) == {
        "from": "2026-09-01", "to": "2027-02-28",
    }  # fmt: skip
    assert next_span("summer", "2027-02-28", SOUTH) == season_dates("summer", 2026, SOUTH)
    assert next_span("summer", "2027-03-01", SOUTH) == season_dates("summer", 2027, SOUTH)


def test_words_of_every_crop_are_read():
    for crop in load_crops().values():
        assert read_words(crop["harvest_season"]), crop["id"]
    for nothing in ("", "fall", "early", "spring to", "a to b to c", None, 4):
        assert read_words(nothing) is None
        assert season_dates(nothing, 2027, NORTH) is None


@given(words, words, years)
def test_north_and_six_months_is_south_within_two_days(one: str, other: str, year: int):
    said = f"{one} to {other}"
    north = season_dates(said, year, NORTH)
    assert north
    south = season_dates(said, int(months_on(north["from"], 6)[:4]), SOUTH)
    assert south
    assert abs(days(months_on(north["from"], 6), south["from"])) <= 2
    assert abs(days(north["from"], north["to"]) - days(south["from"], south["to"])) <= 3


@given(years, st.sampled_from([NORTH, SOUTH]), st.floats(24, 90), st.floats(-100, 5000))
def test_the_seasons_follow_each_other_without_gap_wherever(
    year: int, side: dict[str, Any], latitude: float, height: float
):
    place = {**side, "latitude_deg": latitude, "elevation_m": height}
    thirds = [f"{part} {season}" for season in SEASONS for part in PARTS]
    span = next_span(thirds[0], f"{year}-06-30", place)
    for name in [*thirds[1:], thirds[0]]:
        assert span
        after = add_days(span["to"], 1)
        span = next_span(name, after, place)
        assert span
        assert span["from"] == after


def test_hopkins_moves_spring_four_days_a_degree_and_as_much_for_400_feet():
    """Hopkins 1919, The Scientific Monthly 8, 496-513; the bases and the most are ours."""
    degree = {**NORTH, "latitude_deg": 42, "elevation_m": 0}
    assert season_rule(degree) == {"rule": "moved", "moved_days": 8}
    feet = {**NORTH, "latitude_deg": 40, "elevation_m": 400 * 0.3048}
    assert season_rule(feet) == {"rule": "moved", "moved_days": 4}
    assert season_dates("spring", 2027, degree) == {"from": "2027-03-09", "to": "2027-06-08"}
    assert season_dates("autumn", 2027, degree) == {"from": "2027-08-24", "to": "2027-11-22"}
    assert season_rule({**NORTH, "latitude_deg": 70, "elevation_m": 0})["moved_days"] == (
        MOVED_DAYS_MAX
    )
    # A hill undoes what a lower latitude does, so latitude alone moves nothing.
    assert season_rule({**SOUTH, "latitude_deg": -33.6})["rule"] == "months"
    hill = season_rule({**SOUTH, "latitude_deg": -33.6, "elevation_m": 950})
    assert hill == {"rule": "moved", "moved_days": 6}


def test_the_tropics_have_no_such_seasons_until_the_owner_says_so():
    tropics = {**SOUTH, "latitude_deg": -17}
    assert season_rule(tropics)["rule"] == "none"
    assert season_dates("spring", 2027, tropics) is None
    own = {"spring": "08-20", "summer": "11-15", "autumn": "03-01", "winter": "05-20"}
    said = {**tropics, "season_starts": own}
    assert season_dates("summer", 2027, said) == {"from": "2027-11-15", "to": "2028-02-29"}
    assert season_dates("early summer", 2027, said) == {"from": "2027-11-15", "to": "2027-12-19"}
    assert season_rule({**said, "season_starts": {"spring": "08-20"}})["rule"] == "none"


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("place", [NORTH, SOUTH], ids=["north", "south"])
def test_no_step_of_any_crop_begins_before_the_one_before_or_ends_before_it_begins(
    way: str, place: dict[str, Any]
):
    for crop in load_crops().values():
        plan = plan_crop(crop, {"collect_year": 2027, "way": way}, place)
        assert plan, crop["id"]
        for bar in plan["bars"]:
            assert bar["starts"][0] <= bar["starts"][1], (crop["id"], bar)
            assert bar["ends"][0] <= bar["ends"][1], (crop["id"], bar)
            assert bar["starts"][0] <= bar["ends"][0], (crop["id"], bar)
        for before, bar in zip(plan["bars"], plan["bars"][1:], strict=False):
            assert before["starts"][0] <= bar["starts"][0], (crop["id"], bar)


def test_a_chilled_crop_is_sown_in_spring_on_both_sides_of_the_world():
    """Sowing chilled seed in spring is common practice, no source; the chill is the crop's own."""
    crop = load_crops()["cornus-kousa"]
    for place, year, spring in ((NORTH, 2027, 2028), (SOUTH, 2027, 2027)):
        plan = plan_crop(crop, {"collect_year": year}, place)
        assert plan
        bars = {bar["kind"]: bar for bar in plan["bars"]}
        (cold,) = [step for step in crop["stages"] if step["kind"] == "cold"]
        least, most = lasts(cold)
        window = season_dates("early to mid spring", spring, place)
        assert window
        assert bars["sow"]["starts"] == [window["from"], window["to"]]
        assert bars["cold"]["starts"][0] == add_days(window["from"], -most)
        assert bars["cold"]["starts"][1] == add_days(window["to"], -least)


def test_double_dormancy_sown_outdoors_shows_nothing_in_its_first_spring():
    """Viburnum: summer and winter do both stages (Agriculture Handbook 727, p. 1166)."""
    crop = load_crops()["viburnum-opulus"]
    for place, silent, shows in (
        (NORTH, ["2028-03-01", "2028-05-31"], ["2029-03-01", "2029-05-31"]),
        (SOUTH, ["2027-09-01", "2027-11-30"], ["2028-09-01", "2028-11-30"]),
    ):
        plan = plan_crop(crop, {"collect_year": 2027, "way": "outdoors"}, place)
        assert plan
        assert [[one["from"], one["to"]] for one in plan["silent"]] == [silent]
        last = plan["bars"][-1]
        assert [last["starts"][1], last["ends"][1]] == shows
    assert outdoor_seasons(["warm", "cold"], "2027-10-20", NORTH) == {
        "spells": [{"kind": "warm", "from": "2028-06-01", "to": "2028-08-31"},
                   {"kind": "cold", "from": "2028-12-01", "to": "2029-02-28"}],
        "shows": {"from": "2029-03-01", "to": "2029-05-31"},
        "silent": [{"from": "2028-03-01", "to": "2028-05-31"}],
    }  # fmt: skip


def test_a_change_of_hemisphere_moves_the_whole_plan_by_half_a_year():
    crop = load_crops()["phellodendron-amurense"]
    north = plan_crop(crop, {"collect_year": 2027}, NORTH)
    south = plan_crop(crop, {"collect_year": 2027}, SOUTH)
    assert north
    assert south
    for one, other in zip(north["bars"], south["bars"], strict=True):
        gap = days(other["starts"][0], one["starts"][0])
        assert 181 - 3 <= gap <= 184 + 3, (one, other)


@pytest.mark.parametrize("day", ["0001-01-01", "0999-12-31", "9901-01-01", "9999-12-31"])
def test_a_wrong_clock_of_any_year_is_no_fault(day: str):
    assert next_span("spring", day, SOUTH) is None
    assert season_dates("spring", int(day[:4]), SOUTH) is None
    assert outdoor_seasons(["warm", "cold"], day, NORTH) is None
