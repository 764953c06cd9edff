"""Chambers: a fridge or propagator with a temperature band, read by hand or by a probe.

A state is kept reading by reading. Three clocks run in it: out of the band, out of it for long, and
beyond the hard limits. A clock that has not reached its time stops with the first good reading, so
that an opened door rings nobody; one that has stays until the chamber has been well inside its band
for a while, so that nothing chatters.
"""

from typing import Any

from lathhouse.domain.instants import MINUTE_MS, to_ms
from lathhouse.domain.rule_terms import is_number

Chamber = dict[str, Any]
State = dict[str, Any]

# 1-5 °C: Chong and others, Handbook of Plant and Crop Physiology, table 3. Hard limits, times and
# the clearing margin are our own choice, for the owner to change.
DEFAULTS: Chamber = {
    "low_c": 1.0,
    "high_c": 5.0,
    "aim_c": 4.0,
    "hard_low_c": 0.0,
    "hard_high_c": 8.0,
    "margin_c": 0.5,
    "minutes_out": 60,
    "minutes_out_long": 240,
    "minutes_hard": 15,
    "minutes_back": 30,
    "interval_minutes": 15,
    "by_hand": False,
}
# A reading may come so much later than its interval. Our own choice.
LATE_READING_MINUTES = 5
CLOCKS = {
    "out_since": "minutes_out",
    "long_since": "minutes_out_long",
    "hard_since": "minutes_hard",
}


class BandUpsideDown(ValueError):
    """The lower limit is not below the upper one."""


def settings_of(chamber: Chamber | None) -> Chamber:
    """Return a chamber's settings, with the defaults for what its owner left open.

    Raises:
        BandUpsideDown: the band's or the hard limits' lower end is not below the upper one.
    """
    given = {name: value for name, value in (chamber or {}).items() if value is not None}
    settings = {**DEFAULTS, **given}
    if settings["low_c"] >= settings["high_c"] or settings["hard_low_c"] >= settings["hard_high_c"]:
        raise BandUpsideDown("the lower limit must be below the upper one")
    if not settings["by_hand"]:
        # One reading of a seldom read probe may be of an opened door: the next one must say so too.
        next_minutes = settings["interval_minutes"] + LATE_READING_MINUTES
        settings["minutes_out"] = max(settings["minutes_out"], next_minutes)
    return settings


def settings_kept(chamber: Any) -> Chamber:
    """Return the settings of a chamber on record; what a correction made unreadable is left out."""
    given = chamber if isinstance(chamber, dict) else {}
    readable = {
        name: value
        for name, value in given.items()
        if (isinstance(value, bool) if name == "by_hand" else is_number(value))
    }
    try:
        return settings_of(readable)
    except BandUpsideDown:
        return dict(DEFAULTS)


def new_state() -> State:
    """Return the state of a chamber that nobody has read yet."""
    return {"at": None, "temp_c": None, "back_since": None, **dict.fromkeys(CLOCKS)}


def read(state: State, at: str, temp_c: float, settings: Chamber) -> State:
    """Return the state after one more reading; readings come in the order of their time."""
    low, high, margin = settings["low_c"], settings["high_c"], settings["margin_c"]
    out = not low <= temp_c <= high
    hard = not settings["hard_low_c"] <= temp_c <= settings["hard_high_c"]
    well_inside = low + margin <= temp_c <= high - margin
    state = {**state, "at": at, "temp_c": temp_c}
    for clock, limit in CLOCKS.items():
        wrong = hard if clock == "hard_since" else out
        state[clock] = _clock(state[clock], wrong, at, settings[limit])
    state["back_since"] = (state["back_since"] or at) if well_inside else None
    if state["back_since"] and _minutes(state["back_since"], at) >= settings["minutes_back"]:
        state |= dict.fromkeys(CLOCKS)
    return state


def _clock(since: str | None, wrong: bool, at: str, limit_minutes: float) -> str | None:
    if wrong:
        return since or at
    return since if since and _minutes(since, at) >= limit_minutes else None


def _minutes(start: str, end: str) -> float:
    return (to_ms(end) - to_ms(start)) / MINUTE_MS


def chamber_facts(state: State | None, chamber: Chamber | None) -> dict[str, Any]:
    """Return what the watches may know of a chamber: its clocks, its limits and its silence."""
    settings = settings_kept(chamber)
    silence_minutes = max(3 * settings["interval_minutes"], 120)
    return {**settings, **(state or new_state()), "silence_minutes": silence_minutes}
