"""One entry for a place, on both sides alike; no finding is lost or made milder by it."""

import json
import random
from typing import Any

from playwright.sync_api import Page

from lathhouse.domain.grouping import group
from tests.parity.twins import called_in_browser, first_difference

LEVELS = ("due", "late", "alarm")
MORNING = "2026-09-10T0{n}:00:00.000Z"


def finding(watch: str, lot: str | None = None, place: str | None = None, **more: Any) -> Any:
    """Return a finding of a lot, or of a place where no lot is named."""
    kind, name = ("lot", lot) if lot else ("place", place)
    subject = {"kind": kind, "id": name}
    base = {"watch": watch, "lot": lot, "place": place, "subject": subject, "level": "due"}
    told = {"priority": 3, "since": MORNING.format(n=1), "state": "open", "hidden_by": None}
    return {**base, **told, **more}


def nursery_wide(watch: str, **more: Any) -> Any:
    return {**finding(watch, place="home", **more), "place": None} | {
        "subject": {"kind": "nursery", "id": "home"}
    }


def told(groups: list[Any]) -> list[Any]:
    """Return (watch, level, own subjects, folded subjects) of each group."""
    return [
        (
            one["watch"],
            one["level"],
            [own["subject"]["id"] for own in one["findings"]],
            [other["subject"]["id"] for other in one["folded"]],
        )
        for one in groups
    ]


def both(page: Page, findings: list[Any]) -> list[Any]:
    """Return what both sides make of it, which must be the same."""
    ours = group(findings)
    theirs = called_in_browser(page, "grouping", "group", findings)
    assert "value" in theirs, theirs
    assert first_difference(ours, theirs["value"]) is None
    return ours


def test_the_lots_of_a_place_with_the_same_watch_are_one_entry_as_grave_as_the_worst(
    core_page: Page,
):
    lots = [finding("cold-look", f"lot{n}", "fridge") for n in range(30)]
    lots[7] |= {"level": "alarm", "since": MORNING.format(n=4)}
    other = finding("cold-look", "elsewhere", "shelf", level="late")
    (first, second) = both(core_page, [*lots, other])
    assert (first["level"], len(first["findings"])) == ("alarm", 30)
    assert first["findings"][0]["lot"] == "lot7"
    assert first["since"] == MORNING.format(n=1)
    assert (second["place"], second["level"]) == ("shelf", "late")


def test_a_place_that_nobody_walked_takes_in_the_looks_that_are_due_in_it(core_page: Page):
    looks = [finding("look-due", "a", "bench"), finding("cold-look", "b", "bench", level="late")]
    missed = finding("round-missing", place="bench", level="late", priority=2)
    mould = finding("fungus-recheck", "c", "bench")
    assert told(both(core_page, [*looks, missed, mould])) == [
        ("round-missing", "late", ["bench"], ["b", "a"]),
        ("fungus-recheck", "due", ["c"], []),
    ]


def test_a_look_that_is_graver_than_its_place_stands_for_itself(core_page: Page):
    looks = [finding("look-due", "a", "bench"), finding("look-due", "b", "bench", level="alarm")]
    missed = finding("round-missing", place="bench", level="due")
    assert told(both(core_page, [*looks, missed])) == [
        ("look-due", "alarm", ["b"], []),
        ("round-missing", "due", ["bench"], ["a"]),
    ]


def test_a_fridge_outside_its_band_is_one_entry_but_for_what_is_worse_in_it(core_page: Page):
    band = finding("chamber-band", place="fridge", level="alarm", priority=2)
    looks = [finding("cold-look", f"lot{n}", "fridge") for n in range(3)]
    six_weeks = finding("cold-six-weeks", "old", "fridge", level="alarm", priority=2)
    groups = both(core_page, [*looks, six_weeks, band])
    assert [one["watch"] for one in groups] == ["chamber-band", "cold-six-weeks"]
    assert len(groups[0]["folded"]) == 3


def test_a_nursery_nobody_walked_takes_in_its_places_and_what_they_stood_for(core_page: Page):
    whole = nursery_wide("round-missing", level="alarm", priority=2)
    missed = [finding("round-missing", place=name, level="late") for name in ("bench", "shelf")]
    look = finding("look-due", "a", "shelf")
    assert told(both(core_page, [look, *missed, whole])) == [
        ("round-missing", "alarm", ["home"], ["bench", "shelf", "a"]),
    ]


