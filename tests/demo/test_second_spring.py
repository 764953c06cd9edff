"""Seed of double dormancy in the demo: quiet while it waits, asked for once its spring is there."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from lathhouse.demo.scenario import lot_id
from tests.demo.conftest import open_demo
from tests.server import Clock, Nursery, close_nursery

# Guelder rose and yew, sown 15 and 16 months ago: a summer warmed them, a winter chilled them, and
# the spring after that is this one, September to November. Held over until 60 days from now.
WAITING = ("VO-25-1", "TB-25-1")


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Nursery]:
    """The demo at its morning, to go on from."""
    nursery = open_demo(tmp_path, Clock())
    yield nursery
    close_nursery(nursery)


def said(nursery: Nursery, at: str) -> dict[str, list[tuple[str, str]]]:
    """Return {lot: [(watch, next action)]} of what stands of emergence on the two at a time."""
    nursery.clock.set(at)
    nursery.tick()
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    return {
        name: [
            (one["watch"], one["next_action"])
            for one in found
            if one["subject"]["id"] == lot_id(name) and one["watch"].startswith("emergence")
        ]
        for name in WAITING
    }


def test_it_is_neither_called_dead_nor_forgotten(opened: Nursery):
    """Held over until 9 November; counted from then on; nothing up by the spring's last day."""
    quiet = {name: [] for name in WAITING}
    assert said(opened, "2026-09-10T08:40:00+10:00") == quiet
    assert said(opened, "2026-11-09T00:00:00+11:00") == quiet
    counting = said(opened, "2026-11-13T00:00:00+11:00")
    assert {name: [watch for watch, _ in of_it] for name, of_it in counting.items()} == {
        name: ["emergence-no-count"] for name in WAITING
    }
    over = said(opened, "2026-12-01T00:00:00+11:00")
    for name in WAITING:
        ((watch, action),) = over[name]
        assert watch == "emergence-none"
        assert "keep sound seed another year" in action
