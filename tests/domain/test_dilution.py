"""Dilution against published examples, and the laws that any mixing obeys.

The vectors carry their sources with them (`tests/reference/vectors_dilution.json`).
"""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lathhouse.domain.amounts import CannotMix, amount, shown
from lathhouse.domain.dilution import DILUTION, dilution_add_to, dilution_make_up_to
from lathhouse.domain.volumes import ML_PER, from_ml, to_ml, volume_of

VECTORS = json.loads(
    (Path(__file__).parents[1] / "reference" / "vectors_dilution.json").read_text(encoding="utf-8")
)
EXACT = 1e-9

percents = st.floats(0.01, 100)
volumes_ml = st.floats(1, 1_000_000)


def within(value: Any, expected: Any, tolerance: dict[str, float]) -> bool:
    if isinstance(expected, bool):
        return value is expected
    allowed = tolerance.get("abs", 0.0) + tolerance.get("rel", 0.0) * abs(expected)
    return abs(value - expected) <= allowed + 1e-12 * abs(expected)


@pytest.mark.parametrize("vector", VECTORS["vectors"], ids=lambda vector: vector["id"])
def test_published_examples_come_out(vector: dict[str, Any]):
    assert vector["source"] in VECTORS["sources"], "a check value without its source proves nothing"
    result = DILUTION[vector["calculation"]](vector["inputs"])
    for name, expected in vector["expected"].items():
        assert within(result[name], expected, vector["tolerance"]), (name, result[name], expected)


@pytest.mark.parametrize("vector", VECTORS["not_reproducing"], ids=lambda vector: vector["id"])
def test_published_values_that_do_not_come_out_say_why(vector: dict[str, Any]):
    """D90: kitchen measures rounded. D91: digits cut off. D92: added to, but called made up to."""
    assert vector["reason"]
    result = DILUTION[vector["calculation"]](vector["inputs"])
    for name, ours in vector["ours"].items():
        assert result[name] == pytest.approx(ours, rel=1e-4)
        assert abs(result[name] / vector["published"][name] - 1) > 0.005


@pytest.mark.parametrize("case", VECTORS["must_refuse"], ids=lambda case: case["why"])
def test_the_impossible_is_refused_with_a_sentence(case: dict[str, Any]):
    with pytest.raises(CannotMix) as refused:
        DILUTION[case["calculation"]](case["inputs"])
    assert refused.value.field in case["inputs"]
    assert refused.value.says.endswith(".")


def test_a_refusal_says_what_would_be_possible():
    with pytest.raises(CannotMix, match="has 5 %, and water only weakens it: ask for at most that"):
        dilution_make_up_to(mixing(5, 6, final_volume_ml=1000))
    with pytest.raises(CannotMix, match="at most 1,000,000 mL; 4,000,000 mL is not"):
        dilution_make_up_to(mixing(5, 1, final_volume_ml=4_000_000))
    with pytest.raises(CannotMix, match="ask for a weaker solution or less water"):
        dilution_add_to(mixing(5, 4.999999, water_volume_ml=4000))


@pytest.mark.parametrize("calculation", DILUTION)
@pytest.mark.parametrize("bad", [None, "5", True, math.nan, math.inf, -1.0, 1e300, 10**400, 1e-300])
def test_what_is_no_amount_is_refused_in_every_field(calculation: str, bad: object):
    good = next(
        (v["inputs"] for v in VECTORS["vectors"] if v["calculation"] == calculation),
        {"mixed_at": "2026-05-01T08:00:00Z", "now": "2026-05-01T09:00:00Z", "life_hours": 24},
    )
    for field in good:
        with pytest.raises(ValueError, match=r"\.$") as refused:
            DILUTION[calculation]({**good, field: bad})
        assert refused.value.field == field


def test_a_solution_is_old_at_the_end_of_its_day():
    """Kittitas County (WA) public-health note CS316270A, 2020: effective up to 24 hours."""
    times = {"mixed_at": "2026-05-01T08:00:00+10:00", "now": "2026-05-02T08:00:00+10:00"}
    assert DILUTION["solution_age"]({**times, "life_hours": 24}) == {"usable": False}
    assert DILUTION["solution_age"]({**times, "life_hours": 24.01}) == {"usable": True}
    assert DILUTION["solution_usable"]({"hours_since_mixed": 24, "life_hours": 24}) == {
        "usable": False
    }


@pytest.mark.parametrize(
    ("unit", "ml"),
    [
        ("us_gal", 3785.411784),
        ("us_fl_oz", 29.5735295625),
        ("us_cup", 236.5882365),
        ("imp_gal", 4546.09),
        ("metric_cup", 250),
    ],
)
def test_units_have_their_legal_size(unit: str, ml: float):
    """NIST Handbook 44, Appendix C; Weights and Measures Act 1985, Schedule 1; cup: practice."""
    assert to_ml(1, unit) == ml


