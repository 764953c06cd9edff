"""Sunrise and sunset of a place on a civil date, from latitude and longitude alone.

Low-precision solar position after Meeus (Astronomical Algorithms, 1991, chapter 25), as NOAA's
solar calculator writes it; the sun's upper edge on the horizon, with mean refraction, is a zenith
of 90.833 degrees. Good to about a minute below 65 degrees of latitude, on a flat horizon: a hill
to the west brings the evening forward.
"""

import math
from typing import Any

from lathhouse.domain.instants import MINUTE_MS, to_ms

ZENITH_DEG = 90.833
# 2000-01-01T12:00Z, the epoch that the series count from.
J2000_MS = 946_728_000_000
CENTURY_MS = 36_525 * 86_400_000
# Each turn puts the sun where it is at the moment found before: three leave less than a second.
TURNS = 3


def sun_times(latitude_deg: float, longitude_deg: float, day: str) -> dict[str, Any]:
    """Return {rise_ms, set_ms, state} of a local date: whole-minute instants, or None.

    Args:
        latitude_deg: north is positive.
        longitude_deg: east is positive.
        day: the LOCAL civil date; asked for in UTC, a place far from Greenwich gets the day before.

    `state` is `rises_and_sets`, `always_above` or `always_below` (polar day and night).
    """
    rise, above = _crossing(latitude_deg, longitude_deg, day, -1)
    down, _ = _crossing(latitude_deg, longitude_deg, day, 1)
    if rise is None or down is None:
        state = "always_above" if above else "always_below"
        return {"rise_ms": None, "set_ms": None, "state": state}
    return {"rise_ms": rise, "set_ms": down, "state": "rises_and_sets"}


def _crossing(latitude: float, longitude: float, day: str, side: int) -> tuple[int | None, bool]:
    """Return the instant at which the sun crosses the horizon, or None and whether it is up."""
    midnight = to_ms(f"{day}T00:00:00.000Z")
    at = midnight + (720 - 4 * longitude) * MINUTE_MS
    for _ in range(TURNS):
        declination, equation = _sun(at)
        cosine = _hour_angle_cosine(latitude, declination)
        if not -1 <= cosine <= 1:
            return None, cosine < -1
        angle = math.degrees(math.acos(cosine))
        at = midnight + (720 - 4 * (longitude - side * angle) - equation) * MINUTE_MS
    return math.floor(at / MINUTE_MS + 0.5) * MINUTE_MS, False


def _hour_angle_cosine(latitude: float, declination: float) -> float:
    # At the poles themselves the sun circles: a hair's breadth away tells day from night.
    phi = math.radians(min(max(latitude, -89.999), 89.999))
    delta = math.radians(declination)
    return math.cos(math.radians(ZENITH_DEG)) / (math.cos(phi) * math.cos(delta)) - math.tan(
        phi
    ) * math.tan(delta)


def _sun(at_ms: float) -> tuple[float, float]:
    """Return the sun's declination in degrees and the equation of time in minutes."""
    t = (at_ms - J2000_MS) / CENTURY_MS
    mean = (280.46646 + t * (36000.76983 + t * 0.0003032)) % 360
    anomaly = math.radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre = (
        math.sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
        + math.sin(2 * anomaly) * (0.019993 - 0.000101 * t)
        + math.sin(3 * anomaly) * 0.000289
    )
    node = math.radians(125.04 - 1934.136 * t)
    apparent = math.radians(mean + centre - 0.00569 - 0.00478 * math.sin(node))
    mean_tilt = 23 + (26 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 60) / 60
    tilt = math.radians(mean_tilt + 0.00256 * math.cos(node))
    declination = math.degrees(math.asin(math.sin(tilt) * math.sin(apparent)))
    y = math.tan(tilt / 2) ** 2
    twice = math.radians(2 * mean)
    equation = (
        y * math.sin(twice)
        - 2 * eccentricity * math.sin(anomaly)
        + 4 * eccentricity * y * math.sin(anomaly) * math.cos(twice)
        - 0.5 * y * y * math.sin(2 * twice)
        - 1.25 * eccentricity * eccentricity * math.sin(2 * anomaly)
    )
    return declination, 4 * math.degrees(equation)
