"""What a rule may say, read alike on both sides: overrides, own numbers, the year's turns."""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.facts import phone_facts
from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.rule_check import BadRule, check_rule
from lathhouse.domain.watches import as_it_stands, evaluate, fill
from lathhouse.domain.winters import after_growing_time, nth_midwinter, turns
from tests.parity.twins import SITES, called_in_browser

DAY_MS = 86_400_000
SYDNEY, NEW_YORK = SITES[0], SITES[1]
RULE: dict[str, Any] = {
    "id": "hot-wind", "subjects": ["lot", "place"], "priority": 3, "clock": ["seen_at"],
    "after": {"due": {"hours": 12}}, "says": "{label}: dry {given.level}", "next_action": "Water",
    "crops": {"maple": {"after": {"due": {"hours": 8}}, "priority": 2}},
    "places": {"bed": {"after": {"due": {"hours": 4}}}},
    "given": {"level": 2},
}  # fmt: skip
SEEN = "2026-05-01T08:00:00.000Z"


def facts(**more: Any) -> dict[str, Any]:
    return {"kind": "lot", "id": "l", "label": "A", "crop": None, "place": None, "seen_at": SEEN,
            **more}  # fmt: skip


def first_due(page: Page, known: dict[str, Any], rule: dict[str, Any] = RULE) -> list[Any]:
    """Return when each side's rule becomes due, and at what priority."""
    args = [[rule], "lot", known, SEEN, SYDNEY]
    ours = evaluate([rule], "lot", known, SEEN, SYDNEY)
    theirs = called_in_browser(page, "watches", "evaluate", *args)["value"]
    assert ours["next_deadline"] == theirs["next_deadline"]
    at = ours["next_deadline"]
    late = called_in_browser(page, "watches", "evaluate", [rule], "lot", known, at, SYDNEY)
    found = evaluate([rule], "lot", known, at, SYDNEY)["findings"]
    assert found == late["value"]["findings"]
    return [at, found[0]["priority"], found[0]["says"], found[0]["rings"]]


@pytest.mark.parametrize(
    ("crop", "place", "at", "priority"),
    [
        (None, None, "20:00", 3),
        ("maple", None, "16:00", 2),
        (None, "bed", "12:00", 3),
        ("maple", "bed", "12:00", 2),
        ("oak", "bench", "20:00", 3),
    ],
)
def test_a_place_beats_a_crop_beats_the_nursery(
    core_page: Page, crop: str | None, place: str | None, at: str, priority: int
):
    found = first_due(core_page, facts(crop=crop, place=place))
    assert found == [f"2026-05-01T{at}:00.000Z", priority, "A: dry 2", True]


def test_what_a_place_changes_holds_for_the_place_itself_too():
    changed = as_it_stands(RULE, {"kind": "place", "id": "bed", "place": "bed"})
    assert changed["after"] == {"due": {"hours": 4}}


def test_a_list_entry_says_that_it_does_not_ring(core_page: Page):
    assert first_due(core_page, facts(), {**RULE, "rings": False})[-1] is False


def test_a_number_of_a_rules_own_may_differ_by_place(core_page: Page):
    rule = {**RULE, "places": {"bed": {"given": {"level": 5}}}}
    assert first_due(core_page, facts(place="bed"), rule)[2] == "A: dry 5"


@pytest.mark.parametrize(
    ("site", "start", "nth", "expected"),
    [
        # Midwinter begins at local midnight; its own day is the first after the day before.
        ("south", "2026-06-20T13:59:59.999Z", 1, "2026-06-20T14:00:00.000Z"),
        ("south", "2026-06-20T14:00:00.000Z", 1, "2027-06-20T14:00:00.000Z"),
        ("south", "2026-06-20T13:59:59.999Z", 2, "2027-06-20T14:00:00.000Z"),
        ("north", "2026-12-21T04:59:59.999Z", 1, "2026-12-21T05:00:00.000Z"),
        ("north", "2026-12-21T05:00:00.000Z", 1, "2027-12-21T04:00:00.000Z"),
        ("south", "9998-12-31T00:00:00.000Z", 1, None),
    ],
)
def test_midwinters(core_page: Page, site: str, start: str, nth: int, expected: str | None):
    """21 June and 21 December, by the nursery's own midnights: ours."""
    offsets = (SYDNEY if site == "south" else NEW_YORK)["offsets"]
    args = [to_ms(start), nth, offsets, {"hemisphere": site, "season_starts": None}]
    ours = nth_midwinter(*args)
    assert called_in_browser(core_page, "winters", "nthMidwinter", *args)["value"] == ours
    assert (ours if ours is None else to_text(ours)) == expected


MONTHS = {"spring": "09-01", "summer": "12-01", "autumn": "03-01", "winter": "06-01"}
# A short summer in the hills: 36 days of each third of autumn, winter from 1 June to 30 September.
HILLS = {"spring": "10-01", "summer": "12-20", "autumn": "02-13", "winter": "06-01"}