def test_a_us_gallon_holds_128_fluid_ounces_and_16_cups():
    assert from_ml(ML_PER["us_gal"], "us_fl_oz") == 128
    assert from_ml(ML_PER["us_gal"], "us_cup") == 16


def test_a_volume_without_a_known_unit_or_of_tonnes_is_refused():
    with pytest.raises(CannotMix, match="must be one of ml, l"):
        volume_of({"volume": 1, "volume_unit": "bucket"}, "water")
    with pytest.raises(CannotMix, match="at most 1,000 L; 4,000 L is not"):
        volume_of({"volume": 4000, "volume_unit": "l"}, "water")
    with pytest.raises(CannotMix, match=r"too little to measure; from 0\.001 L on"):
        volume_of({"volume": 0.0001, "volume_unit": "l"}, "water")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (18750, "18,750"),
        (12345, "12,350"),
        (0.5, "0.5"),
        (2.00001, "2"),
        (-1234.5, "-1,235"),
        (0.00012346, "0.0001235"),
        (1e-9, "almost 0"),
        (0, "0"),
        (1e6, "1,000,000"),
        (9999.96, "10,000"),
    ],
)
def test_numbers_are_written_for_people(value: float, text: str):
    assert shown(value) == text


def mixing(product: float, wanted: float, **volume: float) -> dict[str, float]:
    return {
        "product_strength_percent": product,
        "wanted_strength_percent": wanted,
        **volume,
    }


@given(percents, st.floats(0, 1), volumes_ml)
def test_nothing_is_lost_when_made_up_to(product: float, share: float, final: float):
    wanted = product * share if product * share >= 1e-6 else 0.0
    mixed = dilution_make_up_to(mixing(product, wanted, final_volume_ml=final))
    assert mixed["product_ml"] + mixed["water_ml"] == pytest.approx(final, rel=EXACT)
    assert mixed["product_ml"] * product == pytest.approx(final * wanted, rel=EXACT)
    assert mixed["water_ml"] >= -1e-9 * final


@given(percents, st.floats(0.000_001, 0.9), st.floats(1, 100_000))
def test_nothing_is_lost_when_added_to(product: float, share: float, water: float):
    wanted = product * share
    mixed = dilution_add_to(mixing(product, wanted, water_volume_ml=water))
    assert mixed["product_ml"] + water == pytest.approx(mixed["total_ml"], rel=EXACT)
    assert mixed["product_ml"] * product == pytest.approx(mixed["total_ml"] * wanted, rel=EXACT)


@given(percents, st.floats(0.001, 0.999), volumes_ml)
def test_what_is_mixed_has_the_strength_that_was_wanted(product: float, share: float, final: float):
    wanted = product * share
    mixed = dilution_make_up_to(mixing(product, wanted, final_volume_ml=final))
    result = DILUTION["dilution_strength"](
        {
            "product_strength_percent": product,
            "product_volume": mixed["product_ml"],
            "water_volume": mixed["water_ml"],
        }
    )
    assert result["strength_percent"] == pytest.approx(wanted, rel=EXACT)


@given(percents, st.floats(0.001, 0.5), volumes_ml, st.floats(1.000_001, 1.9))
def test_more_wanted_takes_more_product_and_a_stronger_product_less(
    product: float, share: float, final: float, more: float
):
    wanted = product * share
    one = dilution_make_up_to(mixing(product, wanted, final_volume_ml=final))["product_ml"]
    stronger = dilution_make_up_to(mixing(product, wanted * more, final_volume_ml=final))
    assert stronger["product_ml"] > one
    if product * more <= 100:
        weaker = dilution_make_up_to(mixing(product * more, wanted, final_volume_ml=final))
        assert weaker["product_ml"] < one
    if final * more <= 1_000_000:
        larger = dilution_make_up_to(mixing(product, wanted, final_volume_ml=final * more))
        assert larger["product_ml"] > one


@given(st.floats(1e-6, 1e9), st.sampled_from(sorted(ML_PER)))
def test_units_round_trip_to_one_part_in_a_thousand_million(volume: float, unit: str):
    assert from_ml(to_ml(volume, unit), unit) == pytest.approx(volume, rel=EXACT)


@given(st.floats(1e-6, 95))
def test_hypochlorite_and_available_chlorine_round_trip(percent: float):
    weight = DILUTION["hypochlorite_from_available_chlorine"](
        {"available_chlorine_percent": percent}
    )
    back = DILUTION["available_chlorine_from_hypochlorite"](weight)
    assert back["available_chlorine_percent"] == pytest.approx(percent, rel=EXACT)


def test_zero_is_an_amount_only_where_it_may_be():
    assert amount({"a": 0}, "a", "water", 5, nought=True) == 0
    with pytest.raises(CannotMix, match="more than 0 and at most 5; 0 is not"):
        amount({"a": 0}, "a", "water", 5)
