"""The turn of the year as watches reckon it: midwinters, and time that counts only in growth.

Where the owner has set the first days of the seasons, growth is from the first day of spring to
the last third of autumn, and midwinter as far into winter as the solstice is into the months of
winter; else the hemisphere is all that is asked. Months, days and that share are our own choice.
Midwinter is then the day on or beside which the winter solstice falls.
"""

from typing import Any

from lathhouse.domain.instants import DAY_MS, Offsets, local_date, local_instant, to_ms
from lathhouse.domain.rule_terms import round_half_up
from lathhouse.domain.seasons import add_days, own_starts, season_dates

MIDWINTER = {"south": "06-21", "north": "12-21"}
# First day of growth, and first day of rest (month and day).
GROWTH = {"south": ("09-01", "05-01"), "north": ("03-01", "11-01")}
# From the first of June to the 21st, of the 92 days of winter's months.
SOLSTICE_DAYS, WINTER_DAYS = 20, 92
# Any year that begins no leap year's winter: the turns are days of every year.
PLAIN_YEAR = 2001
LAST_YEAR = 9998
TURNS_MAX = 100


def turns(place: dict[str, Any]) -> tuple[str, str, str]:
    """Return the month and day of the first day of growth, of the first day of rest, and of
    midwinter, at a nursery's row or whatever names `season_starts` and `hemisphere`."""
    own = own_starts(place)
    rests, winter = (
        season_dates(words, PLAIN_YEAR, place) if own else None
        for words in ("late autumn", "winter")
    )
    if own and rests and winter:
        first, last = (to_ms(f"{winter[end]}T00:00:00.000Z") for end in ("from", "to"))
        days = (last - first) // DAY_MS + 1
        deep = add_days(winter["from"], round_half_up(days * SOLSTICE_DAYS / WINTER_DAYS))
        return own[0], rests["from"][5:], deep[5:]
    side = "north" if place.get("hemisphere") == "north" else "south"
    return *GROWTH[side], MIDWINTER[side]


def next_on(day: str, month_day: str) -> str | None:
    """Return the first date after a civil date that has this month and day."""
    year = int(day[:4])
    year += 0 if f"{day[:4]}-{month_day}" > day else 1
    return f"{year:04}-{month_day}" if year <= LAST_YEAR else None


def nth_midwinter(start_ms: int, nth: int, offsets: Offsets, place: dict[str, Any]) -> int | None:
    """Return the local midnight that begins the nth midwinter day after the day of an instant."""
    first = next_on(local_date(start_ms, offsets), turns(place)[2])
    if first is None or int(first[:4]) + nth - 1 > LAST_YEAR:
        return None
    return local_instant(f"{int(first[:4]) + nth - 1:04}{first[4:]}", "00:00", offsets)


def after_growing_time(
    start_ms: int, length_ms: int, offsets: Offsets, place: dict[str, Any]
) -> int | None:
    """Return when `length_ms` of the growing months have passed; months of rest count nought."""
    begins, rests, _ = turns(place)
    at, left = start_ms, length_ms
    for _ in range(TURNS_MAX):
        day = local_date(at, offsets)
        growing = (begins <= day[5:] < rests) if begins < rests else not rests <= day[5:] < begins
        turn = next_on(day, rests if growing else begins)
        if turn is None:
            return None
        end = local_instant(turn, "00:00", offsets)
        if growing and at + left <= end:
            return at + left
        left -= end - at if growing else 0
        at = end
    return None
