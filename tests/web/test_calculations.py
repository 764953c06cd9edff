"""Every published example through the HTTP API and through the phone's own code."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.calculations import CALCULATIONS
from tests.server import Nursery

REFERENCE = Path(__file__).parents[1] / "reference"
DILUTION = json.loads((REFERENCE / "vectors_dilution.json").read_text("utf-8"))
CLIMATE = json.loads((REFERENCE / "vectors_climate.json").read_text("utf-8"))
CHILL = [vector for vector in CLIMATE["vectors"] if vector["calc"] in CALCULATIONS]
ON_THE_PHONE = """async (cases) => {
  const [{ DILUTION }, { CannotMix }, { say }] = await Promise.all(
    ["core/dilution", "core/amounts", "ui/sentence"].map((name) => import(`/${name}.js`)));
  return cases.map(({ calculation, inputs }) => {
    try {
      return { result: DILUTION[calculation](inputs) };
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
    sqlite_nursery: Nursery,
):
    for vector in DILUTION["vectors"]:
        said = ask(sqlite_nursery, vector["calculation"], vector["inputs"]).json
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]
        assert any("acids" in caution for caution in said["cautions"])
        assert said["sources"]
        assert said["says"].endswith(".")


def test_every_dilution_example_comes_out_on_the_phone(core_page: Page):
    found = core_page.evaluate(ON_THE_PHONE, DILUTION["vectors"])
    for vector, said in zip(DILUTION["vectors"], found, strict=True):
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]


def test_what_must_be_refused_is_refused_alike_on_both(sqlite_nursery: Nursery, core_page: Page):
    theirs = core_page.evaluate(ON_THE_PHONE, DILUTION["must_refuse"])
    for case, said in zip(DILUTION["must_refuse"], theirs, strict=True):
        answer = ask(sqlite_nursery, case["calculation"], case["inputs"])
        assert answer.status_code == 422, case["why"]
        assert answer.json["detail"] == said["refused"]


@pytest.mark.parametrize("vector", CHILL, ids=lambda vector: vector["id"])
def test_every_chill_example_comes_out_over_http(sqlite_nursery: Nursery, vector: dict[str, Any]):
    said = ask(sqlite_nursery, vector["calc"], vector["inputs"]).json
    for name, expected in vector["expected"].items():
        assert near(said["result"][name], expected, vector["tolerance"])
    assert said["sources"]


def test_the_phone_counts_hours_in_a_band_as_published(core_page: Page):
    """K037: Weinberger's band as the chillR library counts it; K054: our three bands."""
    hours = (
        "async ([hourly, low, high]) => (await import('/core/chill.js')).hoursIn(hourly, low, high)"
    )
    for vector in CHILL:
        inputs = vector["inputs"]
        if vector["calc"] == "chill_hours":
            found = core_page.evaluate(
                hours, [inputs["hourly_C"], inputs["low_C"], inputs["high_C"]]
            )
            assert found == vector["expected"]["hours"]
        elif vector["calc"] == "cold_band_three":
            for name, band in inputs["bands_C"].items():
                found = core_page.evaluate(hours, [inputs["hourly_C"], *band]) / 24
                assert near(found, vector["expected"][name], vector["tolerance"])


def test_a_mixing_plan_says_ppm_steps_and_cautions(sqlite_nursery: Nursery):
    """15 % by volume of a 4 % bottle is 6,000 ppm: arithmetic; the share: common practice."""
    inputs = {
        "product_strength": 40, "product_unit": "g_per_l_available_chlorine", "wanted": 15,
        "wanted_unit": "percent_by_volume", "volume": 4, "volume_unit": "l",
        "method": "make_up_to",
    }  # fmt: skip
    said = ask(sqlite_nursery, "mixing_plan", inputs).json
    assert said["result"]["ppm"] == pytest.approx(6000)
    assert said["result"]["product_ml"] == pytest.approx(600)
    steps = said["result"]["steps"]
    assert steps.index("pour_water") < steps.index("bleach_into_water")
    ratio = ask(sqlite_nursery, "mixing_plan", {**inputs, "wanted": "1:10"})
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
    sqlite_nursery: Nursery, name: str, inputs: dict[str, Any]
):
    said = ask(sqlite_nursery, name, inputs)
    assert said.status_code == 422
    assert said.json["detail"].endswith(".")


def test_there_is_no_other_calculation(sqlite_nursery: Nursery):
    assert ask(sqlite_nursery, "astrology", {}).status_code == 404
