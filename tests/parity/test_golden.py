"""Hand-written examples, out of the documents, that both cores must reproduce."""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.attribution import is_said
from lathhouse.domain.carrying import may_carry
from lathhouse.domain.corrections import effective
from lathhouse.domain.watches import load_rules
from lathhouse.domain.weather_facts import (
    cover_facts,
    frost_limit_c,
    frost_said,
    heat_facts,
    is_time_to_uncover,
)
from tests.parity.golden import life_of, log_of, missing_from, table, watch_case
from tests.parity.twins import called_in_browser, in_browser, in_python

CORRECTIONS, LOTS, WATCHES = table("corrections"), table("lot"), table("watches")
ATTRIBUTION, CARRYING = table("attribution"), table("carrying")


def named(examples: dict[str, Any]) -> Any:
    """Parametrize a test by the examples' names."""
    names = [f"{one.get('watch', '')} {one['name']}".strip() for one in examples["cases"]]
    return pytest.mark.parametrize("example", examples["cases"], ids=names)


def on_both_sides(page: Page, case: Any) -> list[Any]:
    """Return what each core makes of a case."""
    return [in_python(case), in_browser(page, [case])[0]]


@named(CORRECTIONS)
def test_corrections(core_page: Page, example: dict[str, Any]):
    events = log_of(example["events"], start=False)
    theirs = called_in_browser(core_page, "corrections", "effective", events)["value"]
    for left in (effective(events), theirs):
        assert [[event["id"], event["data"]] for event in left] == example["expected"]


@named(LOTS)
def test_lots(core_page: Page, example: dict[str, Any]):
    for found in on_both_sides(core_page, life_of(example, {}, [])):
        assert missing_from(found["lot"], example["expected"]) is None
        assert missing_from(found["child"], example.get("expected_child", found["child"])) is None


@named(WATCHES)
def test_watches(core_page: Page, example: dict[str, Any]):
    for result in on_both_sides(core_page, watch_case(example, WATCHES["crops"])):
        levels = []
        for stop in result["stops"]:
            (here,) = stop["looks"]
            found = [one for one in here["findings"] if one["watch"] == example["watch"]]
            levels.append([here["now"], found[0]["level"] if found else None])
            if found and "next_action" in example:
                assert found[0]["next_action"] == example["next_action"]
        assert levels == example["expected"]


def test_carrying(core_page: Page):
    for role, person_role, expected in CARRYING["cases"]:
        person = {"name": "Dev"} | ({"role": person_role} if person_role else {})
        theirs = called_in_browser(core_page, "carrying", "mayCarry", role, person)["value"]
        assert [may_carry(role, person), theirs] == [expected, expected], (role, person_role)


def test_attribution(core_page: Page):
    for by, own, expected in ATTRIBUTION["is_said"]:
        theirs = called_in_browser(core_page, "attribution", "isSaid", by, own)["value"]
        assert [is_said(by, own), theirs] == [expected, expected], (by, own)


def test_a_heat_index_is_told_in_celsius_in_the_shade_and_in_full_sun():
    """103 °F is 39.4 °C; full sun adds up to 15 °F (Rothfusz 1990, NWS SR 90-23)."""
    at = "2026-01-20T03:00:00.000Z"
    run = {"since": at, "at": at, "index_f": 103, "peak_f": 103}
    told = heat_facts({"heat": run})
    assert told is not None
    assert (told["index_c"], told["sun_c"]) == (39.4, 47.8)


def test_the_morning_side_of_the_covers_begins_an_hour_after_sunrise_and_ends_with_the_nights_list(
    core_page: Page,
):
    """Sunrise 06:08 at 33.6° S, 149.7° E on 10 September: the hour and the 14:00 are ours."""
    offsets = [["2025-07-01T00:00:00.000Z", 600]]
    home = {"latitude_deg": -33.6, "longitude_deg": 149.7, "offsets": offsets}
    for at, expected in (
        ("2026-09-09T18:14:00.000Z", False),  # 04:14, before dawn
        ("2026-09-09T21:07:59.999Z", False),
        ("2026-09-09T21:08:00.000Z", True),
        ("2026-09-10T03:59:59.999Z", True),
        ("2026-09-10T04:00:00.000Z", False),
    ):
        theirs = called_in_browser(core_page, "weather_facts", "isTimeToUncover", home, at)["value"]
        assert [is_time_to_uncover(home, at), theirs] == [expected, expected], at


