"""A chamber's temperatures for a plot: the last week by the hour, and before that by the day.

Every phone pulls the row after each reading, so it stays small however often a probe reads: at most
168 hours here, and the days that the chill is counted from (`chill.keep`).
"""

from typing import Any

from lathhouse.domain.instants import HOUR_MS, to_ms, to_text
from lathhouse.domain.rule_terms import round_half_up

# [hours since 1970 (UTC), lowest, mean, highest °C, how many readings]
Bucket = list[Any]

HOURS_KEPT = 168
DAY_HOURS = 24


def keep(hours: list[Bucket] | None, at: str, temp_c: float) -> list[Bucket]:
    """Return the hours after one more reading; readings come in the order of their time.

    Means are to 0.001 °C.
    """
    return add([*(hours or [])], at, temp_c)


def add(hours: list[Bucket], at: str, temp_c: float) -> list[Bucket]:
    """Do as `keep` does in place, for whoever folds a year of readings; return the same list."""
    hour = to_ms(at) // HOUR_MS
    while hours and hours[0][0] <= hour - HOURS_KEPT:
        del hours[0]
    if not hours or hours[-1][0] != hour:
        hours.append([hour, temp_c, temp_c, temp_c, 1])
        return hours
    _, low, mean, high, count = hours[-1]
    mean = round_half_up((mean * count + temp_c) / (count + 1) * 1000) / 1000
    hours[-1] = [hour, min(low, temp_c), mean, max(high, temp_c), count + 1]
    return hours


def points(temps: dict[str, Any] | None, hours: list[Bucket] | None) -> list[list[Any]]:
    """Return [instant, lowest, mean, highest, hours that it stands for], oldest first.

    Days come from `temps` (their mean is None: none is kept), the last week from the hours.
    """
    kept = hours or []
    first = kept[0][0] // DAY_HOURS * DAY_HOURS if kept else None
    found: list[list[Any]] = []
    for day, low, high, *_ in (temps or {"days": []})["days"]:
        midnight = f"{day}T00:00:00.000Z"
        if first is None or to_ms(midnight) < first * HOUR_MS:
            found.append([midnight, low, None, high, DAY_HOURS])
    return [*found, *([to_text(one[0] * HOUR_MS), *one[1:4], 1] for one in kept)]
