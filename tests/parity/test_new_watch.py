"""A watch that nobody foresaw, given as JSON alone while everything runs, on both sides."""

import json
from typing import Any

from playwright.sync_api import Page

from tests.parity.twins import in_browser
from tests.server import Nursery

WEEDS = json.loads("""{
  "id": "weeds-seeding", "subjects": ["lot"], "priority": 3, "source": "the owner", "grade": "ours",
  "when": [["live", "is", true], ["stage", "is_not", "seed"]],
  "clock": {"run_of": "weeds", "at_least": 2},
  "after": {"due": {"days": 2}, "alarm": {"days": 5}},
  "hides": ["look-due"],
  "says": "{label}: weeds since {since|date}, {last.weeds.value} of 3",
  "next_action": "Weed it before they seed"
}""")
EVALUATE = """
async ([rules, lot, crop, now, site]) => {
  const { lotFacts } = await import("/core/facts.js");
  const { evaluate } = await import("/core/watches.js");
  return evaluate(rules, "lot", lotFacts(lot, crop), now, site).findings;
}
"""


def level_on_the_phone(page: Page, nursery: Nursery, lot_id: str) -> str | None:
    """Return the level of the watch by what the phone has pulled."""
    (home,) = nursery.rows("nursery")
    lot = nursery.lot(lot_id)
    crops = {crop["id"]: crop for crop in nursery.rows("protocols")}
    site = {"offsets": home["offsets"], "working_days": home["working_days"]}
    sent = [nursery.rows("watches"), lot, crops.get(lot["crop"]), nursery.clock.text(), site]
    found = {one["watch"]: one for one in page.evaluate(EVALUATE, sent)}
    return found.get(WEEDS["id"], {}).get("level")


def levels(page: Page, nursery: Nursery, lot: str) -> list[Any]:
    """Return the watch's level as an alert on the server and as a finding on the phone."""
    nursery.tick()
    return [nursery.alerts().get(WEEDS["id"]), level_on_the_phone(page, nursery, lot)]


def test_a_watch_nobody_foresaw_rings_and_clears_on_both_sides(
    one_nursery: Nursery, core_page: Page
):
    nursery, phone = one_nursery, one_nursery.device()
    lot = phone.start_lot(unit="plants", container_l=4, quantity=60)
    phone.record("looked", lot, {"weeds": 2})
    nursery.clock.forward(days=3)
    assert levels(core_page, nursery, lot) == [None, None]

    phone.record("watch_changed", None, WEEDS)
    assert levels(core_page, nursery, lot) == ["due", "due"]

    nursery.clock.forward(days=2)
    phone.record("looked", lot, {"weeds": 3, "moisture": 3})
    assert levels(core_page, nursery, lot) == ["alarm", "alarm"]

    phone.record("looked", lot, {"weeds": 0})
    assert levels(core_page, nursery, lot) == [None, None]


def test_the_interpreter_alone_reads_it_too(core_page: Page):
    case = {"kind": "call", "module": "watches", "name": "levelTimes"}
    facts = {"series": {"weeds": [["2026-05-01T08:00:00.000Z", 2]]}}
    args = [{"clock": WEEDS["clock"], "after": WEEDS["after"]}, facts, {"offsets": []}]
    (answer,) = in_browser(core_page, [{**case, "args": args}])
    day = 86_400_000
    start = answer["value"]["due"] - 2 * day
    assert answer["value"] == {"due": start + 2 * day, "alarm": start + 5 * day}
