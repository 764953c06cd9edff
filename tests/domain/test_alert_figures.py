"""Which watches are heeded: each way in which an alert can end counts as what it was. Ours."""

from typing import Any

import pytest

from lathhouse.domain.alert_figures import figures

SINCE, UNTIL = "2026-08-11T00:00:00.000Z", "2026-09-10T00:00:00.000Z"


def at(day: int, hour: int = 8) -> str:
    return f"2026-09-{day:02}T{hour:02}:00:00.000Z"


def alert(*steps: tuple[str, str] | tuple[str, str, str], priority: int = 2) -> dict[str, Any]:
    """Return an alert of the watch `dry`; a step is (what, when, how it was cleared)."""
    history = [
        {"what": step[0], "at": step[1], "by": None, "how": step[2] if len(step) > 2 else None}
        for step in steps
    ]
    return {"watch": "dry", "priority": priority, "history": history}


def row(*alerts: dict[str, Any]) -> dict[str, Any]:
    (only,) = figures(alerts, SINCE, UNTIL)["watches"]
    return dict(only)


def test_an_act_within_the_time_of_its_priority_is_told_from_a_later_one_and_from_none():
    in_time = alert(("raised", at(1)), ("acknowledged", at(1)), ("cleared", at(2, 8), "record"))
    late = alert(("raised", at(1)), ("cleared", at(2, 9), "record"))
    by_itself = alert(("raised", at(1)), ("cleared", at(1, 9), "time"))
    standing = alert(("raised", at(3)), ("shelved", at(3)))
    found = row(in_time, late, by_itself, standing)
    assert (found["raised"], found["acted"], found["acted_in_time"]) == (4, 2, 1)
    assert (found["standing"], found["acknowledged"], found["shelved"]) == (1, 1, 1)
    assert found["median_hours_to_act"] == pytest.approx((24 + 25) / 2)


def test_a_row_raised_twice_rang_twice_and_what_rang_before_does_not_count():
    twice = alert(
        ("raised", "2026-07-01T08:00:00.000Z"),
        ("cleared", "2026-07-02T08:00:00.000Z", "record"),
        ("raised", at(1)),
        ("cleared", at(2), "record"),
        ("raised", at(5)),
    )
    found = row(twice)
    assert (found["raised"], found["acted"], found["standing"]) == (2, 1, 1)


@pytest.mark.parametrize(
    ("raised", "acted", "priority", "suggests"),
    [(10, 2, 3, "loosen"), (9, 0, 3, None), (12, 3, 3, None), (31, 4, 3, "loosen"),
     (31, 4, 1, "why")],
)  # fmt: skip
def test_what_rings_much_and_is_acted_on_little_is_asked_about(
    raised: int, acted: int, priority: int, suggests: str | None
):
    heeded = [alert(("raised", at(1)), ("cleared", at(2), "record"), priority=priority)] * acted
    ignored = [alert(("raised", at(1)), priority=priority)] * (raised - acted)
    assert row(*heeded, *ignored)["suggests"] == suggests


def test_what_rings_most_and_is_acted_on_least_comes_first():
    noisy = [{**alert(("raised", at(1))), "watch": "noisy"}] * 3
    heeded = [{**alert(("raised", at(1)), ("cleared", at(1), "record")), "watch": "heeded"}] * 9
    found = figures([*heeded, *noisy], SINCE, UNTIL)
    assert [one["watch"] for one in found["watches"]] == ["noisy", "heeded"]
    assert (found["raised"], found["days"], found["per_day"]) == (12, 30, 0.4)
