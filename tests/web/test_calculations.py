"""Every published example through the HTTP API and through the phone's own code."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.calculations import CALCULATIONS
from lathhouse.domain.temperatures import TEMPERATURES
from tests.server import Nursery

REFERENCE = Path(__file__).parents[1] / "reference"
DILUTION = json.loads((REFERENCE / "vectors_dilution.json").read_text("utf-8"))
CLIMATE = json.loads((REFERENCE / "vectors_climate.json").read_text("utf-8"))
# Published figures that do not come out, with our own beside them and the reason.
OURS = [
    {**vector, "expected": vector["ours"], "tolerance": {"rel": 1e-4}}
    for vector in DILUTION["not_reproducing"]
]
EVERY = DILUTION["vectors"] + OURS
CHILL = [vector for vector in CLIMATE["vectors"] if vector["calc"] in CALCULATIONS]
ON_THE_PHONE = """async (cases) => {
  const names = ["core/dilution", "core/temperatures", "core/amounts", "ui/sentence"];
  const [{ DILUTION }, { TEMPERATURES }, { CannotMix }, { say }] = await Promise.all(
    names.map((name) => import(`/${name}.js`)));
  const calculations = { ...DILUTION, ...TEMPERATURES };
  return cases.map(({ calculation, calc, inputs }) => {
    try {
      return { result: calculations[calculation ?? calc](inputs) };
    } catch (error) {
      if (!(error instanceof CannotMix)) throw error;
      return { refused: say(error.said) };
    }
  });
}"""


def ask(nursery: Nursery, name: str, inputs: Any) -> Any:
    return nursery.call("POST", f"/api/v1/calculations/{name}", inputs, role="worker")


def near(value: Any, expected: Any, tolerance: dict[str, float]) -> bool:
    if isinstance(expected, bool) or not isinstance(expected, int | float):
        return value == expected
    allowed = tolerance.get("abs", 0.0) + tolerance.get("rel", 0.0) * abs(expected)
    return abs(value - expected) <= allowed + 1e-9 * max(1.0, abs(expected))


def test_every_dilution_example_comes_out_over_http_with_cautions_and_source(
    same_nursery: Nursery,
):
    for vector in EVERY:
        said = ask(same_nursery, vector["calculation"], vector["inputs"]).json
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]
        assert any("acids" in caution for caution in said["cautions"])
        assert said["sources"]
        assert said["says"].endswith(".")


def test_every_dilution_example_comes_out_on_the_phone(core_page: Page):
    found = core_page.evaluate(ON_THE_PHONE, EVERY)
    for vector, said in zip(EVERY, found, strict=True):
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]


def test_what_must_be_refused_is_refused_alike_on_both(same_nursery: Nursery, core_page: Page):
    theirs = core_page.evaluate(ON_THE_PHONE, DILUTION["must_refuse"])
    for case, said in zip(DILUTION["must_refuse"], theirs, strict=True):
        answer = ask(same_nursery, case["calculation"], case["inputs"])
        assert answer.status_code == 422, case["why"]
        assert answer.json["detail"] == said["refused"]


@pytest.mark.parametrize("vector", CHILL, ids=lambda vector: vector["id"])
def test_every_chill_example_comes_out_over_http(same_nursery: Nursery, vector: dict[str, Any]):
    said = ask(same_nursery, vector["calc"], vector["inputs"]).json
    for name, expected in vector["expected"].items():
        assert near(said["result"][name], expected, vector["tolerance"])
    assert said["sources"]


def test_every_chill_example_comes_out_in_python_and_on_the_phone(core_page: Page):
    """K037: Weinberger's band as the chillR library counts it; K054: our bands; K142 and on: °F."""
    found = core_page.evaluate(ON_THE_PHONE, CHILL)
    for vector, said in zip(CHILL, found, strict=True):
        ours = TEMPERATURES[vector["calc"]](vector["inputs"])
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]
            assert near(ours[name], expected, vector["tolerance"]), vector["id"]


def test_a_chill_is_said_as_a_range_with_what_was_read_and_what_warm_days_mean(
    one_nursery: Nursery,
):
    """Warm days: Steadman and Pritchard (2004), horse chestnut alone."""
    readings = [[f"2026-05-0{day}T{hour:02}:00:00Z", 4 if day < 4 else 12]
                for day in range(1, 5) for hour in range(24)]  # fmt: skip
    inputs = {
        "started_at": "2026-05-01T00:00:00Z", "ended_at": "2026-05-11T00:00:00Z",
        "readings": readings,
    }  # fmt: skip
    said = ask(one_nursery, "chill_range", inputs).json
    assert said["result"]["low_days"] == pytest.approx(9, abs=0.1)
    assert said["result"]["read_days"] == pytest.approx(4, abs=0.1)
    assert "by readings" in said["says"]
    assert "No published rule" in said["says"]
    assert any("Steadman and Pritchard" in source for source in said["sources"])
    unread = ask(one_nursery, "chill_range", {**inputs, "readings": []}).json
    assert unread["says"].startswith("10 days by the calendar alone: nobody read how cold it was")
    late = ask(one_nursery, "chill_range", {**inputs, "ended_at": "2026-04-01T00:00:00Z"})
    assert late.status_code == 422


def test_a_mixing_plan_says_ppm_steps_and_cautions(same_nursery: Nursery):
    """15 % by volume of a 4 % bottle is 6,000 ppm: arithmetic; the share: common practice."""
    inputs = {
        "product_strength": 40, "product_unit": "g_per_l_available_chlorine", "wanted": 15,
        "wanted_unit": "percent_by_volume", "volume": 4, "volume_unit": "l",
        "method": "make_up_to",
    }  # fmt: skip
    said = ask(same_nursery, "mixing_plan", inputs).json
    assert said["result"]["ppm"] == pytest.approx(6000)
    assert said["result"]["product_ml"] == pytest.approx(600)
    steps = said["result"]["steps"]
    assert steps.index("pour_water") < steps.index("bleach_into_water")
    ratio = ask(same_nursery, "mixing_plan", {**inputs, "wanted": "1:10"})
    assert ratio.status_code == 422
    assert "two ways" in ratio.json["detail"]


@pytest.mark.parametrize(
    ("name", "inputs"),
    [
        ("chill_hours", {"hourly_C": [], "low_C": 0, "high_C": 7}),
        ("chill_hours", {"hourly_C": [1, "2"], "low_C": 0, "high_C": 7}),
        ("chill_hours", {"hourly_C": [1], "low_C": 7, "high_C": 0}),
        ("cold_band_three", {"hourly_C": [400]}),
        ("f_to_c", {"t_F": "warm"}),
        ("f_to_c", {"t_F": -1000}),
        ("mixing_plan", {}),
    ],
)
def test_the_impossible_is_a_problem_in_words(
    same_nursery: Nursery, name: str, inputs: dict[str, Any]
):
    said = ask(same_nursery, name, inputs)
    assert said.status_code == 422
    assert said.json["detail"].endswith(".")


def test_there_is_no_other_calculation(same_nursery: Nursery):
    assert ask(same_nursery, "astrology", {}).status_code == 404
