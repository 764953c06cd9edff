"""Calculations about nights, moisture and heat, under the names and field names of their check
values. Each takes its inputs as one object and returns its results as one."""

import math
from collections.abc import Callable
from datetime import date
from typing import Any

from lathhouse.domain import heat, humidity, nights
from lathhouse.domain.amounts import CannotCalculate, number, shown
from lathhouse.domain.instants import HOUR_MS, to_text
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.sun import sun_times

Data = dict[str, Any]

TEMP_C = (-90.0, 60.0)
TEMP_F = (-130.0, 212.0)
PERCENT = (0.1, 100.0)
NIGHTS_MIN, NIGHTS_MAX = 10, 10_000
STATES = {"always_below": "always below", "always_above": "always above"}


def sun_clock(inputs: Data) -> Data:
    """Return sunrise and sunset of a local date as wall-clock text at a fixed UTC offset."""
    latitude = _number(inputs, "latitude_deg", (-90, 90))
    longitude = _number(inputs, "longitude_deg", (-180, 180))
    offset = _number(inputs, "utc_offset_h", (-14, 14))
    sun = sun_times(latitude, longitude, _date(inputs.get("date")))
    found: Data = {f"sun{name}_local": _wall(sun[f"{name}_ms"], offset) for name in ("rise", "set")}
    return {**found, "state": STATES.get(sun["state"], "rises and sets")}


def dew_wet_above0(inputs: Data) -> Data:
    """Return the dew point and the wet bulb of air above freezing."""
    temp, rh = _number(inputs, "t_C", (0, 60)), _number(inputs, "rh_pct", PERCENT)
    pressure = _number({"pressure_Pa": 101_325, **inputs}, "pressure_Pa", (50_000, 110_000))
    return {
        "tdew_C": humidity.dew_point(temp, rh),
        "twet_C": humidity.wet_bulb(temp, rh, pressure / 1000),
    }


def dew_below0(inputs: Data) -> Data:
    """Return the frost point (over ice) and the dew point over water, which lies lower."""
    temp, rh = _number(inputs, "t_C", TEMP_C), _number(inputs, "rh_pct", PERCENT)
    return {
        "frost_point_C": humidity.frost_point(temp, rh),
        "dew_point_over_water_C": humidity.dew_point(temp, rh),
    }


def dewpoint_magnus(inputs: Data) -> Data:
    """Return the dew point over water from temperature and relative humidity."""
    temp, rh = _number(inputs, "t_C", TEMP_C), _number(inputs, "rh_pct", PERCENT)
    return {"tdew_C": humidity.dew_point(temp, rh)}


def dewpoint_fao(inputs: Data) -> Data:
    """Return the dew point over water from a vapour pressure (inverse of FAO-56 equation 11)."""
    return {"tdew_C": humidity.inverse(_number(inputs, "ea_kPa", (0.0001, 20)))}


def stull(inputs: Data) -> Data:
    """Return the wet bulb by Stull's fit, inside the range that it was fitted for."""
    temp, rh = _number(inputs, "t_C", (-20, 50)), _number(inputs, "rh_pct", (5, 99))
    return {"twet_C": humidity.stull_wet_bulb(temp, rh)}


def third_rule(inputs: Data) -> Data:
    """Return the wet bulb near freezing by the one-third rule (from -10 to 10 °C: ours)."""
    temp, dew = _number(inputs, "t_C", (-10, 10)), _number(inputs, "tdew_C", TEMP_C)
    return {"twet_C": humidity.third_wet_bulb(temp, dew)}


def frost_trend(inputs: Data) -> Data:
    """Return the course of a clear, calm night, hour by hour from the third after sunset."""
    t2, tmin, hours = _night(inputs)
    whole = list(range(3, math.floor(hours) + 1))
    return {"hour": whole, "t_C": [nights.temp_at(hour, t2, tmin, hours) for hour in whole]}


def frost_cross(inputs: Data) -> Data:
    """Return the hour after sunset at which the course passes a limit, or none."""
    t2, tmin, hours = _night(inputs)
    return {"hour": nights.hour_of(_number(inputs, "limit_C", TEMP_F), t2, tmin, hours)}


def frost_regression_coeffs(inputs: Data) -> Data:
    """Return the coefficients of a site's own clear nights (at least ten of them)."""
    columns = [inputs.get(name) for name in ("t0_C", "td_C", "tn_C")]
    lists = [column for column in columns if isinstance(column, list)]
    lengths = {len(column) for column in lists}
    fits = len(lists) == 3 and len(lengths) == 1 and NIGHTS_MIN <= min(lengths) <= NIGHTS_MAX
    found = [[number(value) for value in column] for column in lists] if fits else []
    if not fits or any(value is None or abs(value) > 90 for column in found for value in column):
        raise CannotCalculate("t0_C", sentence("climate_nights"))
    return nights.fit_nights(*[[float(value or 0) for value in column] for column in found])


def frost_class(inputs: Data) -> Data:
    """Return the bands of frost warnings in °C."""
    advisory, freeze = (_pair(inputs, name) for name in ("advisory_f", "freeze_f"))
    return {
        "advisory_c": [heat.to_c(end) for end in advisory],
        "freeze_c": [heat.to_c(end) for end in freeze],
        "hard_c": heat.to_c(_number(inputs, "hard_f", TEMP_F)),
    }


