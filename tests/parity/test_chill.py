"""Chill as a range on both sides: random readings, random spells, and what each must add up to."""

import random
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.amounts import CannotCalculate
from lathhouse.domain.chill import chill_range, keep
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_text
from lathhouse.domain.temperatures import TEMPERATURES
from tests.parity.golden import DAY_NOUGHT, table
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


CALCULATE = """async (cases) => {
  const [{ TEMPERATURES }, { CannotCalculate }, { say }] = await Promise.all(
    ["core/temperatures", "core/amounts", "ui/sentence"].map((name) => import(`/${name}.js`)));
  return cases.map(([name, inputs]) => {
    try {
      return TEMPERATURES[name](inputs);
    } catch (error) {
      if (!(error instanceof CannotCalculate)) throw error;
      return { field: error.field, says: say(error.said) };
    }
  });
}"""
SPELL = {"started_at": "2026-05-01T08:00:00+10:00", "ended_at": "2026-06-01T00:00:00Z"}
HOURLY = [1, 4.5, 5, 7.2, 10, -2, -3, 11]
ODD = [
    ("f_to_c", {"t_F": -459.68}),
    ("f_to_c", {"t_F": True}),
    ("chill_hours", {"hourly_C": HOURLY, "low_C": 0, "high_C": 7.2}),
    ("chill_hours", {"hourly_C": HOURLY, "low_C": 7.2, "high_C": 0}),
    ("chill_hours", {"hourly_C": HOURLY, "low_C": 0}),
    ("chill_hours", {"hourly_C": [*HOURLY, None], "low_C": 0, "high_C": 7}),
    ("chill_hours", {"hourly_C": [91], "low_C": 0, "high_C": 7}),
    ("cold_band_three", {"hourly_C": HOURLY}),
    ("cold_band_three", {"hourly_C": HOURLY, "bands_C": {"low": [2, 3]}}),
    ("cold_band_three", {"hourly_C": HOURLY, "bands_C": {"low": [2]}}),
    ("cold_band_three", {"hourly_C": HOURLY, "bands_C": {"high": None}}),
    ("cold_band_three", {"hourly_C": "cold"}),
    ("chill_range", {}),
    ("chill_range", SPELL),
    ("chill_range", {**SPELL, "ended_at": "2026-05-01T07:59:00+10:00"}),
    ("chill_range", {**SPELL, "ended_at": "tomorrow"}),
    ("chill_range", {**SPELL, "readings": [["2026-05-02T00:00:00Z", "4"]]}),
    ("chill_range", {**SPELL, "readings": [["noon", 4]]}),
    ("chill_range", {**SPELL, "readings": {"at": 4}}),
    (
        "chill_range",
        {**SPELL, "readings": [[f"2026-05-0{n}T0{n}:00:00Z", n] for n in (3, 1, 3, 2)]},
    ),
]


def calculated(name: str, inputs: dict[str, Any]) -> dict[str, Any]:
    try:
        return TEMPERATURES[name](inputs)
    except CannotCalculate as error:
        return {"field": error.field, "says": error.says}


def test_both_sides_calculate_and_refuse_the_same(core_page: Page):
    theirs = core_page.evaluate(CALCULATE, ODD)
    for case, found in zip(ODD, theirs, strict=True):
        assert first_difference(calculated(*case), found) is None, case
    assert sum("says" in found for found in theirs) == 15


def readings_of(example: dict[str, Any]) -> list[list[Any]]:
    """Return an example's readings, one by one."""
    return [
        [to_text(DAY_NOUGHT + hour * HOUR_MS), temp]
        for first, last, every, temp in example["series"]
        for hour in range(first, last + 1, every)
    ]


@pytest.mark.parametrize("example", table("chill")["cases"], ids=lambda example: example["name"])
def test_chills_by_hand(core_page: Page, example: dict[str, Any]):
    inputs = {
        "started_at": to_text(DAY_NOUGHT), "ended_at": example["ends"],
        "readings": readings_of(example), "by_hand": example.get("by_hand", False),
    }  # fmt: skip
    (theirs,) = core_page.evaluate(CALCULATE, [["chill_range", inputs]])
    ours = TEMPERATURES["chill_range"](inputs)
    assert first_difference(ours, theirs) is None
    found = {**ours, "warm": len(ours["warm"])}
    assert found == pytest.approx(example["expected"], abs=0.1)


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
    assert len(temps["recent"]) == 24
