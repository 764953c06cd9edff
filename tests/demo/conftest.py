"""The demo nursery, opened at any morning."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lathhouse.demo.load import LIVED_DAYS, load
from lathhouse.demo.scenario import LOTS, PLACES, lot_id, place_id
from lathhouse.reminders.clock import catch_up
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

GOLDEN = Path(__file__).parent.parent / "golden" / "demo_morning.json"


def open_demo(folder: Path, clock: Clock, lived_days: int = 0) -> Nursery:
    """Return a server that holds the demo as it is at the clock's now."""
    nursery = open_nursery(address_for(folder / "demo.sqlite"), folder, clock)
    with nursery.app.app_context():
        load(nursery.site, clock.ms, lived_days)
        catch_up(nursery.site, clock.ms)
    return nursery


@pytest.fixture(scope="session")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    """The demo at the morning of its story: Thursday 10 September 2026, 08:40 local."""
    nursery = open_demo(tmp_path_factory.mktemp("demo"), Clock(), LIVED_DAYS)
    yield nursery
    close_nursery(nursery)


def standing(nursery: Nursery) -> list[list[str]]:
    """Return [story name, watch, level] of everything that stands, hidden or not."""
    names = {lot_id(name): name for name in LOTS} | {place_id(name): name for name, _, _ in PLACES}
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    return sorted(
        [
            names.get(alert["subject"]["id"], alert["subject"]["kind"]),
            alert["watch"],
            alert["level"],
        ]
        for alert in found
    )


@pytest.fixture(scope="session")
def golden() -> dict[str, Any]:
    """The morning as a person checked it once, line by line."""
    found: dict[str, Any] = json.loads(GOLDEN.read_text("utf-8"))
    return found


@pytest.fixture(scope="session")
def expected_standing(golden: dict[str, Any]) -> list[list[str]]:
    """[story name, watch, level] of what should stand."""
    lines: list[list[str]] = golden["standing"]
    return lines
