"""The weather of the simulated world: nights, days, what a thermometer reads, what is forecast.

Drawn from the seed, apart from everything else. All figures are our own choice, made to look like
the demo's tableland: frosts until late October, a few hot days from December on.
"""

import math
import random
from datetime import UTC, datetime, timedelta

from tests.simulation.calendar import HOUR_MS, MINUTE_MS, Calendar

# The night of the first day, of which the demo's story has a forecast of 2 °C.
FIRST_LOW_C = 1.4
# Middle of the year's swing, half its height, how far days lie apart, how much stays till tomorrow.
LOWS, HIGHS, STAYS = (6.5, 6.0, 2.6), (20.0, 8.0, 3.5), 0.5
COLDEST_DAY_OF_YEAR = 201
COLDEST_HOUR, WARMEST_HOUR = 6, 15
# Forecast minus truth, one standard deviation: of the evening before, and of the same morning.
EVENING_OUT_C, MORNING_OUT_C = 1.2, 0.6
# Latitude and longitude of the demo's nursery; how high the sun's middle is as its edge rises.
LATITUDE_DEG, LONGITUDE_DEG, RISES_AT_DEG = -33.6, 149.7, -0.833
# Fourier terms of the sun's declination and of the equation of time (Spencer 1971).
LEANS = (-0.399912, 0.070257, -0.006758, 0.000907, -0.002697, 0.00148)
EARLY = (0.001868, -0.032077, -0.014615, -0.04089)
# Heat index in °F by °F in the shade, each with the percent of humidity that this world's warm air
# has: US National Weather Service, heat index chart (columns 80 to 110 °F, rows 40 and 45 %).
CHART = {
    80: (40, 80), 82: (40, 81), 84: (40, 83), 86: (40, 85), 88: (40, 88), 90: (45, 93),
    92: (45, 96), 94: (45, 100), 96: (40, 101), 98: (40, 105), 100: (40, 109), 102: (40, 114),
    104: (40, 119), 106: (40, 124), 108: (40, 130), 110: (40, 136),
}  # fmt: skip


class Weather:
    """True lows (of the night that begins on a day) and highs, and what is forecast of them."""

    def __init__(self, seed: int, calendar: Calendar, days: int) -> None:
        self.calendar, rng = calendar, random.Random(f"weather {seed}")
        first = calendar.first.timetuple().tm_yday
        self.lows = _year(rng, LOWS, first, days + 3)
        self.lows[0] = FIRST_LOW_C
        self.highs = _year(rng, HIGHS, first, days + 3)
        # [of the evening before, of the same morning]: (low, high)
        self.forecasts = [
            [_told(rng, low, high, out) for out in (EVENING_OUT_C, MORNING_OUT_C)]
            for low, high in zip(self.lows, self.highs, strict=True)
        ]

    def air_c(self, now: int) -> float:
        """Return the temperature in the frost corner: coldest at six, warmest at fifteen."""
        day = max(0, min(self.calendar.day_of(now), len(self.lows) - 2))
        hour = (now - self.calendar.at(day, "00:00")) / HOUR_MS
        low = self.lows[day - 1] if day else self.lows[0] + 3
        if hour < COLDEST_HOUR:
            before, part = self.highs[max(0, day - 1)], (hour + 9) / 15
        elif hour < WARMEST_HOUR:
            before, low, part = low, self.highs[day], (hour - 6) / 9
        else:
            before, low, part = self.highs[day], self.lows[day], (hour - 15) / 15
        return round(before + (low - before) * (1 - math.cos(math.pi * part)) / 2, 1)

    def reading(self, now: int) -> tuple[float, int]:
        """Return (°C, percent of humidity) as a probe has them; warm air is one of the chart's."""
        air_c = self.air_c(now)
        fahrenheit = 2 * round((air_c * 9 / 5 + 32) / 2)
        if fahrenheit < min(CHART):
            return air_c, 60
        return round((fahrenheit - 32) * 5 / 9, 1), CHART[min(fahrenheit, max(CHART))][0]


def heat_index_f(temp_c: float) -> int:
    """Return the chart's heat index of this world's air; below 80 °F it asks nothing of anybody."""
    fahrenheit = 2 * round((temp_c * 9 / 5 + 32) / 2)
    return CHART[min(fahrenheit, max(CHART))][1] if fahrenheit >= min(CHART) else 0


def sunrise(calendar: Calendar, day: int) -> int:
    """Return when the sun rises, to about a minute (Spencer 1971, Search 2(5), p. 172)."""
    date = calendar.first + timedelta(days=day)
    turn = 2 * math.pi * (date.timetuple().tm_yday - 1) / 365
    terms = [f(n * turn) for n in (1, 2, 3) for f in (math.cos, math.sin)]
    tilt = 0.006918 + sum(a * b for a, b in zip(LEANS, terms, strict=True))
    early_minutes = 229.18 * (0.000075 + sum(a * b for a, b in zip(EARLY, terms, strict=False)))
    north, height = math.radians(LATITUDE_DEG), math.radians(RISES_AT_DEG)
    above = math.sin(height) - math.sin(north) * math.sin(tilt)
    turned = math.degrees(math.acos(above / (math.cos(north) * math.cos(tilt))))
    minutes = 720 - 4 * (LONGITUDE_DEG + turned) - early_minutes
    midnight = datetime(date.year, date.month, date.day, tzinfo=UTC).timestamp() * 1000
    return round(midnight + minutes * MINUTE_MS)


def _year(
    rng: random.Random, swing: tuple[float, float, float], first: int, days: int
) -> list[float]:
    middle, half, apart = swing
    found, rest = [], 0.0
    for day in range(first, first + days):
        rest = STAYS * rest + math.sqrt(1 - STAYS**2) * rng.gauss(0, apart)
        turn = 2 * math.pi * (day - COLDEST_DAY_OF_YEAR) / 365
        found.append(round(middle - half * math.cos(turn) + rest, 1))
    return found


def _told(rng: random.Random, low: float, high: float, out_c: float) -> tuple[float, float]:
    """Return a forecast to half a degree, as forecasts are read off."""
    return tuple(round(2 * rng.gauss(value, out_c)) / 2 for value in (low, high))  # type: ignore[return-value]
