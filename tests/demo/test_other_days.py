"""The demo is the same story on whatever day it is opened: only the dates differ."""

import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from lathhouse.demo.scenario import lot_id, scenario
from lathhouse.demo.story import ZONE
from tests.demo.conftest import open_demo, standing
from tests.server import NOW, Clock, close_nursery

SITE = "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"
# Thursdays like that of the story, so that the free Sundays lie alike.
THURSDAYS = {
    "the clocks went forward on Sunday": "2026-10-08T08:40:00+11:00",
    "the clocks went back on Sunday": "2026-04-09T08:40:00+10:00",
    "29 February": "2024-02-29T08:40:00+11:00",
}
# Other weekdays: the day after each change of the clocks, and a year's end.
MORNINGS = (
    "2026-04-06T08:40:00+10:00",
    "2026-10-05T08:40:00+11:00",
    "2027-01-01T08:40:00+11:00",
)


def told(now: str) -> dict[str, list[list[Any]]]:
    """Return each phone's events with every date replaced by the days before now."""
    clock = Clock(now)
    moment = datetime.datetime.fromtimestamp(clock.ms / 1000, ZoneInfo(ZONE))
    phones = scenario(clock.ms, SITE)
    ids = {event["id"]: event["seq"] for events in phones.values() for event in events}
    return {
        phone: [
            [
                event["kind"], event["lot"], event["by"], event.get("clock"),
                without_dates(event["observed_at"], moment.date(), ids),
                without_dates(event["data"], moment.date(), ids),
            ]
            for event in events
        ]
        for phone, events in phones.items()
    }  # fmt: skip


def without_dates(value: Any, today: datetime.date, ids: dict[str, int]) -> Any:
    """Replace dates by days before today, times by local hours, event ids by their numbers."""
    if isinstance(value, dict):
        return {name: without_dates(inner, today, ids) for name, inner in value.items()}
    if isinstance(value, list):
        return [without_dates(inner, today, ids) for inner in value]
    if not isinstance(value, str) or value in ids:
        return ids.get(value, value) if isinstance(value, str) else value
    try:
        moment = datetime.datetime.fromisoformat(value)
    except ValueError:
        return value
    return f"{(today - moment.date()).days} days before, {moment:%H:%M}"


@pytest.mark.parametrize("now", THURSDAYS.values(), ids=list(THURSDAYS))
def test_the_same_events_are_told_at_the_same_local_hours(now: str):
    ours, expected = told(now), told(NOW)
    assert ours.keys() == expected.keys()
    for phone, events in expected.items():
        assert sorted(ours[phone], key=repr) == sorted(events, key=repr)


@pytest.mark.parametrize("now", THURSDAYS.values(), ids=list(THURSDAYS))
def test_the_same_alerts_stand_for_the_same_reasons(
    tmp_path: Path, now: str, expected_standing: list[list[str]]
):
    nursery = open_demo(tmp_path, Clock(now))
    try:
        assert standing(nursery) == expected_standing
        assert nursery.lot(lot_id("AP-26-1"))["day"] == 44
    finally:
        close_nursery(nursery)


@pytest.mark.parametrize("now", MORNINGS)
def test_on_any_other_weekday_the_chill_at_day_44_rings(tmp_path: Path, now: str):
    nursery = open_demo(tmp_path, Clock(now))
    try:
        assert ["AP-26-1", "cold-six-weeks", "alarm"] in standing(nursery)
        assert nursery.lot(lot_id("AP-26-1"))["day"] == 44
        assert len(nursery.rows("lots")) >= 30
        assert nursery.differences() == []
    finally:
        close_nursery(nursery)
