"""Calculations with temperatures, under the names and field names of their check values.

Each takes its inputs as one object and returns its results as one. Chill comes as three figures in
three bands (see `chill.py`), never as one.
"""

from collections.abc import Callable
from typing import Any

from lathhouse.domain import chill
from lathhouse.domain.amounts import CannotCalculate, number
from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from lathhouse.domain.mixing_words import sentence

Data = dict[str, Any]

TEMPS_MAX = 100_000
# Colder or warmer than any weather: a slip, or a sensor that is broken.
TEMP_C_LIMIT = 90.0
ABSOLUTE_ZERO_F, FAHRENHEIT_MAX = -459.67, 10_000.0


def chill_hours(inputs: Data) -> Data:
    """Return how many hourly temperatures lie in a band, both ends included (Weinberger 1950)."""
    hourly, band = _hourly(inputs), _band(inputs.get("low_C"), inputs.get("high_C"))
    return {"hours": chill.hours_in(hourly, *band)}


def cold_band_three(inputs: Data) -> Data:
    """Return effective cold days in a narrow, a middle and a wide band: low, middle, high."""
    hourly, given = _hourly(inputs), inputs.get("bands_C")
    bands = given if isinstance(given, dict) else {}
    days = {}
    for name, usual in zip(("low", "middle", "high"), chill.BANDS, strict=True):
        ends = bands.get(name, usual)
        if not isinstance(ends, list | tuple) or len(ends) != 2:
            raise CannotCalculate("bands_C", sentence("band"))
        days[name] = chill.hours_in(hourly, *_band(*ends)) / 24
    return days


def chill_range(inputs: Data) -> Data:
    """Return the cold days of a spell from readings and calendar, as `chill.chill_range` does.

    Inputs: `started_at`, `ended_at` (or the present instant), `readings` as [time, °C] in any
    order, `by_hand` where a person read them.
    """
    start, end = (_instant(inputs.get(name), name) for name in ("started_at", "ended_at"))
    if end < start:
        raise CannotCalculate("ended_at", sentence("ended_before"))
    given = inputs.get("readings") or []
    if not isinstance(given, list) or len(given) > TEMPS_MAX:
        raise CannotCalculate("readings", sentence("readings"))
    temps = None
    for at, temp_c in sorted({_reading(one) for one in given}):
        temps = chill.keep(temps, to_text(at), temp_c, bool(inputs.get("by_hand")))
    return chill.chill_range(temps, to_text(start), to_text(end))


def f_to_c(inputs: Data) -> Data:
    """Return a temperature in °C: (F - 32) · 5/9."""
    fahrenheit = number(inputs.get("t_F"))
    if fahrenheit is None or not ABSOLUTE_ZERO_F <= fahrenheit <= FAHRENHEIT_MAX:
        raise CannotCalculate("t_F", sentence("fahrenheit"))
    return {"t_C": (fahrenheit - 32) * 5 / 9}


def _hourly(inputs: Data) -> list[float]:
    given = inputs.get("hourly_C")
    if not isinstance(given, list) or not 0 < len(given) <= TEMPS_MAX:
        raise CannotCalculate("hourly_C", sentence("hourly"))
    temps = [_temp(one) for one in given]
    found = [one for one in temps if one is not None]
    if len(found) < len(temps):
        raise CannotCalculate("hourly_C", sentence("hourly"))
    return found


def _temp(given: Any) -> float | None:
    temp = number(given)
    return temp if temp is not None and abs(temp) <= TEMP_C_LIMIT else None


def _band(low: Any, high: Any) -> tuple[float, float]:
    ends = number(low), number(high)
    if ends[0] is None or ends[1] is None or ends[0] > ends[1]:
        raise CannotCalculate("bands_C", sentence("band"))
    return ends[0], ends[1]


def _reading(given: Any) -> tuple[int, float]:
    pair = given if isinstance(given, list) and len(given) == 2 else [None, None]
    temp = _temp(pair[1])
    if temp is None:
        raise CannotCalculate("readings", sentence("readings"))
    return _instant(pair[0], "readings"), temp


def _instant(given: Any, field: str) -> int:
    try:
        return parse_instant(given)
    except BadInstant as error:
        raise CannotCalculate(field, sentence("no_instant", field=field)) from error


TEMPERATURES: dict[str, Callable[[Data], Data]] = {
    calculation.__name__: calculation
    for calculation in (chill_hours, cold_band_three, chill_range, f_to_c)
}
