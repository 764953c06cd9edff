"""The people: who works when, what they walk and do by themselves, and that they forget.

All chances and hours are our own choice. One look in ten is missed, as the measure asks.
"""

import random
from collections.abc import Callable
from typing import Any

from lathhouse.demo.scenario import (
    BED_A,
    BED_B,
    BENCH,
    CORNER,
    FRIDGE,
    NORTH,
    SHELF,
    SOUTH,
    TEN_L,
    TUNNEL,
    TWO_L,
    place_id,
)  # fmt: skip
from tests.simulation import steps
from tests.simulation.calendar import DAY_MS
from tests.simulation.ledger import Lot
from tests.simulation.needs import window
from tests.simulation.world import World

Data = dict[str, Any]
MISSED = 0.1
PLACE_FORGOTTEN = 0.02
WATERED_AT_ONCE = 0.8
DRAINED_AT_ONCE = 0.8
PICKED_CLEAN = 0.8
# Weekdays at work: Mele's three days as the demo has them; Jonas is casual, here two days.
WORKS = {"Orla": (1, 2, 3, 4, 5, 6), "Dev": (1, 2, 3, 4, 5, 6), "Mele": (2, 3, 5), "Jonas": (1, 4)}
PHONE = {"Orla": "orla", "Dev": "shed", "Jonas": "shed", "Mele": "mele"}
DAILY_WALK = ((FRIDGE, "09:05"), (BENCH, "09:12"), (NORTH, "09:20"), (SOUTH, "09:45"),
              (TUNNEL, "10:10"))  # fmt: skip
BEDS = (TWO_L, BED_A, BED_B, TEN_L, CORNER)
# Days after which a person looks at potted stock again, a little before it is due.
BED_DAYS = {7: 5, 14: 11, 21: 17}
COUNT_EVERY_DAYS = 2.6
# Minutes until a record reaches the server: the shed has signal, the rows have none.
NEAR, FAR = 0.2, 20


