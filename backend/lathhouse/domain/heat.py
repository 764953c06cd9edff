"""Heat and people: the heat index, and the risk that outdoor work has at it."""

import math

# Heat index at which planning steps up (US OSHA, Using the Heat Index: a guide for employers); the
# table's shared edges are read upwards.
RISKS_F = ((115.0, "very_high"), (103.0, "high"), (91.0, "moderate"))
# The index is for shade; full sun can add up to this (NWS, Technical Attachment SR 90-23).
FULL_SUN_F = 15.0


def heat_index_f(temp_f: float, humidity_percent: float) -> float:
    """Return the heat index in °F, in shade: Rothfusz 1990, NWS Technical Attachment SR 90-23.

    As the Weather Prediction Center applies it: Steadman's simple form where that gives less than
    80 °F, and two adjustments, for dry and for damp air.
    """
    t, r = temp_f, humidity_percent
    simple = 0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094)
    if (simple + t) / 2 < 80:
        return simple
    index = (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 0.00683783 * t * t
        - 0.05481717 * r * r
        + 0.00122874 * t * t * r
        + 0.00085282 * t * r * r
        - 0.00000199 * t * t * r * r
    )
    if r < 13 and 80 <= t <= 112:
        index -= (13 - r) / 4 * math.sqrt((17 - abs(t - 95)) / 17)
    if r > 85 and 80 <= t <= 87:
        index += (r - 85) / 10 * (87 - t) / 5
    return index


def risk_at(index_f: float) -> str:
    """Return `lower`, `moderate`, `high` or `very_high`."""
    return next((risk for least, risk in RISKS_F if index_f >= least), "lower")


def to_f(temp_c: float) -> float:
    """Return a temperature in °F."""
    return temp_c * 9 / 5 + 32


def to_c(temp_f: float) -> float:
    """Return a temperature in °C."""
    return (temp_f - 32) * 5 / 9
