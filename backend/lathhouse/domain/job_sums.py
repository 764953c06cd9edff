"""Small sums about the work itself, under the names and fields of their check values."""

from collections.abc import Callable
from statistics import NormalDist
from typing import Any

from lathhouse.domain.amounts import CannotCalculate, number
from lathhouse.domain.instants import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    BadInstant,
    parse_instant,
    to_text,
    within_years,
)
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.proportions import wilson
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.treatments import after

Data = dict[str, Any]

# How long the information of a treatment is shown, and kept, past the end of its interval.
SHOWN_DAYS, KEPT_YEARS = {"us-wps": 30}, {"us-wps": 2}
# Days between two tests of the feed (NC State HIL 590), and between two looks for pests (MREC).
FEED_DAYS: dict[str, list[float]] = {"plug": [7 / 3, 7 / 2], "flat": [7, 7], "15_cm_pot": [14, 14]}
SCOUT_DAYS: dict[str, list[float]] = {"woody": [14, 21], "plug": [2, 3]}
# Minutes after watering and mL collected (NC State); how far "about 50 mL" reaches is ours.
POUR_MINUTES, POUR_COLLECTED_ML = (30, 120), (40, 70)
MOISTURE = {1: "dry", 2: "medium_dry", 3: "medium", 4: "wet", 5: "saturated"}
ALARM_SHARES = {"high": 5, "medium": 15, "low": 80}
MINUTES_A_DAY, MINUTES_AN_HOUR = 1440, 60


def refuse(field: str, words: str) -> CannotCalculate:
    """Return a refusal: the field, and in one sentence what it must be."""
    return CannotCalculate(field, sentence("as_it_is", words=words))


def at_least(inputs: Data, field: str, least: float, *, above: bool = False) -> float:
    """Return a number among the inputs that is not below a bound (or is above it)."""
    value = number(inputs.get(field))
    if value is None or value < least or (above and value == least):
        raise refuse(field, f"{field} must be {'above' if above else 'at least'} {least:g}.")
    return value


def re_entry(inputs: Data) -> Data:
    """Return {enter_after, display_until, keep_until} of a treatment, in the offset it was given.

    Only `us-wps` says how long to show and to keep it; the label and local rules come first.
    """
    ended, hours = inputs.get("ended_at"), at_least(inputs, "rei_hours", 0)
    try:
        ended_ms = parse_instant(ended)
    except BadInstant as error:
        raise refuse("ended_at", "ended_at must be a time with its UTC offset.") from error
    enter = after(to_text(ended_ms), hours, HOUR_MS) or to_text(ended_ms)
    offset = "Z" if str(ended)[-1] in "zZ" else str(ended)[-6:]
    law = str(inputs.get("law"))
    return {
        "enter_after": _local(parse_instant(enter), offset),
        "display_until": _local(parse_instant(enter) + SHOWN_DAYS[law] * DAY_MS, offset)
        if law in SHOWN_DAYS
        else None,
        "keep_until": _years_on(_local(parse_instant(enter), offset)[:10], KEPT_YEARS[law])
        if law in KEPT_YEARS
        else None,
    }


def _local(ms: int, offset: str) -> str:
    minutes = 0 if offset == "Z" else int(offset[1:3]) * 60 + int(offset[4:6])
    signed = -minutes if offset[0] == "-" else minutes
    return to_text(within_years(ms + signed * MINUTE_MS))[:19] + offset


def _years_on(day: str, years: int) -> str:
    """Return the same day so many years on; of 29 February the day after, where there is none."""
    year, rest = int(day[:4]) + years, day[4:]
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return f"{year:04}{'-03-01' if rest == '-02-29' and not leap else rest}"


def emergence_state(inputs: Data) -> Data:
    """Return {state}: waiting, running, stalled, finished or none-at-close.

    Quiet days run from the last rise to the last count: silence is no evidence. Finished is said
    only past the middle of the window, as by the watches.
    """
    given, window = inputs.get("counts"), inputs.get("window_days")
    if not isinstance(given, list) or not all(_is_count(one) for one in given):
        raise refuse("counts", "counts must be a list of {day, emerged}.")
    if not isinstance(window, list) or len(window) != 2 or not all(map(is_number, window)):
        raise refuse("window_days", "window_days must be [opens, closes] in days.")
    counts = sorted(given, key=lambda one: one["day"])
    rise, most = None, 0
    for one in counts:
        rise, most = (one["day"], one["emerged"]) if one["emerged"] > most else (rise, most)
    if rise is None:
        closed = at_least(inputs, "now_day", 0) >= window[1]
        return {"state": "none-at-close" if closed else "waiting"}
    last = counts[-1]["day"]
    middle = (window[0] + window[1]) / 2
    if last - rise >= at_least(inputs, "quiet_days_finished", 0) and last > middle:
        return {"state": "finished"}
    stalled = last - rise >= at_least(inputs, "quiet_days_stalled", 0)
    return {"state": "stalled" if stalled else "running"}


