"""What people do about a finding: what it asks, some of the time, and never what is not so."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from lathhouse.demo.scenario import FRIDGE, place_id
from lathhouse.domain.protocols import load_crops
from tests.simulation import covering, steps
from tests.simulation.calendar import DAY_MS, local
from tests.simulation.episodes import Key
from tests.simulation.ledger import Lot

if TYPE_CHECKING:
    from tests.simulation.people import People

# Chance that somebody who reads their list sees to a thing now, by its priority (our own choice).
SEEN_TO = {1: 0.9, 2: 0.85, 3: 0.6, 4: 0.3}
TAKEN_ON = 0.3
REPAIR_DAYS, PUT_OFF_DAYS, HELD_DAYS = 2, 14, 30


def go_through(people: "People", who: str, found: list[tuple[Key, int]]) -> None:
    """Let somebody go through what their list shows; what has been done already is left."""
    world = people.world
    for key, priority in found:
        if not world.truth.is_true(key, world.now) and key.watch != "chamber-band":
            continue
        if people.rng.random() < SEEN_TO[priority]:
            answer(people, who, key)
        elif priority <= 2 and people.rng.random() < TAKEN_ON:
            take_on(people, who, key)


def take_on(people: "People", who: str, key: Key) -> None:
    """Say "I have it" and do nothing yet."""
    lot = key.subject if key.kind == "lot" else None
    named = {} if lot else {key.kind: key.subject}
    people.do(who, "acknowledged", lot, {"watch": key.watch, **named})


def answer(people: "People", who: str, key: Key) -> None:
    """Do what a finding asks."""
    if key.kind == "lot":
        LOTS.get(key.watch, look)(people, who, people.world.lots[key.subject])
    elif key.watch == "round-missing" and key.kind == "place":
        people.walk(who, key.subject)
    elif key.watch == "chamber-band":
        people.world.nature.mend_fridge(people.world.now)
    elif key.watch == "chamber-silent":
        people.read_fridge(who)
        silence(people, who)
    elif key.watch in ("frost-tonight", "frost-now"):
        covering.cover(people, who)
    elif key.watch == "cover-left-on":
        covering.uncover(people, who, [key.subject])
    elif key.watch == "heat-plants":
        covering.hot_walk(people, who)
    elif key.watch == "solution-old":
        steps.discard(people, who, key.subject)


def silence(people: "People", who: str) -> None:
    """Order a new probe, and put the matter off until it has come: it is read by hand till then."""
    until_ms = people.repair(REPAIR_DAYS)
    if until_ms is not None:
        data = {"why": "new probe ordered", "watch": "chamber-silent", "place": fridge()}
        data["until"] = local(until_ms + DAY_MS).date().isoformat()
        people.do(who, "deferred", None, data)


def look(people: "People", who: str, lot: Lot) -> None:
    """Go and look at a lot."""
    people.look(who, lot)


def drained(people: "People", who: str, lot: Lot) -> None:
    """Let water off and look again."""
    people.world.nature.of(lot).moisture = 3
    people.look(who, lot)


def put_off(people: "People", who: str, lot: Lot) -> None:
    """Cut-test a lot that has stopped coming up and give it two weeks, or close its count."""
    if people.rng.random() < 0.5:
        close_count(people, who, lot)
        return
    people.do(who, "tested", lot, {"test": "cut", "sound": 8, "out_of": 10})
    until = local(people.world.now + PUT_OFF_DAYS * DAY_MS).date().isoformat()
    data = {"why": "eight of ten sound", "until": until, "watch": "emergence-stalled"}
    people.do(who, "deferred", lot, data)


def close_count(people: "People", who: str, lot: Lot) -> None:
    """Close the count of a lot that has come up."""
    people.do(who, "emergence_closed", lot, {"why": "no more come up"})


def nothing_up(people: "People", who: str, lot: Lot) -> None:
    """Hold over what may wait for another spring, and close the rest."""
    if load_crops()[lot.crop]["dormancy"] == "double":
        until = local(people.world.now + HELD_DAYS * DAY_MS).date().isoformat()
        people.do(who, "held_over", lot, {"why": "wait for the second spring", "until": until})
    else:
        people.do(who, "lot_closed", lot, {"why": "nothing came up, cut test bad"})


def stock(people: "People", who: str, lot: Lot) -> None:
    """Count a lot."""
    counted = {"quantity": max(1, int(lot.quantity)), "unit": lot.unit}
    people.do(who, "stocktaken", lot, counted)


def fridge() -> str:
    """Return the fridge's place."""
    return place_id(FRIDGE)


LOTS: dict[str, Callable[["People", str, Lot], None]] = {
    "cold-sprouting": steps.next_stage,
    "cold-long": steps.next_stage,
    "warm-done": steps.next_stage,
    "moisture-dry": lambda people, who, lot: people.water(who, lot),
    "moisture-wet": drained,
    "soak-over": steps.drain,
    "soak-still-water": lambda people, who, lot: people.do(who, "water_changed", lot),
    "sanitise-over": lambda people, who, lot: people.do(who, "sanitise_ended", lot),
    "drained-left": steps.next_stage,
    "emergence-no-count": lambda people, who, lot: people.count(who, lot),
    "emergence-stalled": put_off,
    "emergence-finished": close_count,
    "emergence-none": nothing_up,
    "count-conflict": stock,
}
