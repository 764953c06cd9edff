"""Who is told, when, and who next.

Quiet hours, the half hour of work for priority 1 and the day's end for priority 2: ours, and so is
which levels ring.
"""

from typing import Any

import pytest

from lathhouse.domain import reaching
from lathhouse.domain.instants import parse_instant, to_text
from lathhouse.domain.working_time import after_work_of, end_of_work, hours_of, is_quiet

# Thursday 10 September 2026, in a place ten hours east without clock changes.
NURSERY: dict[str, Any] = {
    "offsets": [["2020-01-01T00:00:00.000Z", 600]],
    "working_days": [1, 2, 3, 4, 5, 6],
}
ORLA = {"id": "orla", "name": "Orla", "order": 1, "agreed_to_wake": True}
DEV = {"id": "dev", "name": "Dev", "order": 2, "works": [1, 2, 3, 4, 5]}
MELE = {"id": "mele", "name": "Mele", "order": 3, "works": [2, 4, 6]}
SOAK = {"watch": "soak-over", "priority": 1, "level": "late"}
FREEZES = {"watch": "chamber-band", "priority": 1, "level": "alarm"}


def at(text: str) -> int:
    return parse_instant(f"2026-09-{text}:00+10:00")


def alert(**said: Any) -> dict[str, Any]:
    usual = {"watch": "fungus-recheck", "priority": 2, "level": "late", "state": "open"}
    return {**usual, "rings": True, "hidden_by": None, "place": "p", **said}