def test_the_limit_of_frost_is_the_nurserys_own_watch_and_3_degrees_where_it_has_none(
    core_page: Page,
):
    """The 3 °C is ours, as the watch ships."""
    low, other = ["night.low_c", "at_most"], ["night.lots", "above", 0]
    for rules, expected in (
        ([], 3),
        (
            [{"id": "look-due", "when": [[*low, 9]]}, {"id": "frost-tonight", "when": [[*low, 5]]}],
            5,
        ),
        ([{"id": "frost-tonight", "when": [other, [*low, 0]]}], 0),
        ([{"id": "frost-tonight", "when": [other]}], 3),
        ([{"id": "frost-tonight"}], 3),
        ([{"id": "frost-tonight", "when": [[*low, "5"], [*low, 4], [*low, -1.5]]}], -1.5),
        ([{"id": "frost-tonight", "when": [[*low, 9]], "enabled": True}], 9),
        # Switched off it lends its limit to nothing.
        ([{"id": "frost-tonight", "when": [[*low, 9]], "enabled": False}], 3),
    ):
        theirs = called_in_browser(core_page, "weather_facts", "frostLimitC", rules)["value"]
        assert [frost_limit_c(rules), theirs] == [expected, expected], rules


def test_the_nights_list_stands_from_the_watchs_own_hour_on(core_page: Page):
    """14:00 is ours, as the watch ships."""

    def frost(**said: Any) -> list[dict[str, Any]]:
        return [{"id": "frost-tonight", **said}]

    noon, ten = ({"due": {"local_time": hour}, "late": None} for hour in ("12:00", "10:00"))
    for rules, expected in (
        ([], "14:00"),
        (frost(), "14:00"),
        (frost(cases=[{"after": noon}, {"after": {"due": {"hours": 1}}}]), "12:00"),
        (frost(cases=[{"after": noon}, {"after": ten}]), "10:00"),
        (frost(after=ten, cases=[{}]), "10:00"),
        (frost(after=ten, enabled=False), "14:00"),
        ([{"id": "look-due", "after": ten}], "14:00"),
        (load_rules(), "14:00"),
    ):
        theirs = called_in_browser(core_page, "weather_facts", "frostSaid", rules)["value"]
        assert [frost_said(rules)["frost_at"], theirs["frost_at"]] == [expected, expected], rules
        assert frost_said(rules) == theirs
    home = {"offsets": [], "latitude_deg": -33.6, "longitude_deg": 149.7, "frost_at": "10:00"}
    for at, expected in (("2026-09-10T09:59:59.999Z", True), ("2026-09-10T10:00:00.000Z", False)):
        theirs = called_in_browser(core_page, "weather_facts", "isTimeToUncover", home, at)["value"]
        assert [is_time_to_uncover(home, at), theirs] == [expected, expected]


def test_a_cover_says_the_mildest_night_that_it_was_put_on_for(core_page: Page):
    """Ours: who says that all of it stays on says that of the thinnest cover too."""
    at = "2026-09-09T06:45:00.000Z"
    for meant, expected in (([1, -4], 1), ([None, -4], -4), ([None], None), (["1"], None)):
        covers = [{"at": at, "by": None, "until": None, "for_low_c": one} for one in meant]
        entries = [{"cover": one, "bared_at": None} for one in covers]
        for laid, here in (({}, entries), ({"covered": covers[-1]}, [])):
            stock = {"entries": here, "places": {}, "houses": {}, "offsets": [], "home": {}}
            theirs = called_in_browser(core_page, "weather_facts", "coverFacts", laid, stock)
            ours = cover_facts(laid, stock)
            assert ours == theirs["value"]
            last = meant[-1] if meant[-1] != "1" else None
            assert ours is not None
            assert ours["for_low_c"] == (expected if here else last)
