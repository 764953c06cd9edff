"""Season words ("late summer to autumn") into dates, for a hemisphere, a latitude and a height.

The rule, in this order:

1. The owner's own first days of the four seasons, where all four are set; early, mid and late are
   then thirds by days.
2. Within the tropics there are no such seasons: nothing is said until the owner sets dates.
3. Else the meteorological seasons, whole months (spring from 1 March in the north, from 1 September
   in the south), so that early, mid and late are one month each and leap years fall out by
   themselves. Crop rows were turned into words from printed months, so months give them back.
4. Where both latitude and height are set, these months are moved by Hopkins' bioclimatic law: four
   days for each degree of latitude and each 400 feet, spring and early summer later, autumn earlier
   towards the pole and uphill (Hopkins 1919, The Scientific Monthly 8, 496-513). An approximation
   for middle latitudes of North America; its term for longitude is left out. That nothing is moved
   at 40 degrees and sea level, and nothing by more than four weeks, is our own choice. Latitude
   without height moves nothing, since 1,000 m undo eight degrees.

No clock. Dates are local civil dates, `YYYY-MM-DD`; a span's last day belongs to it.
"""

import re
from datetime import date, timedelta
from typing import Any

from lathhouse.domain.rule_terms import is_number, round_half_up

Place = dict[str, Any]
Span = dict[str, str]

SEASONS = ("spring", "summer", "autumn", "winter")
PARTS = ("early", "mid", "late")
FIRST_MONTH = {"north": 3, "south": 9}
TROPIC_DEG = 23.44
DAYS_PER_DEGREE = 4
DAYS_PER_METRE = 4 / 121.92
BASE_LATITUDE_DEG = 40
MOVED_DAYS_MAX = 28
# A wrong clock may name any year; beyond these nothing is foreseen.
FIRST_YEAR, LAST_YEAR = 1000, 9900
# By how much of the whole each of the twelve thirds begins later, from early spring on: all of it
# until summer has begun, then back through summer, as much earlier in autumn, and back in winter.
MOVES = (1, 1, 1, 1, 1 / 3, -1 / 3, -1, -1, -1, -1, -1 / 3, 1 / 3)
WORDS = re.compile(r"(early|mid|late)?\s*(spring|summer|autumn|winter)?", re.ASCII)
MONTH_DAY = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])", re.ASCII)


def hemisphere_of(place: Place) -> str:
    """Return `north` or `south`: what the owner said, else the side of the latitude, else south."""
    said = place.get("hemisphere")
    if said in FIRST_MONTH:
        return str(said)
    latitude: Any = place.get("latitude_deg")
    return "north" if is_number(latitude) and latitude > 0 else "south"


def season_rule(place: Place) -> dict[str, Any]:
    """Return {rule, moved_days}: `own`, `none` (the tropics), `moved` or `months`."""
    if own_starts(place):
        return {"rule": "own", "moved_days": 0}
    latitude: Any = place.get("latitude_deg")
    height: Any = place.get("elevation_m")
    if not is_number(latitude):
        return {"rule": "months", "moved_days": 0}
    if abs(latitude) < TROPIC_DEG:
        return {"rule": "none", "moved_days": 0}
    if not is_number(height):
        return {"rule": "months", "moved_days": 0}
    whole = (abs(latitude) - BASE_LATITUDE_DEG) * DAYS_PER_DEGREE + height * DAYS_PER_METRE
    moved = max(-MOVED_DAYS_MAX, min(MOVED_DAYS_MAX, round_half_up(whole)))
    return {"rule": "moved" if moved else "months", "moved_days": moved}


def own_starts(place: Place) -> list[str] | None:
    """Return the owner's first days of spring to winter as `MM-DD`, or None unless all can be read.

    They must follow each other once round the year, and 29 February is no day of every year.
    """
    said = place.get("season_starts")
    if not isinstance(said, dict):
        return None
    starts = [said.get(season) for season in SEASONS]
    for one in starts:
        if not isinstance(one, str) or not MONTH_DAY.fullmatch(one) or not _is_day(f"2001-{one}"):
            return None
    texts = [str(one) for one in starts]
    falls = sum(texts[(n + 1) % 4] <= texts[n] for n in range(4))
    return texts if falls == 1 else None


def read_words(words: object) -> tuple[int, int] | None:
    """Return the first and last third of the year that season words name, or None.

    Thirds count from early spring, 0, to late winter, 11; a span over the year's end goes on past.
    """
    ends = words.lower().split(" to ") if isinstance(words, str) else []
    if not 1 <= len(ends) <= 2:
        return None
    found = [WORDS.fullmatch(end.strip()) for end in ends]
    if not all(found):
        return None
    (first_part, first), (last_part, last) = (
        (m.group(1), m.group(2)) for m in (found[0], found[-1]) if m
    )
    first = first or last
    if not first or not last:
        return None
    start = SEASONS.index(first) * 3 + (PARTS.index(first_part) if first_part else 0)
    end = SEASONS.index(last) * 3 + (PARTS.index(last_part) if last_part else 2)
    return start, end if end >= start else end + 12


def season_dates(words: object, year: int, place: Place) -> Span | None:
    """Return {from, to} of the span that begins in this calendar year.

    None for words that name no season, and within the tropics without the owner's own dates.
    """
    thirds = read_words(words)
    if thirds is None or not _foreseen(year, place):
        return None
    spans = (_span(thirds, cycle, place) for cycle in (year - 1, year, year + 1))
    return next((span for span in spans if span["from"][:4] == f"{year:04d}"), None)


def next_span(words: object, day: str, place: Place) -> Span | None:
    """Return the first span of these words that is not over on this day."""
    thirds = read_words(words)
    year = int(day[:4])
    if thirds is None or not _foreseen(year, place):
        return None
    spans = (_span(thirds, cycle, place) for cycle in range(year - 2, year + 3))
    return next((span for span in spans if span["to"] >= day), None)


def add_days(day: str, days: int) -> str:
    """Return the date so many days later."""
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


def _foreseen(year: int, place: Place) -> bool:
    return FIRST_YEAR <= year <= LAST_YEAR and season_rule(place)["rule"] != "none"


def _span(thirds: tuple[int, int], cycle: int, place: Place) -> Span:
    first, last = thirds
    return {"from": _start(first, cycle, place), "to": add_days(_start(last + 1, cycle, place), -1)}


def _start(third: int, cycle: int, place: Place) -> str:
    """Return the first day of a third; `cycle` is the year in which spring begins."""
    cycle, third = cycle + third // 12, third % 12
    own = own_starts(place)
    if own:
        return _own_start(own, third, cycle)
    month = FIRST_MONTH[hemisphere_of(place)] + third - 1
    day = f"{cycle + month // 12:04d}-{month % 12 + 1:02d}-01"
    return add_days(day, round_half_up(season_rule(place)["moved_days"] * MOVES[third]))


def _own_start(own: list[str], third: int, cycle: int) -> str:
    season, part = divmod(third, 3)
    begins, ends = (_own_season(own, n, cycle) for n in (season, season + 1))
    length = (date.fromisoformat(ends) - date.fromisoformat(begins)).days
    return add_days(begins, length * part // 3)


def _own_season(own: list[str], season: int, cycle: int) -> str:
    cycle, season = cycle + season // 4, season % 4
    return f"{cycle + (own[season] < own[0]):04d}-{own[season]}"


def _is_day(day: str) -> bool:
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return True
