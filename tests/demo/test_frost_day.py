"""The frost of the demo's story, hour by hour: one alert for the nursery, and how it clears."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lathhouse.demo.scenario import CORNER, SOUTH, lot_id, place_id
from tests.demo.conftest import open_demo, standing
from tests.server import Clock, Nursery, close_nursery


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Nursery]:
    """The demo at its morning, to go on from."""
    nursery = open_demo(tmp_path, Clock())
    yield nursery
    close_nursery(nursery)


def at(nursery: Nursery, clock: str) -> list[list[str]]:
    """Return what stands of frost and covers at a local time of that day."""
    nursery.clock.set(f"2026-09-10T{clock}:00+10:00")
    nursery.tick()
    return [line for line in standing(nursery) if line[1].startswith(("frost", "cover"))]


def test_the_cover_joins_at_nine_and_the_frost_at_two(opened: Nursery, golden: dict[str, Any]):
    for clock, name, watch, level, why in golden["day"]:
        assert why
        found = [line[2] for line in at(opened, clock) if line[:2] == [name, watch]]
        assert found == ([level] if level else []), (clock, name)


def test_covering_place_by_place_clears_it_and_a_warm_morning_rings_at_once(opened: Nursery):
    (frost,) = [line for line in at(opened, "15:00") if line[1] == "frost-tonight"]
    assert frost == ["nursery", "frost-tonight", "due"]
    said = opened.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    (alert,) = [one for one in said if one["watch"] == "frost-tonight"]
    # AP-25-1, CK-25-1 and SV-25-1 are coming up on the south bench; CJ-24-1 is tender by kind.
    assert "4 tender lots" in alert["says"]
    assert f"({SOUTH}, {CORNER})" in alert["says"]
    phone = opened.device()
    phone.record("uncovered", None, {"place": place_id(CORNER)})
    phone.record("covered", None, {"place": place_id(CORNER), "for_low_c": 2.0})
    assert [line[1] for line in at(opened, "15:05")] == ["frost-tonight"]
    phone.record("covered", None, {"place": place_id(SOUTH), "for_low_c": 2.0})
    assert at(opened, "15:10") == []
    # A colder night than they were covered for.
    colder = {"quantity_kind": "forecast_low_c", "value": -2.0, "for_night_of": "2026-09-10"}
    phone.record("read", None, colder)
    assert at(opened, "15:15") == [["nursery", "frost-tonight", "due"]]
    phone.record("covered", None, {"place": place_id(SOUTH), "for_low_c": -2.0})
    phone.record("covered", None, {"place": place_id(CORNER), "for_low_c": -2.0})
    assert at(opened, "15:20") == []
    # What comes in later stands beside the cover, not under it.
    phone.record("moved", lot_id("MV-25-1"), {"place": place_id(SOUTH)})
    phone.record("counted", lot_id("MV-25-1"), {"emerged": 3, "out_of": 480})
    assert at(opened, "15:25") == [["nursery", "frost-tonight", "due"]]
    assert opened.differences() == []


def test_frost_now_rings_where_tender_stock_stands_open_and_clears_when_covered(opened: Nursery):
    at(opened, "20:00")
    phone = opened.device()
    reading = {"place": place_id(CORNER), "quantity_kind": "temp_c"}
    phone.record("read", None, {**reading, "value": 2.1})
    assert "frost-now" not in opened.alerts()
    phone.record("read", None, {**reading, "value": 2.0}, at=opened.clock.text(minutes=-1))
    assert opened.alerts()["frost-now"] == "alarm"
    phone.record("covered", None, {"place": place_id(CORNER)}, at=opened.clock.text(minutes=-2))
    assert "frost-now" not in opened.alerts()
    assert opened.differences() == []
