"""Nights, frost, moisture, covers and heat: the published values over HTTP and on the phone."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.climate import CLIMATE
from lathhouse.domain.instants import parse_instant
from lathhouse.domain.nights import COVER_GAIN_C, COVER_ONCE_C, OPEN_SKY_BELOW_AIR_C, night_range
from lathhouse.domain.watches import load_rules
from tests.server import Nursery

TABLE = json.loads(
    (Path(__file__).parents[1] / "reference" / "vectors_frost.json").read_text("utf-8")
)
VECTORS = [vector for vector in TABLE["vectors"] if vector["calculation"] in CLIMATE]
ON_THE_PHONE = """async (cases) => {
  const names = ["core/climate", "core/amounts", "ui/sentence"];
  const [{ CLIMATE }, { CannotCalculate }, { say }] = await Promise.all(
    names.map((name) => import(`/${name}.js`)));
  return cases.map(({ calculation, inputs }) => {
    try {
      return { result: CLIMATE[calculation](inputs) };
    } catch (error) {
      if (!(error instanceof CannotCalculate)) throw error;
      return { refused: say(error.said) };
    }
  });
}"""


def near(found: Any, expected: Any, tolerance: dict[str, float]) -> bool:
    """Say whether a result is the expected one, lists and clock times included."""
    if isinstance(expected, list):
        pairs = zip(found, expected, strict=True)
        return all(near(one, other, tolerance) for one, other in pairs)
    if isinstance(expected, str) and "abs_seconds" in tolerance and "T" in expected:
        apart = parse_instant(f"{found}Z") - parse_instant(f"{expected}Z")
        return abs(apart) <= tolerance["abs_seconds"] * 1000
    if isinstance(expected, bool) or not isinstance(expected, int | float):
        return bool(found == expected)
    return abs(found - expected) <= tolerance["abs"] + 1e-9 * abs(expected)


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["id"])
def test_every_value_comes_out_over_http_with_its_source(
    same_nursery: Nursery, vector: dict[str, Any]
):
    assert vector["source"] in TABLE["sources"]
    assert vector["where"]
    path = f"/api/v1/calculations/{vector['calculation']}"
    said = same_nursery.call("POST", path, vector["inputs"], role="worker").json
    for name, expected in vector["expected"].items():
        assert near(said["result"][name], expected, vector["tolerance"]), said
    assert said["sources"]


def test_every_value_comes_out_on_the_phone(core_page: Page):
    found = core_page.evaluate(ON_THE_PHONE, VECTORS)
    for vector, said in zip(VECTORS, found, strict=True):
        for name, expected in vector["expected"].items():
            assert near(said["result"][name], expected, vector["tolerance"]), vector["id"]


@pytest.mark.parametrize("vector", TABLE["not_reproducing"], ids=lambda vector: vector["id"])
def test_a_published_value_that_does_not_come_out_says_why(vector: dict[str, Any]):
    assert vector["reason"]
    found = CLIMATE[vector["calculation"]](vector["inputs"])
    for name, ours in vector["ours"].items():
        assert near(found[name], ours, {"abs": 0.005})
        assert not near(found[name], vector["published"][name], vector["tolerance"])


FROST = [vector for vector in TABLE["vectors"] if vector["calculation"] == "frost_tonight"]
FROST_ON_THE_PHONE = """async ({ inputs, rules }) => {
  const [{ evaluate }, { HOUR_MS, toText }] = await Promise.all(
    ["watches", "instants"].map((name) => import(`/core/${name}.js`)));
  const at = (hour) => toText(Math.round(1.728e12 + hour * HOUR_MS));
  const night = { low_c: inputs.forecast_low_c, lots: inputs.uncovered, thin_lots: 0, day_at: at(0),
    sunset_at: at(inputs.sunset), ends_at: at(31) };
  const rule = { ...rules.find(({ id }) => id === "frost-tonight"),
    when: [["night.low_c", "at_most", inputs.threshold_c]] };
  const site = { offsets: [["1970-01-01T00:00:00.000Z", 0]], working_days: [1] };
  const facts = { kind: "nursery", id: "n", nights: [night] };
  return evaluate([rule], "nursery", facts, at(inputs.hour), site).findings[0]?.level ?? null;
}"""


@pytest.mark.parametrize("vector", FROST, ids=lambda vector: vector["id"])
def test_the_frost_watch_gives_the_level_of_the_vector(
    same_nursery: Nursery, core_page: Page, vector: dict[str, Any]
):
    inputs, wanted = vector["inputs"], vector["expected"]["level"]
    path = "/api/v1/calculations/frost_tonight"
    said = same_nursery.call("POST", path, inputs, role="worker").json
    assert said["result"]["level"] == wanted
    theirs = core_page.evaluate(FROST_ON_THE_PHONE, {"inputs": inputs, "rules": load_rules()})
    assert theirs == wanted


ODD = [
    *TABLE["must_refuse"],
    {"calculation": "frost_trend", "inputs": {"t2_C": 1, "tmin_C": 0}},
    {"calculation": "frost_cross", "inputs": {"t2_C": 1, "tmin_C": 0, "limit_C": "ice",
                                              "hours_sunset_to_sunrise": 12}},
    {"calculation": "heat_index", "inputs": {"temp_c": 30, "humidity_percent": 101}},
    {"calculation": "stull", "inputs": {"t_C": 20, "rh_pct": 2}},
    {"calculation": "third_rule", "inputs": {"t_C": 20, "tdew_C": 9}},
    {"calculation": "sun_clock", "inputs": {"latitude_deg": 1, "longitude_deg": 1,
                                            "date": "2026-02-30", "utc_offset_h": 0}},
    {"calculation": "frost_class", "inputs": {"advisory_f": [36, 33], "freeze_f": [29, 32],
                                              "hard_f": 28}},
    {"calculation": "frost_regression_coeffs", "inputs": {"t0_C": [1], "td_C": [1], "tn_C": [1]}},
]  # fmt: skip


def test_what_cannot_be_right_is_refused_in_the_same_words_on_both(
    same_nursery: Nursery, core_page: Page
):
    theirs = core_page.evaluate(ON_THE_PHONE, ODD)
    for case, said in zip(ODD, theirs, strict=True):
        path = f"/api/v1/calculations/{case['calculation']}"
        answer = same_nursery.call("POST", path, case["inputs"], role="worker")
        assert answer.status_code == 422, case
        assert answer.json["detail"] == said["refused"], case


def test_frost_and_heat_come_with_their_cautions(same_nursery: Nursery):
    cases = {"cover_off": ({"limit_f": 60}, "promise"),
             "heat_risk": ({"heat_index_f": 91}, "shade")}  # fmt: skip
    for name, (inputs, word) in cases.items():
        said = same_nursery.call("POST", f"/api/v1/calculations/{name}", inputs, role="worker").json
        assert any(word in caution for caution in said["cautions"])


def test_the_range_of_a_night_and_a_covers_gain_are_the_published_ones():
    """Ritchison: advisories at 33 to 36 °F; Feldhake 2002; Snyder and de Melo-Abreu 2005; Oregon
    State 1988, table 2 (43 °F beside a cover, 42 °F under it)."""
    facts = {fact["id"]: fact["expected"] for fact in TABLE["facts"]}
    assert (facts["K130"]["gain_C_min"], facts["K130"]["gain_C_max"]) == COVER_GAIN_C
    colder_f = facts["K135"]["under_reemay_F"] - facts["K135"]["mulch_F"]
    assert round(colder_f * 5 / 9, 1) == COVER_ONCE_C
    assert facts["K151"]["cover_7pct_below_air_C"] == OPEN_SKY_BELOW_AIR_C
    # With 2 °C forecast leaves may freeze: the top of the advisory band, 2.2 °C, is inside.
    found = night_range(2.0)
    assert found["low_c"] <= 2.0 - (36 - 32) * 5 / 9
    assert found["high_c"] == 2.0
