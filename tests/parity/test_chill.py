"""Chill as a range on both sides: random readings, random spells, and what each must add up to."""

import random
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.chill import chill_range, keep
from lathhouse.domain.instants import DAY_MS, MINUTE_MS, to_text
from tests.parity.logs import START
from tests.parity.twins import first_difference

SERIES = 60
RUN = """async (cases) => {
  const { keep, chillRange } = await import("/core/chill.js");
  return cases.map(({ readings, hand, spells }) => {
    const temps = readings.reduce((held, [at, temp]) => keep(held, at, temp, hand), null);
    return { temps, ranges: spells.map(([from, to]) => chillRange(temps, from, to)) };
  });
}"""


def series(seed: int) -> dict[str, Any]:
    pick = random.Random(f"chill {seed}")
    at, readings, hand = START, [], pick.random() < 0.3
    for _ in range(pick.choice([0, 1, 40, 400])):
        at += pick.choice([15, 15, 60, 180, 181, 600, 1500, 4000]) * MINUTE_MS
        temp = pick.choice([4, 4.25, 3.5, 1, 5, 5.01, 0, 7.2, -2, 10, 10.5, -3])
        readings.append([to_text(at), temp])
    spells = []
    for _ in range(4):
        start = START + pick.randint(-5, 20) * DAY_MS // 3
        spells.append([to_text(start), to_text(start + pick.randint(0, 60) * DAY_MS // 2)])
    return {"readings": readings, "hand": hand, "spells": spells}


def in_python(case: dict[str, Any]) -> dict[str, Any]:
    temps = None
    for at, temp in case["readings"]:
        temps = keep(temps, at, temp, case["hand"])
    return {"temps": temps, "ranges": [chill_range(temps, *spell) for spell in case["spells"]]}


def test_both_sides_count_the_same(core_page: Page):
    cases = [series(seed) for seed in range(SERIES)]
    theirs = core_page.evaluate(RUN, cases)
    for seed, (case, found) in enumerate(zip(cases, theirs, strict=True)):
        assert first_difference(in_python(case), found) is None, f"seed {seed}"


def test_low_is_at_most_middle_is_at_most_high_is_at_most_the_calendar():
    for seed in range(SERIES):
        case = series(seed)
        for spell, found in zip(case["spells"], in_python(case)["ranges"], strict=True):
            low, middle, high = (found[f"{name}_days"] for name in ("low", "middle", "high"))
            whole = found["read_days"] + found["calendar_days"]
            assert 0 <= low <= middle <= high <= whole + 1e-9, (seed, spell)


def quarter_hours(days: float, temp_c: float) -> list[list[Any]]:
    return [[to_text(START + n * 15 * MINUTE_MS), temp_c] for n in range(round(days * 96) + 1)]


def test_a_steady_fridge_gives_the_calendar_and_says_that_it_was_read():
    case = {"readings": quarter_hours(10, 4), "hand": False}
    case["spells"] = [[to_text(START), to_text(START + 10 * DAY_MS)]]
    (found,) = in_python(case)["ranges"]
    assert found["low_days"] == pytest.approx(10, abs=0.02)
    assert found["read_days"] == pytest.approx(10, abs=0.02)
    assert found["calendar_days"] == pytest.approx(0, abs=0.02)
    assert found["warm"] == []


def test_without_readings_the_calendar_alone_counts_and_says_so():
    found = chill_range(None, to_text(START), to_text(START + 42 * DAY_MS))
    assert (found["low_days"], found["high_days"]) == (42, 42)
    assert (found["read_days"], found["calendar_days"]) == (0, 42)


def test_a_warm_day_widens_the_range_and_is_named():
    readings = quarter_hours(4, 4) + [
        [to_text(START + 4 * DAY_MS + n * 15 * MINUTE_MS), 12] for n in range(1, 97)
    ]
    temps = None
    for at, temp in readings:
        temps = keep(temps, at, temp, False)
    found = chill_range(temps, to_text(START), to_text(START + 5 * DAY_MS))
    assert found["high_days"] == pytest.approx(4, abs=0.1)
    assert found["read_days"] == pytest.approx(5, abs=0.02)
    assert [high for _, high in found["warm"]] == [12, 12]


def test_what_is_kept_is_bounded():
    temps = None
    for n in range(5000):
        temps = keep(temps, to_text(START + n * 120 * MINUTE_MS), 4, False)
    assert temps is not None
    assert len(temps["days"]) == 200
    assert len(temps["recent"]) == 120
