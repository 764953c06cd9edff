"""Facts about frost, covers and heat, for the nursery and for a place. No clock in any of them.

`stock` is what stands where: {entries, places, houses, offsets, home}. Entries are
`tender.weather_entry` with their lot's id, place and last look, places are rows by id, houses the
`standing` of the lots in each house or tunnel; `home` is the nursery's row, for a place's covers:
its sun and its forecasts, and what `frost_said` takes from the nursery's own watch of frost.
"""

import math
from collections.abc import Iterable
from datetime import date
from typing import Any

from lathhouse.domain.heat import FULL_SUN_F, to_c
from lathhouse.domain.instants import (
    DAY_MS,
    HOUR_MS,
    day_before,
    later,
    local_date,
    local_instant,
    next_day,
    offset_minutes,
    to_ms,
    to_text,
    within_years,
)
from lathhouse.domain.nights import night_range
from lathhouse.domain.rule_terms import instant_ms, is_number, round_half_up
from lathhouse.domain.sun import sun_times
from lathhouse.domain.tender import cover_of, names_of, open_stock, walking_order
from lathhouse.domain.weather_rows import READING_STANDS_MS

Data = dict[str, Any]

NO_STOCK: Data = {"entries": [], "places": {}, "houses": {}, "offsets": [], "home": {}}
# Where the sun's own times are not known (no latitude, polar day or night). Ours.
EVENING, MORNING = "18:00", "07:00"
# A cover put on from 09:00 on is for the night that follows, an earlier one for this one.
TO_NEXT_MORNING_MS = 15 * HOUR_MS
HOUSE = "house"
# The forecast low up to which covers stay on for the night: what the nursery's own watch of frost
# says, or this, as it ships. Ours.
FROST_WATCH, FROST_LOW, FROST_C = "frost-tonight", ["night.low_c", "at_most"], 3.0
# From then on the coming night's list stands, and what is covered stays so, where the nursery's own
# watch of frost names no hour.
LIST_STANDS = "14:00"
# It is coldest at about sunrise: covers come off from so long after it. Ours.
UNCOVER_AFTER_SUNRISE_MS = HOUR_MS
# A cover that stays on for ever is asked for on no later day: the sun is reckoned beside it.
LAST_DAY = "9999-12-30"


def nursery_weather(nursery: Data, stock: Data) -> Data:
    """Return {nights, days, cold, heat} of the nursery."""
    forecasts = nursery.get("forecasts") or []
    offsets = nursery.get("offsets") or []
    dated = [{**one, "day": forecast_day(one, offsets)} for one in forecasts]
    lows = {one["day"]: one for one in dated if one["which"] == "low" and one["day"]}
    highs = {one["day"]: one for one in dated if one["which"] == "high" and one["day"]}
    return {
        "nights": [_night(nursery, day, lows[day], stock) for day in sorted(lows)],
        "days": [_hot_day(day, highs[day], stock, offsets) for day in sorted(highs)],
        "cold": cold_facts(nursery, stock),
        "heat": heat_facts(nursery),
    }


def forecast_day(forecast: Data, offsets: list[Any]) -> str | None:
    """Return the local date of a forecast; one without a date is of the day it was recorded on."""
    day = forecast["day"] or local_date(to_ms(forecast["at"]), offsets)
    try:
        return date.fromisoformat(day).isoformat()
    except ValueError:
        return None


def _night(nursery: Data, day: str, low: Data, stock: Data) -> Data:
    times = night_times(nursery, day)
    spread = night_range(low["value"])
    return {
        "of": day,
        "low_c": low["value"],
        "told_at": low["at"],
        "range_low_c": spread["low_c"],
        "range_high_c": spread["high_c"],
        **times,
        **open_stock(stock["entries"], stock["places"], times["sunset_at"], low["value"]),
    }


def night_times(nursery: Data, day: str) -> Data:
    """Return {day_at, sunset_at, ends_at, sun} of the night that begins on a local date.

    `sun` is `placed` where latitude and longitude are set, `about` where the longitude had to be
    taken from the time zone, `taken` where the sun's own times are not known.
    """
    offsets = nursery.get("offsets") or []
    latitude: Any = nursery.get("latitude_deg")
    longitude: Any = nursery.get("longitude_deg")
    sun = "placed" if is_number(longitude) else "about"
    if not is_number(longitude):
        longitude = min((row[1] for row in offsets), default=0) / 4
    tomorrow, suns = next_day(day), sun_day(day, longitude, offsets)
    down: int | None = None
    up: int | None = None
    if is_number(latitude):
        down = sun_times(latitude, longitude, suns)["set_ms"]
        up = sun_times(latitude, longitude, next_day(suns))["rise_ms"]
    known = down is not None and up is not None
    evening, morning = (
        local_instant(day, EVENING, offsets),
        local_instant(tomorrow, MORNING, offsets),
    )
    return {
        "day_at": to_text(local_instant(day, "00:00", offsets)),
        "sunset_at": to_text(evening if down is None or up is None else down),
        "ends_at": to_text(morning if down is None or up is None else up),
        "sun": sun if known else "taken",
    }


