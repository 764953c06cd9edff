"""The agenda: which day, which hour, which entry. Its bounds and hours are ours."""

from typing import Any

import pytest

from lathhouse.domain.agenda import LABELS_SHOWN, agenda, ahead, day_of, waking
from lathhouse.domain.ids import alert_id
from lathhouse.domain.instants import offsets_of, parse_instant, to_text

YEARS = (parse_instant("2026-01-01T00:00:00Z"), parse_instant("2027-12-31T00:00:00Z"))
OFFSETS = offsets_of("Australia/Sydney", *YEARS)
NURSERY = {"id": "n", "name": "Quillstone", "offsets": OFFSETS, "working_days": [1, 2, 3, 4, 5, 6]}
CLOCK = {
    "work_from": "07:00", "work_to": "16:00", "quiet_from": "20:00", "quiet_to": "06:00",
    "offsets": OFFSETS, "working_days": NURSERY["working_days"],
}  # fmt: skip
# Thursday 10 September 2026, 08:40 in Sydney.
NOW = "2026-09-09T22:40:00.000Z"
PLACE = "00000000-0000-4000-8000-00000000000a"
RULES = [
    {
        "id": "cold-look", "subjects": ["lot"], "priority": 3, "when": [["live", "is", True]],
        "clock": ["seen_at"], "after": {"due": {"days": 7}, "late": {"days": 14}},
        "says": "{label}: not looked at", "next_action": "Open it",
    },
    {
        "id": "six", "subjects": ["lot"], "priority": 2, "when": [["live", "is", True]],
        "clock": ["seen_at"], "after": {"alarm": {"days": 20}}, "hides": ["late-look"],
        "says": "{label}: six", "next_action": "Open it",
    },
    {
        "id": "late-look", "subjects": ["lot"], "priority": 3, "when": [["live", "is", True]],
        "clock": ["seen_at"], "after": {"due": {"days": 30}},
        "says": "{label}: hidden by then", "next_action": "Open it",
    },
    {
        "id": "far", "subjects": ["lot"], "priority": 3, "when": [["live", "is", True]],
        "clock": ["seen_at"], "after": {"due": {"days": 90}},
        "says": "{label}: beyond the horizon", "next_action": "Open it",
    },
]  # fmt: skip


def local(text: str) -> str:
    """Return canonical text of a time in Sydney's winter."""
    return to_text(parse_instant(f"{text}:00+10:00"))


def facts(**more: Any) -> dict[str, Any]:
    base = {"kind": "lot", "id": "l", "label": "26-001", "live": True, "place": PLACE}
    return {**base, "seen_at": local("2026-09-08T08:00"), "answers": {}, **more}


def first_at(**more: Any) -> dict[str, str]:
    found = ahead(RULES, "lot", facts(**more), NOW, NURSERY)
    return {one["finding"]["watch"]: one["at"] for one in found}


def test_each_rule_is_found_at_its_first_level_if_nothing_is_done():
    assert first_at() == {
        "cold-look": local("2026-09-15T08:00"),
        "six": local("2026-09-28T08:00"),
    }


def test_what_holds_now_is_found_now():
    assert first_at(seen_at=local("2026-09-01T08:00"))["cold-look"] == NOW


def test_what_was_put_off_comes_when_that_ends():
    until = local("2026-09-20T09:00")
    shelved = {"shelved": {"at": local("2026-09-09T08:00"), "by": "p", "until": until, "why": "x"}}
    early = first_at(seen_at=local("2026-09-01T08:00"), answers={"cold-look": shelved})
    assert early["cold-look"] == until


@pytest.mark.parametrize(
    ("at", "day"),
    [
        ("2026-09-11T09:00", "2026-09-11"),
        ("2026-09-11T15:59", "2026-09-11"),
        # Friday after work is Saturday, Saturday after work is Monday; nobody works on a Sunday.
        ("2026-09-11T16:00", "2026-09-12"),
        ("2026-09-12T16:00", "2026-09-14"),
        ("2026-09-13T03:00", "2026-09-14"),
        # What is overdue is today's.
        ("2026-09-01T09:00", "2026-09-10"),
    ],
)
def test_a_days_work_falls_on_a_working_day_that_is_not_over(at: str, day: str):
    assert day_of(local(at), NOW, CLOCK) == day


@pytest.mark.parametrize(
    ("at", "rings"),
    [
        ("2026-09-11T19:59", "2026-09-11T19:59"),
        ("2026-09-11T20:00", "2026-09-12T07:00"),
        ("2026-09-12T05:59", "2026-09-12T07:00"),
        ("2026-09-12T06:00", "2026-09-12T06:00"),
    ],
)
def test_nothing_rings_in_quiet_hours(at: str, rings: str):
    assert waking(local(at), CLOCK) == local(rings)


def finding(lot: str, watch: str = "cold-look", **more: Any) -> dict[str, Any]:
    base = {
        "watch": watch, "level": "due", "since": local("2026-09-10T08:00"),
        "level_since": local("2026-09-10T08:00"), "subject": {"kind": "lot", "id": lot},
        "lot": lot, "place": PLACE, "priority": 3, "says": f"{lot}: dry", "next_action": "Look",
    }  # fmt: skip
    return {**base, **more}


def entries(*findings: dict[str, Any], at: str = NOW) -> list[dict[str, Any]]:
    lots = {one["lot"]: {"label": one["lot"], "crop": "Acer"} for one in findings if one["lot"]}
    house = {"nursery": NURSERY, "places": {PLACE: "Shed fridge"}, "lots": lots}
    return agenda([{"finding": one, "at": at} for one in findings], NOW, house)


def test_thirty_looks_in_a_fridge_are_one_entry_that_names_the_first():
    (entry,) = entries(*(finding(f"L{n:02}") for n in range(30)))
    assert entry["day"] == "2026-09-10"
    shown = ", ".join(f"L{n:02}" for n in range(LABELS_SHOWN))
    assert entry["summary"] == f"Shed fridge: 30 lots, {shown} and {30 - LABELS_SHOWN} more"
    assert entry["route"] == f"#/walk/{PLACE}"
    assert entry["alarm"] == "PT7H0M"


def test_what_is_overdue_is_carried_over_to_today_and_rings_no_more():
    old = {"since": local("2026-09-07T08:00"), "level_since": local("2026-09-07T08:00")}
    (entry,) = entries(finding("L1", **old))
    assert (entry["day"], entry["alarm"]) == ("2026-09-10", None)
    # It has become late today: that rings.
    risen = {**old, "level": "late", "level_since": local("2026-09-10T08:00")}
    assert entries(finding("L1", **risen))[0]["alarm"] == "PT7H0M"


def test_what_runs_by_the_hour_has_its_own_entry_under_the_alerts_id():
    since = local("2026-09-10T13:20")
    soak = finding("L1", "soak-over", priority=1, since=since, level_since=since)
    (entry,) = entries(soak, at=since)
    assert entry["starts_at"] == since
    assert entry["uid"] == f"{alert_id('L1', 'soak-over', since)}@lathhouse"
    assert entry["summary"] == "L1 Acer: Look"
    assert entry["route"] == "#/lot/L1"
