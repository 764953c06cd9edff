"""The course of a clear, calm night, and what a forecast low may mean among the plants.

Course: T(h) = T2 + (Tmin - T2) sqrt((h - 2) / (n - 2)), h hours after sunset, n hours of night
(Snyder and de Melo-Abreu 2005, Frost protection: fundamentals, practice and economics, vol. 1,
FAO). All of it is advice, never a promise: slope, wind, cloud and a wet soil decide.
"""

import math
from typing import Any

# A frost advisory is given for 33 to 36 °F at the height of the thermometer (Ritchison, Frost
# Season): leaves have been at freezing while it read up to 2.2 °C. Rounded up by us to 3 °C.
LEAF_BELOW_AIR_C = 3.0
# Under open sky on nights of radiation frost leaves were 11.5 °C below the air, under a close
# canopy 0.5 °C (Feldhake 2002).
OPEN_SKY_BELOW_AIR_C = 11.5
# Row covers, by thickness (Snyder and de Melo-Abreu 2005); one clear night a cover was 1 °F colder
# than beside it (Oregon State 1988, table 2). Never subtracted from a threshold.
COVER_GAIN_C = (1.0, 5.0)
COVER_ONCE_C = -0.6
NIGHT_HOURS_MIN = 2.0


def night_range(low_c: float) -> dict[str, float]:
    """Return {low_c, high_c} that leaves might see on the night of a forecast low."""
    return {"low_c": low_c - LEAF_BELOW_AIR_C, "high_c": low_c}


def temp_at(hour: float, t2: float, tmin: float, night_hours: float) -> float:
    """Return the temperature at an hour after sunset, from the second hour on."""
    return t2 + (tmin - t2) * math.sqrt((hour - 2) / (night_hours - 2))


def hour_of(limit: float, t2: float, tmin: float, night_hours: float) -> float | None:
    """Return the hour after sunset at which the fall passes a limit, or None where it does not."""
    if not tmin <= limit <= t2 or tmin == t2:
        return None
    return 2 + (night_hours - 2) * ((limit - t2) / (tmin - t2)) ** 2


def fit_nights(t0: list[float], td: list[float], tn: list[float]) -> dict[str, Any]:
    """Return the coefficients of a site's own nights, in two steps.

    The minimum is fitted on the temperature two hours after sunset, what is left on the dew point;
    the two are added. They hold for the site and the thermometer they came from, and nowhere else.
    """
    slope, intercept = _line(t0, tn)
    left = [low - (slope * start + intercept) for low, start in zip(tn, t0, strict=True)]
    slope_td, rest = _line(td, left)
    return {
        "slope_t0": slope,
        "slope_td": slope_td,
        "intercept": intercept + rest,
        "intercept_t0_only": intercept,
    }


def _line(xs: list[float], ys: list[float]) -> tuple[float, float]:
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    spread = sum((x - mean_x) ** 2 for x in xs)
    together = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    slope = together / spread if spread else 0.0
    return slope, mean_y - slope * mean_x