def test_covers_still_on_are_one_entry_for_the_nursery(core_page: Page):
    """One walk takes them all off: one alert, not one a place (ours)."""
    names = ("bay", "corner", "tunnel")
    on = [finding("cover-left-on", place=name, level="late", priority=2) for name in names]
    left = finding("cover-left-on", place="bench", state="shelved", priority=2)
    (first, apart) = both(core_page, [*on, left])
    assert [one["subject"]["id"] for one in first["findings"]] == ["bay", "corner", "tunnel"]
    assert (first["place"], apart["place"]) == (None, "bench")


def test_what_is_left_until_later_is_grouped_apart_and_hidden_findings_are_left_out(
    core_page: Page,
):
    left = finding("look-due", "a", "bench", state="shelved")
    taken = finding("look-due", "b", "bench", state="acknowledged")
    hidden = finding("look-due", "c", "bench", hidden_by="fungus-recheck")
    groups = both(core_page, [left, taken, hidden])
    assert {one["state"]: [own["lot"] for own in one["findings"]] for one in groups} == {
        "shelved": ["a"],
        "acknowledged": ["b"],
    }


def test_what_a_place_stands_for_stays_with_it_while_it_is_left(core_page: Page):
    """Leaving the place does not bring its looks back one by one; a graver one shows itself."""
    looks = [finding("look-due", name, "bench") for name in ("a", "b")]
    grave = finding("cold-look", "c", "bench", level="alarm")
    missed = finding("round-missing", place="bench", level="late", state="shelved")
    shelf = finding("round-missing", place="shelf", level="late", state="shelved")
    groups = both(core_page, [*looks, grave, missed])
    assert told(groups) == [
        ("cold-look", "alarm", ["c"], []),
        ("round-missing", "late", ["bench"], ["a", "b"]),
    ]
    assert [one["state"] for one in groups] == ["open", "shelved"]
    # The nursery takes in what is open in it, and a place that is left stays apart with its looks.
    whole = nursery_wide("round-missing", level="alarm", priority=2)
    assert told(both(core_page, [*looks, missed, shelf, whole])) == [
        ("round-missing", "alarm", ["home"], []),
        ("round-missing", "late", ["bench"], ["a", "b"]),
        ("round-missing", "late", ["shelf"], []),
    ]
    left = {**whole, "state": "shelved"}
    open_again = {**missed, "state": "open"}
    assert told(both(core_page, [*looks, open_again, left])) == [
        ("round-missing", "alarm", ["home"], ["bench", "a", "b"]),
    ]


def random_findings(seed: int) -> list[Any]:
    """Return a morning of findings, in any order."""
    pick = random.Random(seed)
    found = []
    for n in range(pick.randint(0, 25)):
        more = {
            "level": pick.choice(LEVELS),
            "priority": pick.randint(1, 4),
            "since": MORNING.format(n=pick.randint(0, 9)),
            "state": pick.choice(["open", "open", "acknowledged", "shelved"]),
            "hidden_by": pick.choice([None, None, None, "another"]),
        }
        where = pick.choice(["bench", "fridge", None])
        watch = pick.choice(["look-due", "cold-look", "fungus-recheck", "moisture-dry"])
        found.append(finding(watch, f"lot{n}", where, **more))
    for place in ("bench", "fridge"):
        for watch in ("round-missing", "chamber-band"):
            if pick.random() < 0.5:
                state = pick.choice(["open", "open", "shelved"])
                found.append(finding(watch, place=place, level=pick.choice(LEVELS), state=state))
    if pick.random() < 0.3:
        state = pick.choice(["open", "shelved"])
        found.append(nursery_wide("round-missing", level="alarm", priority=2, state=state))
    pick.shuffle(found)
    return found


def test_random_mornings_lose_no_finding_and_make_none_milder(core_page: Page):
    """Every shown finding is in exactly one group, none below its own level; order is no matter."""
    for seed in range(200):
        findings = random_findings(seed)
        groups = both(core_page, findings)
        held = [one for each in groups for one in (*each["findings"], *each["folded"])]
        shown = [one for one in findings if not one["hidden_by"]]
        as_text = [sorted(json.dumps(one) for one in held_) for held_ in (held, shown)]
        assert as_text[0] == as_text[1], seed
        for each in groups:
            top = LEVELS.index(each["level"])
            inner = (*each["findings"], *each["folded"])
            assert all(LEVELS.index(one["level"]) <= top for one in inner), seed
        order = [-LEVELS.index(one["level"]) for one in groups]
        assert order == sorted(order), seed
        turned = group(findings[::-1])
        assert told(turned) == told(groups), seed
