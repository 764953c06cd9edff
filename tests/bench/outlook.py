"""What will be and what would have been: the calendar feed, and the preview of a rule.

Each against one look at every lot (a tick that finds all of them due), on the same record in the
same run: a feed looks ahead over sixty days at every rule, a preview lives through ninety of them
under one rule twice.
"""

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from lathhouse.domain.instants import to_text
from lathhouse.domain.watches import load_rules
from lathhouse.reminders.clock import catch_up
from lathhouse.store.record import watch_all_again
from lathhouse.store.watch_preview import preview
from lathhouse.store.work import writing
from tests.bench.figures import Figure, middle, spread
from tests.bench.push import events_of
from tests.server import Clock, Nursery, close_nursery, open_nursery

LOTS, EACH, TRIES, DAYS = 500, 20, 5, 90
RULE = "look-due"


def seconds(act: Callable[[], Any]) -> float:
    since = time.perf_counter()
    act()
    return time.perf_counter() - since


def looked(nursery: Nursery) -> float:
    """Return the seconds of one look at everything there is."""
    with nursery.app.app_context():
        now = nursery.clock.text()
        writing(nursery.site, now, watch_all_again)
        return seconds(lambda: catch_up(nursery.site, nursery.clock.ms))


def fed(nursery: Nursery, path: str) -> tuple[float, float]:
    """Return the seconds of a feed that has changed, and of asking for it again."""
    nursery.device().record("noted", None, {"text": "something new"})
    found: list[Any] = []
    first = seconds(lambda: found.append(nursery.client.get(path)))
    assert found[0].status_code == 200, found[0].text
    tag = {"If-None-Match": found[0].headers["ETag"]}
    again = seconds(lambda: found.append(nursery.client.get(path, headers=tag)))
    assert found[1].status_code == 304, found[1].status_code
    return first, again


def previewed(nursery: Nursery) -> float:
    """Return the seconds of a preview that came to its end."""
    rule = next(dict(one) for one in load_rules() if one["id"] == RULE)
    with nursery.app.app_context():
        now, found = nursery.clock.text(), []
        spent = seconds(lambda: found.append(preview(nursery.site, rule, DAYS, now)))
    assert found[0]["whole"], found[0]["stopped"]
    return spent


def measure(lots: int = LOTS, each: int = EACH, tries: int = TRIES) -> list[Figure]:
    """Return both as times of one look at everything."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clock = Clock(to_text(round(datetime.now(UTC).timestamp() * 1000)))
        nursery = open_nursery(f"sqlite:///{folder / 'l.sqlite'}", folder / "data", clock)
        device = nursery.device()
        events = events_of(lots * each, lots)
        for start in range(0, len(events), 500):
            device.push(*events[start : start + 500])
        nursery.tick()
        made = nursery.call("POST", "/api/v1/calendar", {}).json
        path = "/api/" + made["address"].partition("/api/")[2]
        looks, feeds, again, tried = [], [], [], []
        for _ in range(tries):
            looks.append(looked(nursery))
            first, unchanged = fed(nursery, path)
            feeds.append(first / looks[-1])
            again.append(unchanged / first)
            tried.append(previewed(nursery) / looks[-1])
        close_nursery(nursery)
    name = f"{lots} lots, {lots * each:,} events"
    return [
        Figure(f"calendar feed against a look at all, {lots} lots", middle(feeds), "times",
               note=spread(feeds)),
        Figure("calendar feed unchanged, against a new one", middle(again), "times", 1,
               note=spread(again)),
        Figure(f"preview against a look at all, {name}", middle(tried), "times",
               note=spread(tried)),
        Figure(f"one look at all, {lots} lots", middle(looks), "s", note=spread(looks)),
    ]  # fmt: skip