class People:
    """What the people do on their own account."""

    def __init__(
        self,
        world: World,
        rng: random.Random,
        later: Callable[[float, Callable[[], None]], None],
        repair: Callable[[int], int | None],
    ) -> None:
        self.world, self.rng, self.later, self.repair = world, rng, later, repair

    def misses(self, chance: float = MISSED) -> bool:
        """Say whether somebody forgets this time."""
        return self.rng.random() < chance

    def do(self, who: str, kind: str, lot: Lot | str | None, data: Data | None = None) -> None:
        """Record an act on the phone of whoever does it."""
        self.world.did(who, PHONE[who], kind, lot, data)

    def here(self, place: str) -> list[Lot]:
        """Return the live lots of a place."""
        return [lot for lot in self.world.lots.values() if lot.live and lot.place == place]

    def look(self, who: str, lot: Lot) -> None:
        """Look at a lot and say what is there; see to what can be seen to at once."""
        nature, now = self.world.nature, self.world.now
        true = nature.of(lot)
        said: Data = {"moisture": true.moisture, "fungus": true.mould}
        if lot.cold_at and not lot.outdoors:
            said["sprouted_percent"] = nature.roots_percent(lot, now)
        fine = true.mould == "none" and 3 <= true.moisture <= 4
        self.do(who, "looked", lot, {"as_expected": True, **said} if fine else said)
        nature.seen(lot, now)
        if true.mould != "none" and self.rng.random() < PICKED_CLEAN:
            true.mould = "none"
        if true.moisture <= 2 and self.rng.random() < WATERED_AT_ONCE:
            self.water(who, lot)
        elif true.moisture == 5 and self.rng.random() < DRAINED_AT_ONCE:
            true.moisture = 3

    def water(self, who: str, lot: Lot) -> None:
        """Water a lot."""
        self.world.nature.watered(lot)
        self.world.nature.seen(lot, self.world.now)
        self.do(who, "watered", lot)

    def count(self, who: str, lot: Lot) -> None:
        """Count what has come up."""
        emerged = self.world.nature.emerged(lot, self.world.now)
        self.do(who, "counted", lot, {"emerged": emerged, "out_of": int(lot.quantity)})

    def walk(self, who: str, place: str) -> None:
        """Walk a daily place: a look at each lot that wants one, counts, and the round closed."""
        skipped = []
        for lot in self.here(place):
            if not self.wants_look(lot):
                continue
            if self.misses():
                skipped.append(lot.id)
                continue
            self.look(who, lot)
            if self.wants_count(lot) and not self.misses():
                self.count(who, lot)
        self.do(who, "round_closed", None, {"place": place, "skipped": skipped})

    def wants_look(self, lot: Lot) -> bool:
        """Say whether a walker stops at a lot: daily, but for bags, which are opened weekly."""
        now = self.world.now
        if lot.phase != "bag":
            return lot.phase != "bench"
        since = lot.cold_at or lot.warm_at or now
        days, last = (now - since) / DAY_MS, max(lot.looked_at or 0, since)
        if lot.cold_at and days >= 39 and last < since + 42 * DAY_MS:
            # The weekly look that falls just before six weeks waits for day 42.
            return days >= 42
        return now - last >= 6 * DAY_MS

    def wants_count(self, lot: Lot) -> bool:
        """Say whether a walker counts: in the window, every third day."""
        times = window(lot)
        if lot.over_at or lot.phase not in ("flats", "emerging"):
            return False
        opens = times[0] if times else (lot.sown_at or 0) + 30 * DAY_MS
        last = max(lot.counted_at or 0, opens)
        return opens <= self.world.now and self.world.now - last >= COUNT_EVERY_DAYS * DAY_MS

    def walk_beds(self, who: str) -> None:
        """Walk the potted stock: whoever's look falls due before long."""
        for bed in BEDS:
            for lot in self.here(place_id(bed)):
                limit = 7 if (lot.container_l or 2) < 3 else 14 if lot.container_l < 7 else 21
                if self.world.now - lot.seen_at >= BED_DAYS[limit] * DAY_MS and not self.misses():
                    self.look(who, lot)

    def read_fridge(self, who: str) -> None:
        """Read the fridge's thermometer by hand, with the door shut."""
        value = self.world.nature.shut_fridge_c(self.world.now)
        place = place_id(FRIDGE)
        self.do(who, "read", None, {"place": place, "quantity_kind": "temp_c", "value": value})

    def shelf(self, who: str) -> None:
        """Look at the warm lots, once a week."""
        for lot in self.here(place_id(SHELF)):
            if not self.misses():
                self.look(who, lot)

    def plan(self, day: int) -> list[tuple[int, Callable[[], None], float]]:
        """Return what people mean to do on a working day: [(when, what, minutes until sent)]."""
        at, weekday = self.world.calendar.at, self.world.calendar.weekday(day)
        late = self.rng.uniform(-15, 20)
        plan: list[tuple[int, Callable[[], None], float]] = []
        for clock in ("07:15", "15:45"):
            if not self.misses():
                plan.append((at(day, clock), lambda: self.read_fridge("Dev"), NEAR))
        for clock in ("07:20", "15:35"):
            plan.append((at(day, clock), lambda: steps.bench(self, "Dev"), NEAR))
        for place, clock in DAILY_WALK:
            if not self.misses(PLACE_FORGOTTEN):
                when = at(day, clock, late + self.rng.uniform(-5, 5))
                plan.append((when, lambda place=place: self.walk("Dev", place_id(place)), FAR))
        if weekday in WORKS["Mele"]:
            plan.append((at(day, "10:40", late), lambda: self.walk_beds("Mele"), FAR))
        if weekday == 1:
            plan.append((at(day, "08:35"), lambda: self.shelf("Dev"), NEAR))
        plan.append((at(day, "13:30"), lambda: steps.move_on(self, "Dev"), NEAR))
        if weekday in WORKS["Jonas"] and self.rng.random() < steps.NEW_LOT:
            plan.append((at(day, "07:30"), lambda: steps.new_lot(self, "Jonas"), NEAR))
        if self.rng.random() < 0.3:
            door = at(day, "08:00", self.rng.uniform(0, 400))
            plan.append((door, lambda: self.world.nature.open_door(self.world.now), NEAR))
        return plan