def _is_count(one: Any) -> bool:
    return isinstance(one, dict) and is_number(one.get("day")) and is_number(one.get("emerged"))


def pour_through(inputs: Data) -> Data:
    """Return {valid, wrong}: whether a sample of a pot's water can be read, and what is wrong."""
    minutes = at_least(inputs, "minutes_after_irrigation", 0)
    poured = at_least(inputs, "poured_ml", 0, above=True)
    collected = at_least(inputs, "collected_ml", 0)
    held = {
        "minutes_after_irrigation": POUR_MINUTES[0] <= minutes <= POUR_MINUTES[1],
        "collected_ml": POUR_COLLECTED_ML[0] <= collected <= min(POUR_COLLECTED_ML[1], poured),
    }
    return {"valid": all(held.values()), "wrong": [name for name, fits in held.items() if not fits]}


def cadence(field: str, table: dict[str, list[float]]) -> Callable[[Data], Data]:
    """Return a calculation of {days: {name: [least, most]}} out of a published table."""

    def calculate(inputs: Data) -> Data:
        wanted = inputs.get(field)
        if not isinstance(wanted, list) or not all(one in table for one in wanted):
            raise refuse(field, f"{field} must be a list of {', '.join(table)}.")
        return {"days": {name: table[name] for name in wanted}}

    return calculate


def moisture_scale(inputs: Data) -> Data:
    """Return {meaning} of a moisture from 1 to 5, as the growers' card prints it."""
    moisture: Any = inputs.get("moisture")
    if not is_number(moisture) or moisture not in MOISTURE:
        raise refuse("moisture", "moisture must be a whole number from 1 to 5.")
    return {"meaning": MOISTURE[int(moisture)]}


def alarm_rate(inputs: Data) -> Data:
    """Return {per_hour, per_day} of one alarm in so many minutes."""
    minutes = at_least(inputs, "minutes_per_alarm", 0, above=True)
    return {"per_hour": MINUTES_AN_HOUR / minutes, "per_day": MINUTES_A_DAY / minutes}


def alarm_priority_share(inputs: Data) -> Data:
    """Return {percent}: which share of the alarms that are announced each priority should have."""
    levels = inputs.get("levels")
    if not isinstance(levels, list) or not all(level in ALARM_SHARES for level in levels):
        raise refuse("levels", f"levels must be a list of {', '.join(ALARM_SHARES)}.")
    return {"percent": [ALARM_SHARES[level] for level in levels]}


def proportion_interval_wilson(inputs: Data) -> Data:
    """Return {low, high}: the shares that a count of successes bears (Wilson 1927)."""
    successes, trials = at_least(inputs, "successes", 0), at_least(inputs, "trials", 1)
    level = at_least(inputs, "level", 0, above=True)
    if successes > trials:
        raise refuse("successes", "successes must be at most trials.")
    if level >= 1:
        raise refuse("level", "level must be below 1: nothing is certain.")
    low, high = wilson(successes, trials, NormalDist().inv_cdf((1 + level) / 2))
    return {"low": low, "high": high}


JOB_SUMS: dict[str, Callable[[Data], Data]] = {
    "re_entry": re_entry,
    "emergence_state": emergence_state,
    "pour_through": pour_through,
    "pour_through_cadence": cadence("containers", FEED_DAYS),
    "scout_cadence": cadence("crops", SCOUT_DAYS),
    "moisture_scale": moisture_scale,
    "alarm_rate": alarm_rate,
    "alarm_priority_share": alarm_priority_share,
    "proportion_interval_wilson": proportion_interval_wilson,
}
JOB_SOURCES = {
    "re_entry": "US Worker Protection Standard, 40 CFR 170.309 and 170.311; the label decides",
    "emergence_state": "the project's own catalogue of alerts",
    "pour_through": "NC State Extension, the pour-through procedure; how far 50 mL reaches: ours",
    "pour_through_cadence": "Cavins and others 2000, NC State HIL 590",
    "scout_cadence": "UF/IFAS Mid-Florida REC, Scout/Management Negotiations",
    "moisture_scale": "growers' tray scale taught by UF/IFAS, web page m325_8",
    "alarm_rate": "IEC 62682:2014, one in ten minutes, second hand",
    "alarm_priority_share": "ISA-18.2 / IEC 62682, second hand",
    "proportion_interval_wilson": "Wilson 1927, J. Am. Stat. Assoc. 22 (158), 209-212",
}
