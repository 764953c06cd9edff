"""Which night a figure is told of. The rules are ours; the sun's times are those of Sydney."""

from typing import Any

from lathhouse.domain.evening import figures_of, night_day

OFFSETS = [["2026-01-01T00:00:00.000Z", 600]]
HOME: dict[str, Any] = {"offsets": OFFSETS, "latitude_deg": -33.6, "longitude_deg": 150.3}
AFTERNOON = "2026-09-10T05:00:00.000Z"


def low(day: str | None, value: float, at: str = "2026-09-08T06:00:00.000Z") -> dict[str, Any]:
    return {"which": "low", "day": day, "value": value, "at": at}


def test_the_last_figure_is_of_a_night_before_and_never_of_one_to_come():
    told = [low("2026-09-09", 4), low("2026-09-08", 5), low("2026-09-11", -3, AFTERNOON)]
    found = figures_of({**HOME, "forecasts": told}, "2026-09-10", AFTERNOON)
    assert (found["figure"], found["last"]["value"]) == (None, 4)
    found = figures_of({**HOME, "forecasts": told[2:]}, "2026-09-10", AFTERNOON)
    assert found == {"figure": None, "last": None}
    # Told twice of one night: the later word of both; without a date it is of the day it was told.
    told = [low("2026-09-10", 2), low("2026-09-10", 1), low(None, 6), low("2026-09-08", 7)]
    found = figures_of({**HOME, "forecasts": told}, "2026-09-10", AFTERNOON)
    assert (found["figure"]["value"], found["last"]["value"]) == (1, 7)


def test_the_night_is_under_way_until_the_sun_rises():
    """Sunrise there on 10 September is at about 06:05, by the sun's own equations."""
    assert night_day(HOME, "2026-09-09T20:00:00.000Z") == "2026-09-09"
    assert night_day(HOME, "2026-09-09T20:20:00.000Z") == "2026-09-10"
