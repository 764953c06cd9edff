"""The demo opens on the morning that its story tells: Thursday 10 September 2026, 08:40."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from lathhouse.demo.scenario import LOTS, lot_id, scenario
from lathhouse.demo.story import name_id
from lathhouse.domain.watches import load_rules
from lathhouse.sync.kinds import KINDS
from tests.demo.conftest import standing
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

BATCH = 900
# How a row is kept, not what it says.
KEPT = ("revision", "checkpoint", "checkpoint_at", "tail")


def all_events(nursery: Nursery) -> list[dict[str, Any]]:
    """Return the whole record, page by page."""
    found, after = [], ""
    while after is not None:
        page = nursery.call("GET", f"/api/v1/events?limit=1000{after}").json
        found += page["events"]
        after = f"&after={page['next']}" if page["next"] else None
    return found


def test_what_stands_is_what_a_person_checked_once(
    morning: Nursery, expected_standing: list[list[str]]
):
    """Alerts that higher ones hide in lists included."""
    assert standing(morning) == expected_standing


def test_each_line_stands_because_the_story_asks_for_it_or_says_why(golden: dict[str, Any]):
    """The column "This morning", and nothing that nobody has judged."""
    found = {(name, watch) for name, watch, _ in golden["standing"]}
    besides = {(name, watch) for name, watch, why in golden["besides"] if why}
    assert found == {tuple(line) for line in golden["story"]} | besides
    shipped = {rule["id"] for rule in load_rules()}
    ready = [line for line in golden["later"] if line[1] in shipped]
    assert ready == [], "these watches ship now: judge their lines of the story"


def test_the_story_is_whole(morning: Nursery):
    lots = morning.rows("lots")
    assert len([lot for lot in lots if lot["closed_at"] is None]) == 30
    assert len(morning.rows("places")) == 12
    assert morning.differences() == []
    chill = morning.lot(lot_id("AP-26-1"))
    assert chill["day"] == 44
    assert chill["stage"] == "cold"
    assert chill["last_look"]["at"] < morning.clock.text(days=10)


def test_its_events_are_of_the_kinds_that_phones_send_with_their_own_clocks(morning: Nursery):
    found = all_events(morning)
    assert len(found) > 2000
    recent = [event for event in found if event["at"] > morning.clock.text(days=120)]
    assert len(recent) > 1500, "dense for the last four months"
    assert len({event["device"] for event in found}) >= 3
    kinds = {event["kind"] for event in found}
    assert {"voided", "amended", "looked", "lot_started", "cold_started", "counted"} <= kinds
    assert kinds <= KINDS.keys()
    skewed = [e for e in found if abs((e.get("clock") or {}).get("skew_ms", 0)) == 10_800_000]
    assert skewed, "a phone whose clock was three hours out is part of the story"
    for event in found:
        assert {"id", "seq", "kind", "observed_at", "data"} <= event.keys()


def test_pushed_through_the_phones_own_door_the_same_events_make_the_same_lots(
    morning: Nursery, tmp_path: Path
):
    clock = Clock()
    other = open_nursery(address_for(tmp_path / "other.sqlite"), tmp_path, clock)
    try:
        for phone, events in scenario(clock.ms, other.site).items():
            for start in range(0, len(events), BATCH):
                body = {"device": name_id(phone), "sent_at": clock.text(),
                        "events": events[start : start + BATCH]}  # fmt: skip
                answer = other.call("POST", "/api/v1/sync/push", body).json
                assert answer["refused"] == []
                assert len(answer["stored"]) == len(body["events"])
        other.tick()
        assert facts_of(other) == facts_of(morning)
    finally:
        close_nursery(other)


def facts_of(nursery: Nursery) -> list[dict[str, Any]]:
    rows = sorted(nursery.rows("lots"), key=lambda lot: lot["id"])
    return [{name: unsaid(lot[name]) for name in lot if name not in KEPT} for lot in rows]


def unsaid(value: Any) -> Any:
    """Return it without the mark of a name that was only said: a script is nobody's own phone."""
    if isinstance(value, list):
        return [unsaid(each) for each in value]
    if not isinstance(value, dict):
        return value
    return {name: unsaid(each) for name, each in value.items() if name != "by_said"}


def test_the_phone_finds_the_same_on_the_same_lots(
    morning: Nursery, core_page: Page, expected_standing: list[list[str]]
):
    """The shipped JavaScript, in Chromium, over the rows that a phone is given."""
    nursery = morning.rows("nursery")[0]
    given: dict[str, Any] = {
        "lots": morning.rows("lots"),
        "crops": {row["id"]: row for row in morning.rows("protocols")},
        "places": {row["id"]: row for row in morning.rows("places")},
        "rules": load_rules(),
        "site": {"offsets": nursery["offsets"], "working_days": nursery["working_days"]},
        "home": nursery,
        "now": morning.clock.text(),
    }
    theirs = core_page.evaluate(
        """async ({ lots, crops, places, rules, site, home, now }) => {
          const [watches, facts] = await Promise.all(
            ["watches", "facts"].map((name) => import(`/core/${name}.js`)));
          return lots.flatMap((lot) => {
            const [crop, place] = [crops[lot.crop] ?? null, places[lot.place] ?? null];
            const known = facts.lotFacts(lot, crop, place, null, [], home);
            const found = watches.evaluate(rules, "lot", known, now, site).findings;
            return found.map((one) => [lot.id, one.watch, one.level]);
          });
        }""",
        given,
    )
    names = {lot_id(name): name for name in LOTS}
    expected = [line for line in expected_standing if line[0] in LOTS]
    assert sorted([names[lot], watch, level] for lot, watch, level in theirs) == expected
