"""What nature does, seen or not: drying, mould, roots, seedlings, and the fridge's temperature.

Every rate is our own choice, made to look like a nursery that is run with ordinary care.
"""

import math
import random
from dataclasses import dataclass

from tests.simulation.calendar import DAY_MS, HOUR_MS, MINUTE_MS, local
from tests.simulation.ledger import Lot
from tests.simulation.needs import Span, look_days, step, window

# Chances per lot and day.
DRIES = {"bag": 0.002, "flats": 0.012, "emerging": 0.012, "seedlings": 0.01, "pots": 0.004}
TOO_WET = {"bag": 0.003}
MOULDS = {"bag": 0.004, "flats": 0.003, "emerging": 0.004, "seedlings": 0.002}
SPREADS = 0.2
NOTHING_COMES_UP = 0.08
USUAL_MOISTURE = {"flats": 4}
DOOR_MS = 15 * MINUTE_MS
DOOR_C, BAND_C, FRIDGE_C = 6.2, 5.0, 3.7


@dataclass
class Hidden:
    """The true state of a lot, which nobody knows before looking."""

    moisture: int
    mould: str = "none"
    curve: tuple[int, float, float] | None = None
    dry: "DrySpell | None" = None


@dataclass
class DrySpell:
    """True dryness until somebody saw or watered it, and where and what the lot was then."""

    lot: str
    place: str
    phase: str
    look_days: float
    start: int
    end: int


class Nature:
    """The true state of everything, moved on once a day, and the fridge from moment to moment."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.hidden: dict[str, Hidden] = {}
        # (from, until, °C) in which the fridge is warmer than it should be.
        self.warm_spells: list[tuple[int, int, float]] = []
        self.dry_spells: list[DrySpell] = []

    def of(self, lot: Lot) -> Hidden:
        """Return a lot's true state."""
        if lot.id not in self.hidden:
            self.hidden[lot.id] = Hidden(USUAL_MOISTURE.get(lot.phase, 3))
        return self.hidden[lot.id]

    def noon(self, lot: Lot, now: int) -> None:
        """Let a day pass over a lot."""
        true, chance = self.of(lot), self.rng.random
        if true.moisture <= 2:
            true.moisture = 1
        elif chance() < DRIES.get(lot.phase, 0):
            true.moisture = 2
            true.dry = DrySpell(lot.id, lot.place, lot.phase, look_days(lot) or 7, now, now)
        elif chance() < TOO_WET.get(lot.phase, 0):
            true.moisture = 5
        if true.mould == "spots" and chance() < SPREADS:
            true.mould = "spreading"
        elif true.mould == "none" and chance() < MOULDS.get(lot.phase, 0):
            true.mould = "spots"

    def watered(self, lot: Lot) -> None:
        """Water a lot."""
        self.of(lot).moisture = USUAL_MOISTURE.get(lot.phase, 3)

    def seen(self, lot: Lot, now: int) -> None:
        """Note that somebody has seen a dry lot for what it is, or watered it."""
        true = self.of(lot)
        if true.dry is not None:
            true.dry.end = now
            self.dry_spells.append(true.dry)
            true.dry = None

    def roots_percent(self, lot: Lot, now: int) -> int:
        """Return what percent of a chilled lot shows roots: few before its time, then many."""
        aim = step(lot.crop, "cold").get("target_days") or 60
        days = (now - (lot.cold_at or now)) / DAY_MS
        return max(0, min(40, round((days - 0.85 * aim) * 1.2)))

    def emerged(self, lot: Lot, now: int) -> int:
        """Return how many seedlings stand above the surface now."""
        true = self.of(lot)
        if true.curve is None:
            times = window(lot)
            opens = times[0] if times else (lot.sown_at or now) + 30 * DAY_MS
            first = max(opens + round(self.rng.uniform(1, 6) * DAY_MS), now if lot.count else 0)
            share = 0 if self.rng.random() < NOTHING_COMES_UP else self.rng.uniform(0.35, 0.7)
            true.curve = (first, share, self.rng.uniform(4, 8))
        first, share, pace_days = true.curve
        days = (now - first) / DAY_MS
        part = 1 - math.exp(-max(0.0, days) / pace_days) if days < 5 * pace_days else 1
        return max(lot.count, round(lot.quantity * share * part))

    def fridge_c(self, now: int) -> float:
        """Return the fridge's true temperature."""
        return self._fridge_c(now, self.warm_spells)

    def shut_fridge_c(self, now: int) -> float:
        """Return its temperature as one reads it who waits while another stands at the door."""
        lasting = [spell for spell in self.warm_spells if spell[1] - spell[0] > DOOR_MS]
        return self._fridge_c(now, lasting)

    def _fridge_c(self, now: int, spells: list[tuple[int, int, float]]) -> float:
        warm = [degrees for start, end, degrees in spells if start <= now < end]
        hour = local(now).hour
        return max(warm, default=round(FRIDGE_C + 0.3 * math.sin(hour), 1))

    def open_door(self, now: int) -> None:
        """Stand at the open fridge for a quarter of an hour."""
        self.warm_spells.append((now, now + DOOR_MS, DOOR_C))

    def warm_for(self, start: int, end: int, degrees: float) -> None:
        """Leave the door ajar, or let the thermostat drift."""
        self.warm_spells.append((start, end, degrees))

    def mend_fridge(self, now: int) -> None:
        """Shut the door, set the thermostat."""
        self.warm_spells = [(a, min(b, max(a, now)), c) for a, b, c in self.warm_spells]

    def out_of_band(self) -> list[Span]:
        """Return when the fridge was truly out of its band for an hour or more, from that hour."""
        out = [(a, b) for a, b, c in self.warm_spells if c > BAND_C and b - a >= HOUR_MS]
        return [(start + HOUR_MS, end) for start, end in sorted(out) if end > start + HOUR_MS]