def sun_day(day: str, longitude_deg: float, offsets: list[Any]) -> str:
    """Return the date by the sun's own time whose noon falls into a local date.

    That is the same date, but for the islands beyond 180 degrees that keep the date of the other
    side (Chatham, Samoa, Kiritimati). Noon and not sunset decides: in northern summers the sun may
    set after midnight, and the night is still that of the day before.
    """
    at = local_instant(day, "12:00", offsets)
    days = math.floor((720 - 4 * longitude_deg + offset_minutes(at, offsets)) / 1440)
    return to_text(within_years(to_ms(f"{day}T00:00:00.000Z") - days * DAY_MS))[:10]


def _hot_day(day: str, high: Data, stock: Data, offsets: list[Any]) -> Data:
    """Return a day's high, and where tunnels and small pots were last seen."""
    times = {
        "day_at": local_instant(day, "00:00", offsets),
        "noon_at": local_instant(day, "12:00", offsets),
        "ends_at": local_instant(next_day(day), "00:00", offsets),
    }
    texts = {name: to_text(at) for name, at in times.items()}
    seen = _seen_in_the_heat(stock)
    found: Data = {"of": day, "high_c": high["value"], "told_at": high["at"], "places": len(seen)}
    found |= {**texts, "seen_at": min(seen.values(), default=None)}
    for name, since in (("morning", "day_at"), ("noon", "noon_at")):
        unseen = {place for place, at in seen.items() if at < texts[since]}
        found[f"{name}_names"] = names_of(walking_order(unseen, stock["places"]), stock["places"])
    return found


def _seen_in_the_heat(stock: Data) -> dict[str, str]:
    """Return when each place that the heat hurts first was seen last, by its id."""
    oldest: dict[str, str] = {
        place: lots["oldest_seen_at"]
        for place, lots in stock["houses"].items()
        if lots["live_lots"]
    }
    for entry in stock["entries"]:
        place = entry["place"] or ""
        if entry["small"] and entry["seen_at"] and place not in stock["houses"]:
            oldest[place] = min(oldest.get(place, entry["seen_at"]), entry["seen_at"])
    closed = {place: (stock["places"].get(place) or {}).get("closed_at") for place in oldest}
    return {place: later(at, closed[place]) or at for place, at in oldest.items()}


def place_weather(place: Data, stock: Data) -> Data:
    """Return {cold, heat, cover} of a place."""
    return {
        "cold": cold_facts(place, stock),
        "heat": heat_facts(place),
        "cover": cover_facts(place, stock),
    }


def cold_facts(row: Data, stock: Data) -> Data | None:
    """Return the run of cold readings of a place or the nursery, with what stands open there.

    Whoever uncovers in the morning says that the cold has passed: what was bared since the last
    reading is not asked about before the next. Ours. At night a cover that is off is asked about.
    """
    run = row.get("cold")
    if not run:
        return None
    entries = [one for one in stock["entries"] if not _passed(one, run["at"], stock)]
    found = open_stock(entries, stock["places"], run["at"], None)
    told = {"open_lots": found["lots"], "opened_at": found["opened_at"], "names": found["names"]}
    return {**run, "until_at": _stands_until(run["at"]), **told}


def _passed(entry: Data, read_at: str, stock: Data) -> bool:
    """Say whether a lot was bared after a reading, at a time of day at which covers come off."""
    place = stock["places"].get(entry["place"] or "") or {}
    bared = max(entry["bared_at"] or "", place.get("bared_at") or "")
    home = {**(stock.get("home") or {}), "offsets": stock["offsets"]}
    return bared > read_at and is_time_to_uncover(home, bared)


def heat_facts(row: Data) -> Data | None:
    """Return the run of hot air of a place or the nursery."""
    run = row.get("heat")
    if not run:
        return None
    shade_c, sun_c = (
        round_half_up(to_c(run["index_f"] + more) * 10) / 10 for more in (0, FULL_SUN_F)
    )
    return {**run, "index_c": shade_c, "sun_c": sun_c, "until_at": _stands_until(run["at"])}


def _stands_until(at: str) -> str:
    return to_text(to_ms(at) + READING_STANDS_MS)