def told(one: dict[str, Any], now: str, *people: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Return (who, kind, day and time) of everybody who is to be told."""
    found = reaching.plan(one, list(people or (ORLA, DEV, MELE)), NURSERY, at(now))
    local = [to_text(part["at_ms"] + 600 * 60_000)[8:16] for part in found]
    return [(p["person"]["id"], p["kind"], when) for p, when in zip(found, local, strict=True)]


def test_priority_1_goes_on_every_half_hour_of_work():
    assert told(alert(**SOAK), "10T15:10") == [
        ("orla", "first", "10T15:10"),
        ("dev", "next", "10T15:40"),
        ("mele", "next", "11T07:10"),
    ]


def test_a_viewer_is_told_only_where_nobody_else_can_be():
    """Who may not take it on holds up those who may; ours."""
    ada = {"id": "ada", "name": "Ada", "order": 0, "role": "viewer", "agreed_to_wake": True}
    for now in ("10T15:10", "10T23:30"):
        for one in (alert(**SOAK), alert(**FREEZES)):
            assert told(one, now, ada, ORLA, DEV) == told(one, now, ORLA, DEV)
    assert told(alert(**SOAK), "10T15:10", ada) == [("ada", "first", "10T15:10")]


def test_the_half_hour_ends_to_the_minute_and_a_day_off_is_none():
    """15:31 on Saturday: 29 minutes of work are left, the last one is on Monday."""
    hours = hours_of(NURSERY)
    half = 30 * 60_000
    assert after_work_of(at("12T15:30"), half, hours) == at("12T16:00")
    assert after_work_of(at("12T15:31"), half, hours) == at("14T07:01")


def test_priority_2_goes_on_at_the_days_end():
    assert told(alert(), "10T09:00") == [
        ("orla", "first", "10T09:00"),
        ("dev", "next", "10T16:00"),
        ("mele", "next", "11T16:00"),
    ]
    hours = hours_of(NURSERY)
    assert end_of_work(at("12T15:59"), 1, hours) == at("12T16:00")
    assert end_of_work(at("12T16:00"), 1, hours) == at("14T16:00")


@pytest.mark.parametrize(
    ("now", "first"),
    [
        ("10T19:59", "10T19:59"),  # the last minute before quiet hours
        ("10T20:00", "11T07:00"),
        ("11T05:59", "11T07:00"),
        ("11T06:00", "11T06:00"),  # quiet hours are over
        ("12T22:00", "13T07:00"),  # a Sunday morning: seed does not know Sundays
    ],
)
def test_quiet_hours_hold_priority_1_back_to_the_next_start_of_work(now: str, first: str):
    assert told(alert(**SOAK), now, DEV) == [("dev", "first", first)]


@pytest.mark.parametrize(
    ("now", "first"),
    [("10T06:59", "10T07:00"), ("10T15:59", "10T15:59"), ("10T16:00", "11T07:00"),
     ("11T16:30", "14T07:00")],
)  # fmt: skip
def test_priority_2_waits_for_that_persons_own_next_work(now: str, first: str):
    assert told(alert(), now, DEV) == [("dev", "first", first)]


def test_freezing_seed_wakes_who_agreed_and_the_rest_hear_at_the_start_of_work():
    other = {**MELE, "agreed_to_wake": True}
    assert told(alert(**FREEZES), "10T02:00", DEV, ORLA, other) == [
        ("orla", "first", "10T02:00"),
        ("mele", "next", "10T02:30"),
        ("dev", "next", "10T07:00"),
    ]
    frost = alert(watch="frost-now", priority=1, level="alarm")
    assert told(frost, "10T02:00", ORLA) == [("orla", "first", "10T02:00")]


@pytest.mark.parametrize(
    "one",
    [
        alert(**SOAK),
        alert(watch="frost-tonight", priority=1, level="alarm"),
        alert(watch="moisture-dry", priority=1, level="alarm"),
        # Too warm is no priority 1: the seed does not freeze.
        alert(watch="chamber-band", priority=2, level="alarm"),
    ],
)
def test_nothing_else_wakes_anyone_who_agreed(one: dict[str, Any]):
    (first,) = told(one, "10T02:00", ORLA)
    assert first == ("orla", "first", "10T07:00")


def test_own_quiet_hours_come_before_the_nurserys():
    early = {**DEV, "quiet_from": "18:00", "quiet_to": "07:30"}
    assert told(alert(**SOAK), "10T18:00", early) == [("dev", "first", "11T07:30")]
    none = {**DEV, "quiet_from": "00:00", "quiet_to": "00:00"}
    assert not is_quiet(at("10T02:00"), hours_of(NURSERY, none))


@pytest.mark.parametrize(
    "one",
    [
        alert(rings=False, level="alarm"),
        alert(hidden_by="cold-six-weeks", level="alarm"),
        alert(level="due"),
        alert(priority=3, level="late"),
        alert(priority=4, level="alarm"),
        alert(priority=3, level="due", watch="look-due"),
    ],
)
def test_a_list_entry_never_rings(one: dict[str, Any]):
    assert told(one, "10T09:00") == []


def test_priority_3_waits_for_a_start_of_work_and_goes_to_nobody_else():
    assert told(alert(priority=3, level="alarm"), "10T09:00") == [("orla", "first", "11T07:00")]


def test_who_works_that_day_comes_first_and_then_their_own_order():
    """On a Saturday Dev is off."""
    line = [who for who, _, _ in told(alert(**SOAK), "12T09:00", DEV, MELE)]
    assert line == ["mele", "dev"]


def test_what_is_taken_on_tells_its_holder_of_a_higher_level_and_nobody_else():
    steps = [("10T07:00", "raised", "late"), ("10T09:00", "level", "alarm")]
    past = [{"at": to_text(at(when)), "what": what, "level": to} for when, what, to in steps]
    taken = {"state": "acknowledged", "acknowledged_by": "dev", "level": "alarm", "history": past}
    mine = alert(**SOAK) | taken
    assert told(mine, "10T09:00") == [("dev", "holder", "10T09:00")]
    # No higher than before: somebody else has only said that it is this person's.
    assert told(mine, "10T09:30") == [("dev", "given", "10T09:30")]


def test_what_is_left_until_a_time_is_told_then_and_not_before():
    left = alert(**SOAK) | {"state": "shelved", "shelved_until": to_text(at("11T10:00"))}
    assert told(left, "10T09:00", DEV) == [("dev", "first", "11T10:00")]
    assert reaching.step_of(left) == f"late@{to_text(at('11T10:00'))}"


@pytest.mark.parametrize(
    ("now", "why"),
    [
        (None, "cleared"),
        (alert(state="cleared"), "cleared"),
        (alert(state="shelved", shelved_until="2026-09-10T10:00:00.001Z"), "shelved"),
        (alert(state="shelved", shelved_until="2026-09-10T10:00:00.000Z"), None),
        (alert(state="acknowledged"), "acknowledged"),
        (alert(level="alarm"), "superseded"),
        (alert(hidden_by="x"), "hidden"),
        (alert(), None),
    ],
)
def test_what_is_over_before_it_is_sent_is_not_sent(now: dict[str, Any] | None, why: str | None):
    row = {"kind": "first", "step": "late"}
    assert reaching.still_due(row, now, "2026-09-10T10:00:00.000Z") == why


def test_a_level_that_was_told_once_is_not_told_again_when_it_comes_back():
    steps = [("raised", "late", "1"), ("alarm", "alarm", "2"), ("late", "late", "3")]
    history = [{"what": what, "level": level, "at": when} for what, level, when in steps]
    assert reaching.rose(alert(history=history[:1]), "1")
    assert reaching.rose(alert(history=history[:2], level="alarm"), "2")
    assert not reaching.rose(alert(history=history), "3")


def test_the_same_level_more_urgent_than_before_is_a_state_of_its_own():
    """A fridge too long out of its band (priority 2) in which the seed now freezes."""
    steps = [("raised", 2, "1"), ("alarm", 1, "2"), ("alarm", 1, "4")]
    history = [
        {"what": what, "level": "alarm", "priority": priority, "at": when}
        for what, priority, when in steps
    ]
    long_out = {**FREEZES, "priority": 2, "state": "open"}
    freezes = {**FREEZES, "state": "open"}
    assert reaching.rose({**freezes, "history": history[:2]}, "2")
    assert not reaching.rose({**freezes, "history": history}, "4")
    assert [reaching.step_of(one) for one in (long_out, freezes)] == ["alarm", "alarm/1"]
    row = {"kind": "first", "step": "alarm"}
    assert reaching.still_due(row, freezes, "3") == "superseded"
    # Warmer again before it was told: it is told as it is now.
    assert reaching.still_due({**row, "step": "alarm/1"}, long_out, "3") is None


def test_priority_1_is_told_by_its_place_and_the_rest_of_one_time_together():
    hours = hours_of(NURSERY)
    grouped = [
        reaching.group_of(alert(priority=priority, place=place), at("10T14:00"), hours)
        for priority, place in ((1, "a"), (1, "b"), (2, "a"), (2, "b"), (3, "c"))
    ]
    assert grouped == ["place:a", "place:b", "day:2026-09-10", "day:2026-09-10", "day:2026-09-10"]


OPEN, MINE = alert(), alert(state="acknowledged")
LATER = "2026-09-11T00:00:00.000Z"
LEFT = alert(state="shelved", shelved_until=LATER)
CHANGES: dict[str, tuple[dict[str, Any] | None, dict[str, Any], bool]] = {
    "it goes on as it was": (OPEN, OPEN, False),
    "somebody takes it on": (OPEN, MINE, False),
    "and takes that back": (MINE, OPEN, True),
    "left until later no more": (LEFT, OPEN, True),
    "left until now": ({**LEFT, "shelved_until": "2026-09-10T00:00:00.000Z"}, OPEN, False),
    "left until another time": (LEFT, {**LEFT, "shelved_until": "2026-09-12"}, True),
    "what stood for it is over": (alert(hidden_by="x"), OPEN, True),
    "over, but somebody has it": (alert(hidden_by="x"), MINE, False),
    "higher than a moment ago": (OPEN, alert(level="alarm"), True),
    "lower than a moment ago": (alert(level="alarm"), OPEN, False),
    "it never rings": (alert(state="acknowledged", level="due"), alert(level="due"), False),
}


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_anybodys_again_is_planned_again(change: str):
    before, now, planned = CHANGES[change]
    # What was raised, and rose, long ago; the queue knows what was told of it.
    steps = [{"what": what, "level": what, "at": "1"} for what in ("due", "late", "alarm")]
    now = {**now, "history": steps}
    assert reaching.must_plan(now, before, "2026-09-10T00:00:00.000Z") is planned


@pytest.mark.parametrize(
    ("one", "now", "goes"),
    [
        (alert(**SOAK), "10T19:59", "10T19:59"),
        (alert(**SOAK), "10T20:00", "11T07:00"),
        (alert(**SOAK), "12T21:00", "13T07:00"),  # a Sunday
        (alert(**FREEZES), "10T02:00", "10T07:00"),  # Dev did not agree to be woken
        (alert(), "10T15:59", "10T15:59"),
        (alert(), "10T16:14", "10T16:14"),  # a quarter of an hour's grace
        (alert(), "10T16:16", "11T07:00"),
        (alert(), "11T20:30", "14T07:00"),  # Friday evening
        (alert(priority=3, level="alarm"), "10T07:03", "10T07:03"),
        (alert(priority=3, level="alarm"), "12T09:00", "14T07:00"),
    ],
)
def test_a_message_that_is_late_asks_the_hour_again(one: dict[str, Any], now: str, goes: str):
    assert reaching.goes_at("first", one, DEV, at(now), NURSERY) == at(goes)


def test_the_next_person_is_told_on_their_day_off_but_not_when_nobody_works():
    assert reaching.goes_at("next", alert(), DEV, at("12T16:00"), NURSERY) == at("12T16:00")
    assert reaching.goes_at("next", alert(), DEV, at("13T10:00"), NURSERY) == at("14T07:00")


def test_a_message_goes_though_quiet_hours_fill_the_day_of_work():
    """Who works at night sleeps by day: the end of quiet hours is the time."""
    night = {**DEV, "quiet_from": "06:30", "quiet_to": "17:00"}
    planned = told(alert(), "10T09:00", night)
    assert planned == [("dev", "first", "11T17:00")]
    assert reaching.goes_at("first", alert(), night, at("11T17:01"), NURSERY) == at("11T17:01")
