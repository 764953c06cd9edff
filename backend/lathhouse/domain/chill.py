"""Chill of seeds as a range: cold days in a narrow, a middle and a wide band, never one figure.

No published one-number chill model serves stratified woody ornamentals in general; what exists is
for one kind each (horse chestnut: 2 to 16 °C works, colder is faster; Steadman and Pritchard 2004).
So the hours in three bands are counted from the chamber's readings, and from the calendar where
there are none. The bands are our own choice; 0 to 7.2 °C is Weinberger's (1950), made for buds.
"""

from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_ms, to_text
from lathhouse.domain.rule_terms import round_half_up

Temps = dict[str, Any]
Chamber = dict[str, Any]

# Narrow, middle, wide, in °C, both ends included.
BANDS = ((1.0, 5.0), (0.0, 7.2), (-2.0, 10.0))
# Above the wide band a chill is interrupted, and nobody knows what that costs.
WARM_C = BANDS[2][1]
DAYS_KEPT = 200
RECENT_KEPT = 24
# A reading speaks for the time since the one before, up to this; beyond it there was none.
GAP_HOURS, GAP_BY_HAND_HOURS = 3.0, 26.0
DAY_HOURS = 24.0


def new_temps() -> Temps:
    """Return the temperatures of a chamber that nobody has read yet."""
    return {"days": [], "recent": []}


def keep(temps: Temps | None, at: str, temp_c: float, by_hand: bool) -> Temps:
    """Return the temperatures after one more reading; readings come in the order of their time.

    `days` holds [day (UTC), lowest, highest, hours read, hours in each band], `recent` the last
    readings as [at, °C]. Between two readings their mean holds.
    """
    before = temps or new_temps()
    days = [[*day] for day in before["days"]]
    return add({"days": days, "recent": [*before["recent"]]}, at, temp_c, by_hand)


def add(temps: Temps, at: str, temp_c: float, by_hand: bool) -> Temps:
    """Do as `keep` does in place, for whoever folds a year of readings; return the same object."""
    days, recent = temps["days"], temps["recent"]
    last = recent[-1] if recent else None
    if last:
        mean = (temp_c + last[1]) / 2
        for day, hours in _hours_between(last[0], at, GAP_BY_HAND_HOURS if by_hand else GAP_HOURS):
            row = _row(days, day, mean)
            row[3] = _brief(row[3] + hours)
            for column, (low, high) in enumerate(BANDS, start=4):
                row[column] = _brief(row[column] + (hours if low <= mean <= high else 0.0))
    row = _row(days, at[:10], temp_c)
    row[1], row[2] = min(row[1], temp_c), max(row[2], temp_c)
    recent.append([at, temp_c])
    del days[:-DAYS_KEPT], recent[:-RECENT_KEPT]
    return temps


def _row(days: list[list[Any]], day: str, temp_c: float) -> list[Any]:
    """Return the row of the last day, or a new one for the day after it."""
    if not days or days[-1][0] != day:
        days.append([day, temp_c, temp_c, 0.0, 0.0, 0.0, 0.0])
    return days[-1]


def _hours_between(start: str, end: str, most_hours: float) -> list[tuple[str, float]]:
    """Return (day, hours) of the time between two readings, or nothing where it is too long."""
    now, last = to_ms(start), to_ms(end)
    if not 0 < last - now <= most_hours * HOUR_MS:
        return []
    found = []
    while now < last:
        midnight = min(last, now - now % DAY_MS + DAY_MS)
        found.append((to_text(now)[:10], (midnight - now) / HOUR_MS))
        now = midnight
    return found


def _brief(hours: float) -> float:
    """Return hours to a third of a second: phones pull the row after each reading."""
    return round_half_up(hours * 10_000) / 10_000


def chill_range(temps: Temps | None, started_at: str, ended_at: str) -> dict[str, Any]:
    """Return how many effective cold days a spell has had, low, middle and high.

    `read_days` were counted from readings and `calendar_days` from the calendar alone, where there
    were none; `warm` lists [day, highest °C] of the days above the wide band.
    """
    start, end = to_ms(started_at), max(to_ms(ended_at), to_ms(started_at))
    read_hours, banded, warm = 0.0, [0.0, 0.0, 0.0], []
    for day, _, high, hours, *bands in (temps or new_temps())["days"]:
        midnight = to_ms(f"{day}T00:00:00.000Z")
        inside = min(end, midnight + DAY_MS) - max(start, midnight)
        if inside <= 0 or hours <= 0:
            continue
        share = min(1.0, inside / HOUR_MS / hours)
        read_hours += hours * share
        banded = [held + one * share for held, one in zip(banded, bands, strict=True)]
        if high > WARM_C:
            warm.append([day, high])
    whole = (end - start) / HOUR_MS
    unread = max(0.0, whole - read_hours)
    low, middle, high_ = ((hours + unread) / DAY_HOURS for hours in banded)
    return {
        "low_days": low,
        "middle_days": middle,
        "high_days": high_,
        "read_days": min(read_hours, whole) / DAY_HOURS,
        "calendar_days": unread / DAY_HOURS,
        "warm": warm,
    }


def hours_in(hourly_c: list[float], low_c: float, high_c: float) -> int:
    """Return how many of these hourly temperatures lie in a band, both ends included."""
    return sum(1 for temp in hourly_c if low_c <= temp <= high_c)
