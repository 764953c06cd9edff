"""Moisture of the air: vapour pressure, dew point, frost point, wet bulb. Temperatures in °C.

Over water: FAO-56 (Allen and others 1998), equation 11. Over ice: the Magnus form with Sonntag's
constants (1990). Below freezing the two part by up to a degree, so each result says which it is.
"""

import math

MAGNUS_WATER = (0.6108, 17.27, 237.3)
MAGNUS_ICE = (0.6112, 22.46, 272.62)
# FAO-56, for a psychrometer that is well aired.
PSYCHROMETER = 0.000662
SEA_LEVEL_KPA = 101.325
HALVINGS = 60


def vapour_kpa(temp_c: float, constants: tuple[float, float, float] = MAGNUS_WATER) -> float:
    """Return the saturation vapour pressure over water (or ice) in kPa."""
    base, slope, offset = constants
    return base * math.exp(slope * temp_c / (temp_c + offset))


def inverse(vapour: float, constants: tuple[float, float, float] = MAGNUS_WATER) -> float:
    """Return the temperature at which a vapour pressure in kPa saturates the air."""
    base, slope, offset = constants
    x = math.log(vapour / base)
    return offset * x / (slope - x)


def dew_point(temp_c: float, humidity_percent: float) -> float:
    """Return the dew point over water, below freezing too."""
    return inverse(vapour_kpa(temp_c) * humidity_percent / 100)


def frost_point(temp_c: float, humidity_percent: float) -> float:
    """Return the frost point, over ice.

    Below freezing the humidity itself is taken over ice (as the ASHRAE Handbook, Fundamentals,
    chapter 1 does); most sensors report it over water, and then the true point lies a little above.
    """
    over = MAGNUS_WATER if temp_c >= 0 else MAGNUS_ICE
    return inverse(vapour_kpa(temp_c, over) * humidity_percent / 100, MAGNUS_ICE)


def wet_bulb(temp_c: float, humidity_percent: float, pressure_kpa: float = SEA_LEVEL_KPA) -> float:
    """Return the wet bulb by halving the interval in which the moisture balance turns."""
    vapour = vapour_kpa(temp_c) * humidity_percent / 100
    low, high = dew_point(temp_c, humidity_percent), temp_c
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        held = vapour_kpa(middle) - PSYCHROMETER * pressure_kpa * (temp_c - middle)
        low, high = (middle, high) if held < vapour else (low, middle)
    return (low + high) / 2


def stull_wet_bulb(temp_c: float, humidity_percent: float) -> float:
    """Return the wet bulb by Stull's fit (2011): sea level, -1 to +0.65 °C out, bad when cold and
    dry."""
    rh = humidity_percent
    return (
        temp_c * math.atan(0.151977 * math.sqrt(rh + 8.313659))
        + math.atan(temp_c + rh)
        - math.atan(rh - 1.676331)
        + 0.00391838 * rh * math.sqrt(rh) * math.atan(0.023101 * rh)
        - 4.686035
    )


def third_wet_bulb(temp_c: float, dew_point_c: float) -> float:
    """Return the wet bulb by the one-third rule (Knox and others 2017), near 0 °C only."""
    return temp_c - (temp_c - dew_point_c) / 3
