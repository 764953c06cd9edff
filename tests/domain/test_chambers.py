"""A chamber's band: what rings, what does not, and what clears it.

The three check values are those of the job's own catalogue (chamber-01 to chamber-03: band 1 to
5 °C from Chong and others, Handbook of Plant and Crop Physiology, table 3; the times are ours).
"""

import pytest

from lathhouse.domain import chambers
from lathhouse.domain.facts import place_facts, standing
from lathhouse.domain.instants import MINUTE_MS, parse_instant, to_text
from lathhouse.domain.watches import evaluate, load_rules

START = parse_instant("2026-05-01T08:00:00+10:00")
SITE = {"offsets": [["2020-01-01T00:00:00.000Z", 600]], "working_days": [1, 2, 3, 4, 5, 6]}


def level_after(
    readings: list[tuple[int, float]], at_minute: int | None = None, interval_minutes: int = 15
) -> str | None:
    own = {"interval_minutes": interval_minutes}
    settings = chambers.settings_of(own)
    state = chambers.new_state()
    for minute, temp_c in readings:
        state = chambers.read(state, to_text(START + minute * MINUTE_MS), temp_c, settings)
    place = {"id": "fridge", "name": "Shed fridge", "kind": "chamber", "chamber_state": state}
    place |= {"chamber": own}
    now = to_text(START + (at_minute or readings[-1][0]) * MINUTE_MS)
    found = evaluate(load_rules(), "place", place_facts(place, standing([])), now, SITE)["findings"]
    return next((f["level"] for f in found if f["watch"] == "chamber-band"), None)


def test_a_door_opened_for_ten_minutes_does_not_ring():
    assert level_after([(0, 4.0), (10, 7.5), (20, 4.6), (30, 4.1)]) is None


def test_one_reading_of_an_hourly_probe_says_nothing_of_an_hour():
    """The next one comes at sixty minutes and a little: until then nobody knows more. Ours."""
    assert level_after([(0, 6.2)], at_minute=64, interval_minutes=60) is None
    assert level_after([(0, 6.2), (60, 4.0)], at_minute=70, interval_minutes=60) is None
    assert level_after([(0, 6.2), (60, 6.3)], at_minute=65, interval_minutes=60) == "late"
    assert level_after([(0, 6.2)], at_minute=65, interval_minutes=60) == "late", "it fell silent"


def test_an_hour_above_the_band_is_late():
    readings = [(0, 4.0), (15, 5.4), (30, 5.6), (45, 5.8), (60, 5.9), (75, 6.0)]
    assert level_after(readings) == "late"
    assert level_after(readings[:-1], at_minute=74) is None


def test_four_hours_above_the_band_is_an_alarm():
    readings = [(0, 5.5), (60, 5.8), (120, 6.0), (180, 6.1), (240, 6.2)]
    assert level_after(readings) == "alarm"
    assert level_after(readings[:-1], at_minute=239) == "late"


def test_a_quarter_of_an_hour_of_frost_is_an_alarm():
    assert level_after([(0, 3.0), (15, -0.2), (30, -0.4)]) == "alarm"


def test_it_clears_half_an_hour_after_it_is_well_inside_again_not_before():
    warm = [(minute, 6.0) for minute in range(0, 90, 15)]
    assert level_after([*warm, (90, 4.4), (105, 4.2)]) == "late"
    assert level_after([*warm, (90, 4.4), (105, 4.2), (120, 4.1)]) is None
    assert level_after([*warm, (90, 4.8), (105, 4.8), (120, 4.8)]) == "late", "in, but not well in"


def test_a_band_upside_down_is_refused():
    with pytest.raises(chambers.BandUpsideDown):
        chambers.settings_of({"low_c": 5, "high_c": 1})
