"""Moving lots on: new seed, the bench, into the warm and the cold, sown, potted, sold."""

import uuid
from typing import TYPE_CHECKING, Any

from lathhouse.demo.scenario import BENCH, FRIDGE, SHELF, SOUTH, TUNNEL, TWO_L, place_id
from lathhouse.domain.protocols import load_crops
from tests.simulation.calendar import DAY_MS, HOUR_MS, MINUTE_MS
from tests.simulation.ledger import Lot
from tests.simulation.needs import soak_hours, step

if TYPE_CHECKING:
    from tests.simulation.people import People

Data = dict[str, Any]
# Chance of a new lot on a day of Jonas's: about one a week.
NEW_LOT = 0.5
DIPPED = 0.5
DIP_FORGOTTEN = 0.1
SOLD_A_DAY = 0.15
# Winter ends outdoors some three weeks after the demo's morning.
SPRING_DAY = 22
CROPS = (
    "acer-palmatum", "cornus-kousa", "syringa-vulgaris", "stewartia-koreana", "viburnum-opulus",
    "hamamelis-virginiana", "magnolia-virginiana", "cercis-canadensis", "camellia-japonica",
)  # fmt: skip
# Hours until somebody is at the bench again, by the hour of this visit.
NEXT_VISIT_HOURS = {7: 8.3, 15: 15.8}
WHERE: dict[str, tuple[str, Data]] = {
    "warm": (SHELF, {"where": "indoors", "temp_c": 20}),
    "cold": (FRIDGE, {"where": "fridge", "temp_c": 4}),
}


def new_lot(people: "People", who: str) -> None:
    """Start a lot of new seed in a soak."""
    rng = people.rng
    number = len(people.world.lots)
    made = str(uuid.UUID(int=rng.getrandbits(128), version=4))
    seeds = rng.randrange(300, 2500, 50)
    data = {"crop": rng.choice(CROPS), "label": f"26-{number:03d}-S", "quantity": seeds}
    people.do(who, "lot_started", made, {**data, "unit": "seeds", "place": place_id(BENCH)})
    people.do(who, "soak_started", people.world.lots[made])


def bench(people: "People", who: str) -> None:
    """See to what soaks: drain what would be over before the next visit, else change the water."""
    now, hour = people.world.now, people.world.calendar
    visit = NEXT_VISIT_HOURS[7 if now < hour.at(hour.day_of(now), "12:00") else 15]
    for lot in people.here(place_id(BENCH)):
        if lot.soak_at is None or people.misses():
            continue
        soaked = (now - lot.soak_at) / HOUR_MS
        if soaked > 12 and soaked + visit >= soak_hours(lot.crop):
            drain(people, who, lot)
        elif soaked > 12:
            people.do(who, "water_changed", lot)


def drain(people: "People", who: str, lot: Lot) -> None:
    """End a soak; half the lots are dipped, and all go on soon, if nobody forgets."""
    people.do(who, "soak_ended", lot)
    wait = 30
    if people.rng.random() < DIPPED:
        wait = dip(people, who, lot)
    if not people.misses():
        people.later(wait, lambda: next_stage(people, who, lot))


def dip(people: "People", who: str, lot: Lot) -> int:
    """Mix a bucket, dip the lot in it and rinse; return the minutes that it takes in all."""
    bucket = str(uuid.UUID(int=people.rng.getrandbits(128), version=4))
    mixed = {
        "solution": bucket, "product_strength": 4.0, "product_unit": "percent_available_chlorine",
        "wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000, "product_ml": 600,
        "water_ml": 3400, "method": "make_up_to", "ppm": 6000,
    }  # fmt: skip
    people.do(who, "solution_mixed", None, mixed)
    how = {"solution": bucket, "percent_by_volume": 15, "limit_minutes": 10}
    late = people.rng.uniform(3, 10) if people.misses(DIP_FORGOTTEN) else 0
    end = 5 + 9 + round(late)
    people.later(5, lambda: people.do(who, "sanitise_started", lot, how))
    people.later(end, lambda: people.do(who, "sanitise_ended", lot))
    if not people.misses():
        people.later(end + 5, lambda: discard(people, who, bucket))
    return end + 30


def discard(people: "People", who: str, bucket: str) -> None:
    """Throw a bucket away."""
    people.do(who, "solution_discarded", None, {"solution": bucket})


def next_stage(people: "People", who: str, lot: Lot) -> None:
    """Put a lot into what its crop asks for next, unless somebody has done so already."""
    if lot.sown_at or not lot.live or lot.soak_at or lot.dip_at:
        return
    kinds = [row["kind"] for row in load_crops()[lot.crop]["stages"]]
    order = [kind for kind in ("warm", "cold", "sow") if kind in kinds]
    now_in = "cold" if lot.cold_at else "warm" if lot.warm_at else None
    kind = order[order.index(now_in) + 1] if now_in else order[0]
    if kind == "sow":
        sow(people, who, lot)
        return
    place, how = WHERE[kind]
    people.do(who, f"{kind}_started", lot, how)
    people.do(who, "moved", lot, {"place": place_id(place)})


def sow(people: "People", who: str, lot: Lot) -> None:
    """Sow a lot into flats."""
    flats = max(1, int(lot.quantity) // 100)
    made = {"flats": flats, "per_flat": int(lot.quantity) // flats, "depth_mm": 4}
    people.do(who, "sown", lot, made)
    place = people.rng.choice((SOUTH, TUNNEL))
    people.do(who, "moved", lot, {"place": place_id(place)})
    people.world.nature.watered(lot)


def move_on(people: "People", who: str) -> None:
    """Do what the calendar asks of each lot, but for what is forgotten today."""
    world = people.world
    day = world.calendar.day_of(world.now)
    for lot in [lot for lot in world.lots.values() if lot.live]:
        if people.misses():
            continue
        if lot.outdoors and lot.cold_at:
            if day >= SPRING_DAY and people.rng.random() < 0.5:
                people.do(who, "cold_ended", lot)
        elif lot.phase == "bag" and ready(lot, world.now):
            next_stage(people, who, lot)
        elif lot.phase == "seedlings" and lot.root_fill >= 5 and people.rng.random() < 0.2:
            pot(people, who, lot)
        elif (lot.container_l or 0) >= 4 and people.rng.random() < SOLD_A_DAY:
            sell(people, lot)


def ready(lot: Lot, now: int) -> bool:
    """Say whether a lot in warm or cold has had its days, or shows its roots."""
    kind = "cold" if lot.cold_at else "warm"
    aim = step(lot.crop, kind).get("target_days") or 60
    roots = bool(lot.roots) and lot.roots[-1][1] >= 10
    return roots or now - (lot.cold_at or lot.warm_at or now) >= aim * DAY_MS


def pot(people: "People", who: str, lot: Lot) -> None:
    """Pot seedlings into two litres."""
    people.do(who, "potted_on", lot, {"quantity": int(lot.quantity), "container_l": 2})
    people.do(who, "moved", lot, {"place": place_id(TWO_L)})


def sell(people: "People", lot: Lot) -> None:
    """Sell a few plants."""
    few = min(int(lot.quantity) - 1, people.rng.randrange(2, 9))
    if few > 0:
        sale = {"quantity": few, "container_l": lot.container_l, "buyer": "a landscaper"}
        people.do("Orla", "sold", lot, sale)


def minutes(length: float) -> int:
    """Return a length in milliseconds."""
    return round(length * MINUTE_MS)
