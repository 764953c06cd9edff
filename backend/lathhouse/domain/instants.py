"""Instants and local days.

An instant is either whole milliseconds since 1970-01-01T00:00Z (for arithmetic) or canonical text
`2026-05-01T08:00:00.000Z` (for records; text order is time order). The site's clock changes are a
plain table `offsets = [[from_instant, minutes_east], ...]`, so that phone and server reckon local
days alike whatever their own time-zone data say.
"""

import re
from bisect import bisect_right
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NAIVE_EPOCH = datetime(1970, 1, 1)
# What canonical text can say: the years 0001 to 9999.
FIRST_MS, LAST_MS = -62_135_596_800_000, 253_402_300_799_999
# A walk over working days stops here: no shipped limit is longer than a year.
WORKING_DAYS_MAX = 800

RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:[Zz]|([+-])(\d\d):(\d\d))",
    re.ASCII,
)

Offsets = list[list[Any]]


class BadInstant(ValueError):
    """The text is not an RFC 3339 date and time with its UTC offset."""


def parse_instant(text: object) -> int:
    """Return the milliseconds since 1970 of an RFC 3339 time with offset.

    Fractions beyond a millisecond are cut off. A leap second (23:59:60 UTC) is taken as the next
    second, which RFC 3339 section 5.8 leaves to the reader.

    Raises:
        BadInstant: no offset, hour 24, a day that does not exist, or any other spelling; or a time
            that in UTC falls outside the years 0001 to 9999.
    """
    if not isinstance(text, str):
        raise BadInstant(f"not an RFC 3339 time with offset: {text!r}")
    return _parsed(text)


@lru_cache(maxsize=8192)
def _parsed(text: str) -> int:
    match = RFC3339.fullmatch(text)
    if not match:
        raise BadInstant(f"not an RFC 3339 time with offset: {text!r}")
    year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
    fraction, sign, off_hour, off_minute = match.groups()[6:]
    leap = second == 60
    offset_minutes = int(off_hour) * 60 + int(off_minute) if sign else 0
    if offset_minutes > 23 * 60 + 59 or (sign and int(off_minute) > 59):
        raise BadInstant(f"no such offset: {text!r}")
    try:
        moment = datetime(year, month, day, hour, minute, 59 if leap else second, tzinfo=UTC)
    except ValueError as error:
        raise BadInstant(f"no such time: {text!r}") from error
    ms = round((moment - EPOCH) / timedelta(milliseconds=1))
    ms -= offset_minutes * MINUTE_MS * (-1 if sign == "-" else 1)
    if leap:
        if ms % DAY_MS != DAY_MS - 1000:
            raise BadInstant(f"a leap second falls on 23:59:60 UTC only: {text!r}")
        ms += 1000
    else:
        ms += int(((fraction or "") + "000")[:3])
    if not FIRST_MS <= ms <= LAST_MS:
        raise BadInstant(f"outside the years 0001 to 9999 in UTC: {text!r}")
    return ms


def to_text(ms: int) -> str:
    """Return canonical text of an instant, always UTC with three fraction digits."""
    moment = NAIVE_EPOCH + timedelta(milliseconds=ms)
    return moment.isoformat(timespec="milliseconds") + "Z"


@lru_cache(maxsize=8192)
def to_ms(text: str) -> int:
    """Return the milliseconds of canonical text (fast; for our own records only)."""
    return round((datetime.fromisoformat(text) - EPOCH) / timedelta(milliseconds=1))


def later(*instants: str | None) -> str | None:
    """Return the latest of the instants that are there."""
    return max((instant for instant in instants if instant), default=None)


def within_years(ms: int) -> int:
    """Return the instant, or the first or last one that canonical text can say."""
    return min(max(ms, FIRST_MS), LAST_MS)


def offset_minutes(ms: int, offsets: Offsets) -> int:
    """Return the minutes east of UTC at an instant; before the table begins, its first row."""
    if not offsets:
        return 0
    index = bisect_right([row[0] for row in offsets], to_text(within_years(ms))) - 1
    return int(offsets[max(index, 0)][1])


def local_date(ms: int, offsets: Offsets) -> str:
    """Return the site's civil date at an instant, as `YYYY-MM-DD`."""
    return to_text(within_years(ms + offset_minutes(ms, offsets) * MINUTE_MS))[:10]


def local_time(ms: int, offsets: Offsets) -> str:
    """Return the site's wall-clock time at an instant, as `HH:MM`."""
    return to_text(within_years(ms + offset_minutes(ms, offsets) * MINUTE_MS))[11:16]


def local_instant(day: str, clock: str, offsets: Offsets) -> int:
    """Return the instant of a local wall-clock time.

    A time that happens twice is the first; one that the clocks leave out is read with the offset
    from before the gap (RFC 5545 section 3.3.5).
    """
    naive = to_ms(f"{day}T{clock}:00.000Z")
    before = offset_minutes(naive - DAY_MS, offsets)
    after = offset_minutes(naive + DAY_MS, offsets)
    for minutes in (before, after):
        if offset_minutes(naive - minutes * MINUTE_MS, offsets) == minutes:
            return naive - minutes * MINUTE_MS
    return naive - before * MINUTE_MS


def next_day(day: str) -> str:
    """Return the civil date after `day`."""
    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


def day_before(day: str) -> str:
    """Return the civil date before `day`; the first that canonical text can say has none."""
    return to_text(within_years(to_ms(f"{day}T00:00:00.000Z") - DAY_MS))[:10]


def weekday(day: str) -> int:
    """Return 1 (Monday) to 7 (Sunday)."""
    return date.fromisoformat(day).isoweekday()


def next_working_day(day: str, working_days: list[int]) -> str | None:
    """Return the first working day after `day`, or None where nobody ever works."""
    for _ in range(7):
        day = next_day(day)
        if weekday(day) in working_days:
            return day
    return None


def after_working_time(
    start_ms: int, length_ms: int, offsets: Offsets, working_days: list[int]
) -> int | None:
    """Return when `length_ms` of working days have passed; other days count nought."""
    at, left = start_ms, length_ms
    for _ in range(WORKING_DAYS_MAX):
        day = local_date(at, offsets)
        end = local_instant(next_day(day), "00:00", offsets)
        if weekday(day) in working_days:
            if at + left <= end:
                return at + left
            left -= end - at
        at = end
    return None


def offsets_of(zone: str, from_ms: int, to_ms_: int) -> Offsets:
    """Return the offset table of a named time zone between two instants (steps of a quarter hour).

    Raises:
        zoneinfo.ZoneInfoNotFoundError: no such zone.
    """
    tz = ZoneInfo(zone)

    def minutes(ms: int) -> int:
        offset = (EPOCH + timedelta(milliseconds=ms)).astimezone(tz).utcoffset()
        return round((offset or timedelta()) / timedelta(minutes=1))

    table: Offsets = [[to_text(from_ms), minutes(from_ms)]]
    step = 7 * DAY_MS
    for start in range(from_ms, to_ms_, step):
        low, high = start, min(start + step, to_ms_)
        if minutes(low) == minutes(high):
            continue
        while high - low > MINUTE_MS:
            middle = (low + high) // 2
            low, high = (middle, high) if minutes(middle) == minutes(low) else (low, middle)
        at = high - high % MINUTE_MS
        table.append([to_text(at), minutes(high)])
    return table
