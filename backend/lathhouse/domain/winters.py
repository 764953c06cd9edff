"""The turn of the year as watches reckon it: midwinters, and time that counts only in growth.

The hemisphere is all that is asked; months and days are our own choice. Midwinter is the day on or
beside which the winter solstice falls.
"""

from lathhouse.domain.instants import Offsets, local_date, local_instant

MIDWINTER = {"south": "06-21", "north": "12-21"}
# First day of growth, and first day of rest (month and day).
GROWTH = {"south": ("09-01", "05-01"), "north": ("03-01", "11-01")}
LAST_YEAR = 9998
TURNS_MAX = 100


def next_on(day: str, month_day: str) -> str | None:
    """Return the first date after a civil date that has this month and day."""
    year = int(day[:4])
    year += 0 if f"{day[:4]}-{month_day}" > day else 1
    return f"{year:04}-{month_day}" if year <= LAST_YEAR else None


def nth_midwinter(start_ms: int, nth: int, offsets: Offsets, hemisphere: str) -> int | None:
    """Return the local midnight that begins the nth midwinter day after the day of an instant."""
    first = next_on(local_date(start_ms, offsets), MIDWINTER[hemisphere])
    if first is None or int(first[:4]) + nth - 1 > LAST_YEAR:
        return None
    return local_instant(f"{int(first[:4]) + nth - 1:04}{first[4:]}", "00:00", offsets)


def after_growing_time(
    start_ms: int, length_ms: int, offsets: Offsets, hemisphere: str
) -> int | None:
    """Return when `length_ms` of the growing months have passed; months of rest count nought."""
    begins, rests = GROWTH[hemisphere]
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