def cover_facts(place: Data, stock: Data) -> Data | None:
    """Return what is covered in a place, or None: {at, by, until, lots, morning_at, …, mornings}.

    `first_morning_at` is when the cover may come off; `morning_at` waits for the last day that it
    was said to stay on until. Several covers count as the first to come off. `mornings` are the
    spans in which it is asked for, each {from_at, begins_at, ends_at}: from the morning on until
    the list of a night of frost stands, and again from the morning after that night. Within a span
    `begins_at` is None while the cover was said to stay on. `for_low_c` is the mildest night that
    one of them was put on for: who says that it all stays on says that of the thinnest too.
    """
    covers = [cover_of(entry, place) for entry in stock["entries"]]
    found = [cover for cover in covers if cover]
    laid = place.get("covered")
    whole = [laid] if laid and not found else found
    if not whole:
        return None
    home = {**(stock.get("home") or {}), "offsets": stock["offsets"]}
    timed = [{**one, "days": _mornings(one, home)} for one in whole]
    first = min(timed, key=lambda one: (one["days"][1], one["at"]))
    begins, last = min(one["days"][0] for one in timed), first["days"][1]
    warm = place.get("warm")
    meant = [one["for_low_c"] for one in whole if is_number(one.get("for_low_c"))]
    return {
        **{name: first.get(name) for name in ("by", "by_said", "until")},
        "at": first.get("since") or first["at"],
        "morning_at": morning_after(home, last),
        "first_morning_at": morning_after(home, begins),
        "mornings": _asked(begins, last, home),
        "lots": len(found),
        "for_low_c": max(meant, default=None),
        "warm_since": warm["since"] if warm else None,
        "warm_c": warm["peak_c"] if warm else None,
    }


def _mornings(cover: Data, home: Data) -> tuple[str, str]:
    """Return the first local date on which a cover may come off, and the one on which it shall."""
    offsets = home["offsets"]
    first = local_date(to_ms(cover["at"]) + TO_NEXT_MORNING_MS, offsets)
    until = instant_ms(cover.get("until"), {"offsets": offsets})
    named = min(local_date(until, offsets), LAST_DAY) if until is not None else first
    return first, max(first, named)


def _asked(first: str, last: str, home: Data) -> list[Data]:
    found, start = [], first
    for frost in [*(day for day in _frosts(home) if day >= first), None]:
        begins = max(start, last)
        asked = frost is None or begins <= frost
        found.append(
            {
                "from_at": morning_after(home, start),
                "begins_at": morning_after(home, begins) if asked else None,
                "ends_at": to_text(_list_stands(home, frost)) if frost else None,
            }
        )
        start = next_day(frost) if frost else start
    return found


def _frosts(home: Data) -> list[str]:
    """Return the local dates whose night is forecast to be one of frost, in order."""
    lows = [one for one in home.get("forecasts") or [] if one["which"] == "low"]
    newest = {forecast_day(one, home["offsets"]): one["value"] for one in lows}
    limit_c = frost_c_of(home)
    return sorted(day for day, low_c in newest.items() if day and low_c <= limit_c)


def _list_stands(home: Data, day: str) -> int:
    """Return from when on a night's list stands: the hour that stands beside a nursery's row."""
    return local_instant(day, home.get("frost_at") or LIST_STANDS, home["offsets"])


def frost_said(rules: Iterable[Data]) -> Data:
    """Return {frost_c, frost_at} of the nursery's own watch of frost: its limit and its hour."""
    rules = list(rules)
    return {"frost_c": frost_limit_c(rules), "frost_at": frost_hour(rules)}


def frost_hour(rules: Iterable[Data]) -> str:
    """Return the local time from which on that watch asks for covers, the earliest of its cases."""
    cases = [case for rule in _of_frost(rules) for case in [rule, *(rule.get("cases") or [])]]
    spans = [(case.get("after") or {}).get("due") or {} for case in cases]
    return min((one["local_time"] for one in spans if one.get("local_time")), default=LIST_STANDS)


def _of_frost(rules: Iterable[Data]) -> list[Data]:
    """Return the watch of frost, where it is on: one that is off asks for nothing, and what ships
    stands, or covers would be asked off into a frost."""
    return [one for one in rules if one["id"] == FROST_WATCH and one.get("enabled") is not False]


def frost_limit_c(rules: Iterable[Data]) -> float:
    """Return the forecast low from which on down the nursery's own watch of frost asks for covers.

    What asks to uncover goes by the same, or the house would ask for both.
    """
    terms = [term for rule in _of_frost(rules) for term in rule.get("when") or []]
    limits = [term[2] for term in terms if term[:2] == FROST_LOW and is_number(term[2])]
    return min(limits, default=FROST_C)


def frost_c_of(home: Data) -> float:
    """Return the limit of frost that stands beside a nursery's row, or else the shipped one."""
    limit_c: Any = home.get("frost_c")
    return limit_c if is_number(limit_c) else FROST_C


def morning_after(home: Data, day: str) -> str:
    """Return when covers may come off on the morning of a local date."""
    ends_at = night_times(home, day_before(day))["ends_at"]
    return to_text(to_ms(ends_at) + UNCOVER_AFTER_SUNRISE_MS)


def is_time_to_uncover(home: Data, now: str) -> bool:
    """Say whether covers come off before they go on: from the morning until the night's list."""
    day = local_date(to_ms(now), home["offsets"])
    ends = to_text(_list_stands(home, day))
    return morning_after(home, day) <= now < ends


def weather_stands(nursery: Data, now: str) -> bool:
    """Say whether anything of the nursery's weather can matter now or later."""
    yesterday = to_text(to_ms(now) - 2 * DAY_MS)[:10]
    ahead = [
        one for one in nursery.get("forecasts") or [] if (one["day"] or one["at"]) >= yesterday
    ]
    return bool(ahead or nursery.get("cold"))
