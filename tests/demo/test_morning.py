"""The demo opens on the morning that its story tells, whatever today is."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.demo.load import load
from lathhouse.demo.scenario import LOTS, PLACES, lot_id, place_id
from lathhouse.domain.watches import load_rules
from lathhouse.reminders.clock import catch_up
from tests.server import Clock, Nursery, close_nursery, open_nursery

GOLDEN = Path(__file__).parent.parent / "golden" / "demo_morning.json"
SIX_WEEKS = ("AP-26-1", "cold-six-weeks")
# Other mornings: a day after each change of the clocks, a leap day, a year's end, midwinter.
MORNINGS = (
    "2026-04-06T08:40:00+10:00",
    "2026-10-05T08:40:00+11:00",
    "2028-02-29T08:40:00+11:00",
    "2027-01-01T08:40:00+11:00",
    "2026-11-25T08:40:00+11:00",
)


def open_demo(folder: Path, clock: Clock) -> Nursery:
    nursery = open_nursery(f"sqlite:///{folder / 'demo.sqlite'}", folder, clock)
    with nursery.app.app_context():
        load(nursery.site, clock.ms)
        catch_up(nursery.site, clock.ms)
    return nursery


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    """The demo at the morning of its story: Thursday 10 September 2026, 08:40 local."""
    nursery = open_demo(tmp_path_factory.mktemp("demo"), Clock())
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


def test_what_stands_is_what_a_person_checked_once(morning: Nursery):
    """The column "This morning" of the story, alerts that higher ones hide in lists included."""
    assert standing(morning) == json.loads(GOLDEN.read_text("utf-8"))["standing"]


def test_the_story_is_whole(morning: Nursery):
    assert len(morning.rows("lots")) >= 30
    assert len(morning.rows("places")) == 12
    events = morning.call("GET", "/api/v1/events?limit=1000").json["events"]
    assert len(events) == 1000
    assert morning.differences() == []
    chill = morning.lot(lot_id("AP-26-1"))
    assert chill["day"] == 44
    kinds = {event["kind"] for event in events}
    assert {"looked", "lot_started", "place_changed", "cold_started"} <= kinds


def test_its_events_are_of_the_kinds_that_phones_send_with_their_own_clocks(morning: Nursery):
    found, after = [], ""
    while after is not None:
        page = morning.call("GET", f"/api/v1/events?limit=1000{after}").json
        found += page["events"]
        after = f"&after={page['next']}" if page["next"] else None
    assert len(found) > 2000
    assert len({event["device"] for event in found}) >= 3
    assert {"voided", "amended"} <= {event["kind"] for event in found}
    skewed = [e for e in found if abs((e.get("clock") or {}).get("skew_ms", 0)) == 10_800_000]
    assert skewed, "a phone whose clock was three hours out is part of the story"
    for event in found:
        assert {"id", "seq", "kind", "observed_at", "data"} <= event.keys()


@pytest.mark.parametrize("now", MORNINGS)
def test_on_any_other_morning_the_chill_at_day_44_rings(tmp_path: Path, now: str):
    nursery = open_demo(tmp_path, Clock(now))
    try:
        found = [(name, watch) for name, watch, _ in standing(nursery)]
        assert SIX_WEEKS in found
        assert nursery.lot(lot_id("AP-26-1"))["day"] in (43, 44)
        assert len(nursery.rows("lots")) >= 30
        assert nursery.differences() == []
    finally:
        close_nursery(nursery)


def test_the_phone_finds_the_same_on_the_same_lots(morning: Nursery, core_page: Page):
    """The shipped JavaScript over the rows that a phone is given, in Chromium."""
    rows = morning.rows("lots")
    nursery = morning.rows("nursery")[0]
    crops = {row["id"]: row for row in morning.rows("protocols")}
    places = {row["id"]: row for row in morning.rows("places")}
    given: dict[str, Any] = {
        "lots": rows, "crops": crops, "places": places, "rules": load_rules(),
        "site": {"offsets": nursery["offsets"], "working_days": nursery["working_days"]},
        "now": morning.clock.text(),
    }  # fmt: skip
    theirs = core_page.evaluate(
        """async ({ lots, crops, places, rules, site, now }) => {
          const [watches, facts] = await Promise.all(
            ["watches", "facts"].map((name) => import(`/core/${name}.js`)));
          return lots.flatMap((lot) => {
            const known = facts.lotFacts(lot, crops[lot.crop] ?? null, places[lot.place] ?? null);
            const found = watches.evaluate(rules, "lot", known, now, site).findings;
            return found.map((one) => [lot.id, one.watch, one.level]);
          });
        }""",
        given,
    )
    names = {lot_id(name): name for name in LOTS}
    ours = [row for row in standing(morning) if row[0] in LOTS]
    assert sorted([names[lot], watch, level] for lot, watch, level in theirs) == ours
