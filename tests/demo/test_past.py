"""The demo's past alerts: raised, taken on and ended when its story says, not when it is loaded."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from lathhouse.demo.load import LAST_CONTACT_MS
from lathhouse.demo.scenario import FRIDGE, lot_id, place_id, scenario
from lathhouse.demo.story import ZONE, name_id
from lathhouse.demo.visits import looks_between, midnight, visits
from lathhouse.domain.instants import DAY_MS, parse_instant, to_ms, to_text
from tests.server import Clock, Nursery

SITE = "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"


def of(nursery: Nursery, watch: str, subject: str) -> list[tuple[str, str, str | None]]:
    """Return (what, local time, by whom) of everything that became of an alert that is over."""
    past = nursery.call("GET", "/api/v1/alerts/past?days=30").json["alerts"]
    (row,) = [a for a in past if (a["watch"], a["subject"]["id"]) == (watch, subject)]
    return [(step["what"], local(step["at"]), step["by"]) for step in row["history"]]


def local(at: str) -> str:
    moment = datetime.fromtimestamp(to_ms(at) / 1000, ZoneInfo(ZONE))
    return f"{moment:%-d %b %H:%M}"


def test_the_fridges_door_rang_in_the_night_and_was_over_an_hour_later(morning: Nursery):
    """Read at 02:20 (7.3 °C, an hour out), 02:50 (4.3 °C) and 03:20, sent five minutes later."""
    rang = of(morning, "chamber-band", place_id(FRIDGE))
    assert [step[:2] for step in rang] == [("raised", "10 Sep 02:25"), ("cleared", "10 Sep 03:25")]


def test_a_six_week_look_rang_was_taken_on_and_was_looked_at(morning: Nursery):
    """Day 42 was Tuesday 8 September, 07:10; the alert clock of the story looks at eleven."""
    assert of(morning, "cold-six-weeks", lot_id("AP-26-2")) == [
        ("raised", "8 Sep 11:00", None),
        ("acknowledged", "8 Sep 16:00", name_id("Orla")),
        ("cleared", "9 Sep 09:55", name_id("Dev")),
    ]


def test_nothing_was_raised_or_ended_by_the_loading(morning: Nursery):
    found = morning.call("GET", "/api/v1/alerts?state=all&limit=1000").json["alerts"]
    at = [step["at"] for alert in found for step in alert["history"]]
    first = morning.clock.text(days=31)
    # What stood a month ago, when the story begins to be lived through, is found then.
    assert first == min(at)
    assert max(at) < morning.clock.text(minutes=5)


def test_what_rings_most_tells_of_a_month_in_which_people_act(morning: Nursery):
    found = morning.call("GET", "/api/v1/alerts/figures?days=30").json
    rows: dict[str, Any] = {row["watch"]: row for row in found["watches"]}
    # On four Sundays nobody walks, and on Monday's walk each of these is acted on.
    looks = rows["look-due"]
    assert looks["raised"] - looks["standing"] == looks["acted"] >= 20
    assert 20 < looks["median_hours_to_act"] < 24
    assert rows["cold-six-weeks"]["acknowledged"] == 1
    assert rows["round-missing"]["raised"] == 1, "the tunnel, yesterday"
    assert found["per_day"] < 4
    assert [row["watch"] for row in found["watches"] if row["suggests"]] == []


@pytest.mark.parametrize("now", ["2026-10-08T08:40:00+11:00", "2026-04-09T08:40:00+10:00"])
def test_every_record_is_sent_once_in_the_order_of_its_phone_whatever_the_clocks_do(now: str):
    now_ms = Clock(now).ms
    phones = scenario(now_ms, SITE)
    last = {phone: now_ms - ago for phone, ago in LAST_CONTACT_MS.items()}
    sent = visits(phones, last, now_ms - 31 * DAY_MS)
    assert [at for at, _, _ in sent] == sorted(at for at, _, _ in sent)
    for phone, events in phones.items():
        mine = [visit for visit in sent if visit[1] == phone]
        assert [event["seq"] for _, _, told in mine for event in told] == [e["seq"] for e in events]
        assert mine[-1][0] == last[phone]
        for at, _, told in mine:
            plain = [event for event in told if "clock" not in event]
            assert all(parse_instant(event["observed_at"]) <= at for event in plain)


def test_the_clock_looks_at_local_hours_on_a_day_of_23_hours():
    """Sydney's clocks go forward on Sunday 4 October 2026 at 02:00 (tz database)."""
    day = midnight(parse_instant("2026-10-04T12:00:00+11:00"))
    assert to_text(day) == "2026-10-03T14:00:00.000Z"
    hours = ["2026-10-03T19:00", "2026-10-04T00:00", "2026-10-04T03:00", "2026-10-04T06:00"]
    assert [to_text(at)[:16] for at in looks_between(day, day + DAY_MS)] == hours