def cover_off(inputs: Data) -> Data:
    """Return in °C the temperature at which a cover must come off."""
    return {"limit_c": heat.to_c(_number(inputs, "limit_f", TEMP_F))}


def convert_gain(inputs: Data) -> Data:
    """Return a cover's gain in °C from two temperatures in °F: a difference, so without the 32."""
    under, outside = (_number(inputs, name, TEMP_F) for name in ("under_F", "outside_F"))
    return {"gain_C": (under - outside) * 5 / 9}


def heat_index(inputs: Data) -> Data:
    """Return the heat index in °F and °C, and its risk, from air temperature and humidity."""
    temp, rh = _number(inputs, "temp_c", (-20, 60)), _number(inputs, "humidity_percent", (0, 100))
    index = heat.heat_index_f(heat.to_f(temp), rh)
    return {"index_f": index, "index_c": heat.to_c(index), "risk": heat.risk_at(index)}


def heat_risk(inputs: Data) -> Data:
    """Return the risk level of outdoor work at a heat index."""
    return {"risk": heat.risk_at(_number(inputs, "heat_index_f", TEMP_F))}


def _number(inputs: Data, field: str, ends: tuple[float, float]) -> float:
    found = number(inputs.get(field))
    low, high = ends
    if found is None or not low <= found <= high:
        values = {"field": field, "low": shown(low), "high": shown(high)}
        raise CannotCalculate(field, sentence("climate_number", **values))
    return found


def _pair(inputs: Data, field: str) -> tuple[float, float]:
    given = inputs.get(field)
    ends = [number(one) for one in given] if isinstance(given, list) and len(given) == 2 else []
    low, high = ends if len(ends) == 2 else (None, None)
    if low is None or high is None or low > high:
        raise CannotCalculate(field, sentence("climate_pair", field=field))
    return low, high


def _night(inputs: Data) -> tuple[float, float, float]:
    t2, tmin = (_number(inputs, name, TEMP_F) for name in ("t2_C", "tmin_C"))
    hours = number(inputs.get("hours_sunset_to_sunrise"))
    if hours is None or not nights.NIGHT_HOURS_MIN < hours <= 24:
        raise CannotCalculate("hours_sunset_to_sunrise", sentence("climate_night"))
    if tmin > t2:
        raise CannotCalculate("tmin_C", sentence("climate_rises"))
    return t2, tmin, hours


def _date(given: Any) -> str:
    try:
        return date.fromisoformat(
            given if isinstance(given, str) and len(given) == 10 else ""
        ).isoformat()
    except ValueError as error:
        raise CannotCalculate("date", sentence("climate_date")) from error


def _wall(at_ms: int | None, offset_h: float) -> str | None:
    return None if at_ms is None else to_text(round(at_ms + offset_h * HOUR_MS))[:19]


CLIMATE: dict[str, Callable[[Data], Data]] = {
    calculation.__name__: calculation
    for calculation in (
        sun_clock, dew_wet_above0, dew_below0, dewpoint_magnus, dewpoint_fao, stull, third_rule,
        frost_trend, frost_cross, frost_regression_coeffs, frost_class, cover_off, convert_gain,
        heat_index, heat_risk,
    )
}  # fmt: skip
FAO_FROST = (
    "Snyder and de Melo-Abreu 2005, Frost protection: fundamentals, practice and economics, vol. 1"
)
FAO56 = "FAO-56: Allen and others 1998"
FOR_PEOPLE = "US OSHA, Using the Heat Index: a guide for employers"
CLIMATE_SOURCES: dict[str, list[str]] = {
    "sun_clock": ["Meeus 1991, Astronomical Algorithms, ch. 25; zenith 90.833 degrees"],
    "dew_wet_above0": [FAO56, "psychrometer constant 0.000662: FAO-56"],
    "dew_below0": [FAO56, "over ice: Sonntag 1990; below 0 °C the humidity is taken over ice"],
    "dewpoint_magnus": [FAO56],
    "dewpoint_fao": [f"{FAO56}, equation 11 inverted"],
    "stull": ["Stull 2011: sea level, -1 to +0.65 °C out; bad when cold and dry"],
    "third_rule": ["Knox and others 2017: near 0 °C only"],
    "frost_trend": [FAO_FROST, "clear, calm nights only; advice, never a promise"],
    "frost_cross": [FAO_FROST, "clear, calm nights only; advice, never a promise"],
    "frost_regression_coeffs": [FAO_FROST, "the site's own nights alone: they do not travel"],
    "frost_class": ["Ritchison, Frost Season: bands at the height of the thermometer"],
    "cover_off": ["60 °F: Penn State Extension note on frost protection, 2020"],
    "convert_gain": ["a difference converts by 5/9, without the 32"],
    "heat_index": ["Rothfusz 1990, US National Weather Service SR 90-23; in shade", FOR_PEOPLE],
    "heat_risk": [FOR_PEOPLE],
}
