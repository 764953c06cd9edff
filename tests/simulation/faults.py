"""What goes out of order during a run: a phone, the fridge, its probe; and on which days."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.simulation.calendar import HOUR_MS, MINUTE_MS
from tests.simulation.world import World

# When the faults come, as parts of the run: a phone off for a week, the fridge's door left ajar one
# night, the thermostat drifting, the probe dead.
PHONE_OFF, DOOR_AJAR, DRIFT, PROBE_DEAD = 0.15, 0.57, 0.64, 0.76
# In a short run the fridge's trouble falls into the phone's week, so that ordinary days are left.
LONG_DAYS, SHORT = 60, (0.15, 0.25, 0.35, 0.85)
AWAY_DAYS = 7


@dataclass
class Faults:
    """The days on which something is out of order, which are no ordinary days."""

    away: str
    phone_off: int
    door_ajar: int
    drift: int
    probe_dead: int

    @classmethod
    def of(cls, days: int, away: str) -> "Faults":
        """Return the faults of a run of so many days."""
        long = (PHONE_OFF, DOOR_AJAR, DRIFT, PROBE_DEAD)
        parts = long if days >= LONG_DAYS else SHORT
        return cls(away, *(round(days * part) for part in parts))


def plan_faults(
    faults: Faults, world: World, put: Callable[[int, Callable[[], None]], None]
) -> set[int]:
    """Plan them all; return the days that are no ordinary ones."""
    at, nature, phone = world.calendar.at, world.nature, world.phones[faults.away]
    phone.off = (at(faults.phone_off, "11:30"), at(faults.phone_off + AWAY_DAYS, "11:30"))
    put(phone.off[1] + MINUTE_MS, lambda: world.sync(faults.away))
    ajar = at(faults.door_ajar, "01:10")
    nature.warm_for(ajar, ajar + 85 * MINUTE_MS, 7.3)
    put(at(faults.probe_dead, "18:00"), lambda: setattr(world.probe, "dead", True))
    drift = at(faults.drift, "21:00")
    nature.warm_for(drift, drift + 5 * 24 * HOUR_MS, 5.8)
    away = range(faults.phone_off, faults.phone_off + AWAY_DAYS + 1)
    dead = range(faults.probe_dead, faults.probe_dead + 5)
    return {*away, faults.door_ajar, *dead, *range(faults.drift, faults.drift + 3)}
