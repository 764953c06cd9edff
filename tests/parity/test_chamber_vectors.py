"""The check values of a chamber's band, through HTTP's calculation and the phone's own code."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.calculations import CALCULATIONS, CannotCalculate
from lathhouse.domain.instants import MINUTE_MS, to_text
from lathhouse.domain.watches import load_rules

TABLE = json.loads(
    (Path(__file__).parents[1] / "reference" / "vectors_chamber.json").read_text("utf-8")
)
RUN = """async ({ readings, chamber, rules, site }) => {
  const [{ goOn }, { placeFacts, standing }, { evaluate }] = await Promise.all(
    ["rows", "facts", "watches"].map((name) => import(`/core/${name}.js`)));
  const place = goOn({ id: "p1", kind: "chamber", chamber }, readings);
  const now = readings.at(-1).at;
  const { findings } = evaluate(rules, "place", placeFacts(place, standing([])), now, site);
  return findings.find((one) => one.watch === "chamber-band")?.level ?? null;
}"""


@pytest.mark.parametrize("vector", TABLE["vectors"], ids=[v["id"] for v in TABLE["vectors"]])
def test_both_sides_give_the_level_of_the_vector(core_page: Page, vector: dict[str, Any]):
    assert vector["where"]
    inputs = vector["inputs"]
    given = {
        "chamber": {
            "low_c": inputs["band_c"][0], "high_c": inputs["band_c"][1],
            "hard_low_c": inputs["hard_limits_c"][0], "hard_high_c": inputs["hard_limits_c"][1],
            "margin_c": inputs["hysteresis_c"],
            **{name: inputs[name] for name in inputs if name.startswith("minutes_")},
        },
        "readings": [
            {
                "kind": "read", "at": to_text(one["minute"] * MINUTE_MS),
                "data": {"quantity_kind": "temp_c", "value": one["temp_c"]},
            }
            for one in inputs["readings"]
        ],
        "rules": load_rules(),
        "site": {"offsets": [["1970-01-01T00:00:00.000Z", 0]], "working_days": [1]},
    }  # fmt: skip
    ours = CALCULATIONS["chamber_band"](inputs)["result"]["level"]
    assert [ours, core_page.evaluate(RUN, given)] == [vector["expected"]["level"]] * 2


@pytest.mark.parametrize(
    "change",
    [{"readings": []}, {"readings": [4]}, {"band_c": [5, 1]}, {"hard_limits_c": "cold"}],
)
def test_what_is_no_band_and_no_reading_is_refused(change: dict[str, Any]):
    inputs = {"readings": [{"minute": 0, "temp_c": 4}], **change}
    with pytest.raises(CannotCalculate):
        CALCULATIONS["chamber_band"](inputs)