@pytest.mark.parametrize(
    ("starts", "expected"),
    [
        # Set as they are by themselves, they change nothing.
        (MONTHS, ["09-01", "05-01", "06-21"]),
        (HILLS, ["10-01", "04-26", "06-28"]),
        ({**MONTHS, "spring": "tomorrow"}, ["09-01", "05-01", "06-21"]),
    ],
    ids=["the months", "the hills", "not to be read"],
)
def test_the_owners_own_seasons_turn_the_year(
    core_page: Page, starts: dict[str, str], expected: list[str]
):
    """Two thirds of 108 days after 13 February is 26 April; 20/92 of 122 days into winter is
    27 days after 1 June: ours."""
    site = {"hemisphere": "south", "season_starts": starts}
    assert list(turns(site)) == expected
    assert called_in_browser(core_page, "winters", "turns", site)["value"] == expected
    begin = to_ms("2026-04-29T14:00:00.000Z")
    if starts == HILLS:
        ends = after_growing_time(begin, DAY_MS, SYDNEY["offsets"], site)
        assert to_text(ends or 0) == "2026-10-01T14:00:00.000Z"
        deep = nth_midwinter(begin, 1, SYDNEY["offsets"], site)
        assert to_text(deep or 0) == "2026-06-27T14:00:00.000Z"


@pytest.mark.parametrize(
    ("site", "start", "days", "expected"),
    [
        ("south", "2026-04-29T14:00:00.000Z", 1, "2026-04-30T14:00:00.000Z"),
        ("south", "2026-04-29T14:00:00.001Z", 1, "2026-08-31T14:00:00.001Z"),
        ("south", "2026-06-01T00:00:00.000Z", 0, "2026-08-31T14:00:00.000Z"),
        ("south", "2026-09-10T00:00:00.000Z", 30, "2026-10-10T00:00:00.000Z"),
        ("north", "2026-10-31T04:00:00.000Z", 2, "2027-03-02T05:00:00.000Z"),
        ("north", "2026-01-15T00:00:00.000Z", 1, "2026-03-02T05:00:00.000Z"),
        ("south", "9998-06-01T00:00:00.000Z", 900, None),
    ],
)
def test_time_in_growth(core_page: Page, site: str, start: str, days: int, expected: str | None):
    """September to April in the south, March to October in the north: ours."""
    offsets = (SYDNEY if site == "south" else NEW_YORK)["offsets"]
    args = [to_ms(start), days * DAY_MS, offsets, {"hemisphere": site}]
    ours = after_growing_time(*args)
    assert called_in_browser(core_page, "winters", "afterGrowingTime", *args)["value"] == ours
    assert (ours if ours is None else to_text(ours)) == expected


@pytest.mark.parametrize(
    "change",
    [
        {"rings": "no"},
        {"places": []},
        {"places": {"bed": 4}},
        {"places": {"bed": {"after": {"due": {"days": -1}}}}},
        {"crops": {"maple": {"clock": []}}},
        {"given": {"level": "two"}},
        {"given": [2]},
        {"counts": "summers"},
        {"clock": {"midwinter_after": "seen_at", "nth": 0}},
        {"clock": {"midwinter_after": 4}},
        {"clock": {"run_of": "moisture", "at_most": 1, "nth": 1.5}},
        {"clock": {"run_of": "moisture", "outside": 3}},
        {"when": [["quantity", "outside", [1]]]},
    ],
)
def test_a_rule_that_cannot_be_read_is_refused_in_a_sentence(change: dict[str, Any]):
    with pytest.raises(BadRule, match=r"\w"):
        check_rule({**RULE, **change})


def test_every_form_that_can_be_read_is_let_in():
    check_rule(RULE)
    check_rule({**RULE, "counts": "growth", "rings": False})
    check_rule({**RULE, "clock": {"midwinter_after": "seen_at", "nth": 2}})
    band = [{"fact": "given.low"}, {"fact": "given.high"}]
    run = {"run_of": "ph", "outside": band, "nth": 2}
    check_rule({**RULE, "clock": run, "given": {"low": 5, "high": None}})


def test_a_figure_below_nought_has_a_minus_and_a_nameless_phone_no_number(core_page: Page):
    """U+2212 MINUS SIGN of the Unicode Standard, as elsewhere on the screen; the rest is ours."""
    for value, shown in ((-1.54, "\u22121.5"), (-3, "\u22123"), (-0.04, "0"), (2.25, "2.3")):
        given = ("{night.low_c} °C", {"night": {"low_c": value}}, SYDNEY)
        assert fill(*given) == f"{shown} °C"
        assert called_in_browser(core_page, "watches", "fill", *given)["value"] == f"{shown} °C"
    for name, label in (("Shed", "Shed"), (None, "Phone without a name")):
        row = {"id": "019f1a8b-d700-7c42-bce1-26f818b57614", "name": name}
        theirs = called_in_browser(core_page, "facts", "phoneFacts", row)["value"]
        assert [phone_facts(row)["label"], theirs["label"]] == [label, label]
