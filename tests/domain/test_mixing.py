"""A bucket from the bottle's label: what is poured, what is warned of, and what is refused."""

from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lathhouse.domain.amounts import CannotMix
from lathhouse.domain.bottle import PRODUCT_UNITS
from lathhouse.domain.dilution import available_chlorine
from lathhouse.domain.mixing import METHODS, WANTED_UNITS, plan_mix, say_in, say_mix
from lathhouse.domain.volumes import ML_PER

EXACT = 1e-9
# 4 % available chlorine, 15 % by volume of 4 L: the share and the bucket are common practice,
# no source; 6,000 ppm follows by arithmetic.
BUCKET: dict[str, Any] = {
    "product_strength": 40, "product_unit": "g_per_l_available_chlorine", "bottle_age_days": 30,
    "wanted": 15, "wanted_unit": "percent_by_volume", "volume": 4, "volume_unit": "l",
    "method": "make_up_to",
}  # fmt: skip

products = st.sampled_from(sorted(PRODUCT_UNITS))
shares = st.floats(0.001, 0.9)
methods = st.sampled_from(METHODS)
volumes_ml = st.floats(10, 50_000)


def bucket(**changes: Any) -> dict[str, Any]:
    """Return the trade's usual bucket with some answers changed."""
    return {**BUCKET, **changes}


def warned(**changes: Any) -> set[str]:
    return {one["key"] for one in plan_mix(bucket(**changes))["warnings"]}


def refusal(**changes: Any) -> CannotMix:
    with pytest.raises(CannotMix) as refused:
        plan_mix(bucket(**changes))
    assert refused.value.says.endswith(".")
    return refused.value


def strength(product_percent: float, unit: str) -> float:
    """Return the number on a label of so much available chlorine, in the label's own unit."""
    if unit == "percent_sodium_hypochlorite_w_w":
        return product_percent / available_chlorine(1)
    return product_percent * PRODUCT_UNITS[unit][1]


def wanting(product_percent: float, share: float) -> dict[str, float]:
    """Return the same share of the bottle, said in each way."""
    return {
        "percent_by_volume": 100 * share,
        "ppm": product_percent * share * 10_000,
        "percent_available_chlorine": product_percent * share,
        "part_in_n": 1 / share,
        "part_to_n": 1 / share - 1,
    }


@pytest.mark.parametrize(
    ("label", "unit", "ppm"),
    [
        (4, "percent_available_chlorine", 6_000),
        (40, "g_per_l_available_chlorine", 6_000),
        (40_000, "ppm_available_chlorine", 6_000),
        (12.5, "percent_available_chlorine", 18_750),
        (8.25, "percent_sodium_hypochlorite_w_w", 11_787.6),
    ],
)
def test_the_same_share_is_as_strong_as_the_bottle(label: float, unit: str, ppm: float):
    """6,000 ppm from a 4 % bottle and 18,750 from a 12.5 % drum: arithmetic; D23 for 8.25 %."""
    mixed = plan_mix(bucket(product_strength=label, product_unit=unit))
    assert mixed["ppm"] == pytest.approx(ppm, rel=1e-5)
    assert mixed["product_ml"] == pytest.approx(600)
    assert mixed["water_ml"] == pytest.approx(3400)
    assert mixed["asks_why"] is (ppm > 10_000)
    assert mixed["usable_hours"] == 24


@pytest.mark.parametrize(("litres", "asks"), [(200, False), (200.1, True), (1000, True)])
def test_a_tank_in_one_go_is_asked_about(litres: float, asks: bool):
    """1,000 L is a slip of the unit more often than a tank; the limit is ours."""
    assert plan_mix(bucket(volume=litres))["asks_why"] is asks


def test_make_up_to_and_add_to_differ():
    """D24 and D25: 1 % from 5 % takes 200 mL in a litre, 250 mL added to one."""
    one = {"product_strength": 5, "product_unit": "percent_available_chlorine", "volume": 1,
           "wanted": 1, "wanted_unit": "percent_available_chlorine"}  # fmt: skip
    assert plan_mix(bucket(**one))["product_ml"] == pytest.approx(200)
    added = plan_mix(bucket(**one, method="add_to"))
    assert (added["product_ml"], added["total_ml"]) == pytest.approx((250, 1250))
    assert added["ppm"] == pytest.approx(10_000)


def test_one_part_in_ten_and_one_part_to_ten_are_two_mixtures():
    """D34: 1 to 10 of water is 9.09 % by volume; 1 in 10 is 10 %."""
    said = plan_mix(bucket(wanted=10, wanted_unit="part_in_n"))
    assert said["percent_by_volume"] == pytest.approx(10)
    said = plan_mix(bucket(wanted=10, wanted_unit="part_to_n"))
    assert said["percent_by_volume"] == pytest.approx(9.0909, abs=1e-4)


@pytest.mark.parametrize(
    "ratio",
    [
        {"wanted": "1:10"},
        {"wanted": " 2 / 20 "},
        {"wanted": 10, "wanted_unit": "ratio"},
        {"wanted": "1:10", "wanted_unit": "part_in_n"},
    ],
)
def test_a_bare_ratio_is_refused_with_both_readings(ratio: dict[str, Any]):
    refused = refusal(**ratio)
    one, other = refused.readings
    assert (one["wanted_unit"], other["wanted_unit"]) == ("part_in_n", "part_to_n")
    assert (one["product_ml"], other["product_ml"]) == pytest.approx((400, 4000 / 11))
    assert "read in two ways" in refused.says
    assert "400 mL" in refused.says
    assert "363.6 mL" in refused.says


def test_of_one_to_one_added_to_water_only_one_reading_is_possible():
    one, other = refusal(wanted="1:1", method="add_to").readings
    assert "refused" in one
    assert other["product_ml"] == pytest.approx(4000)


@pytest.mark.parametrize(
    ("changes", "possible"),
    [
        ({"product_strength": None}, "test strip"),
        ({"product_strength": "unknown"}, "another bottle"),
        ({"product_unit": None}, "look"),
        ({"wanted": 50_000, "wanted_unit": "ppm"}, "at most that"),
        ({"wanted": 101}, "at most 100 %"),
        ({"wanted": 100, "method": "add_to"}, "ask for less"),
        ({"wanted": 0}, "more than 0"),
        ({"wanted": -1}, "more than 0"),
        ({"wanted": "strong"}, "a number with its unit"),
        ({"wanted": "0:10"}, "a number with its unit"),
        ({"wanted": 0.5, "wanted_unit": "part_in_n"}, "2 or more"),
        ({"volume": 4000}, "at most 1,000 L"),
        ({"volume": 0}, "more than 0"),
        ({"volume": 0.0001}, "from 0.001 L"),
        ({"volume": 900, "wanted": 99, "method": "add_to"}, "less water"),
        ({"volume_unit": "bucket"}, "one of ml, l"),
        ({"method": None}, "make_up_to"),
        ({"wanted_unit": "drops"}, "one of percent_by_volume"),
        ({"product_strength": 105, "product_unit": "percent_available_chlorine"}, "at most 100 %"),
        ({"bottle_age_days": -1}, "from 0 to 7,300 days"),
    ],
)
def test_the_impossible_is_refused_with_what_would_be_possible(
    changes: dict[str, Any], possible: str
):
    assert possible.lower() in refusal(**changes).says.lower()


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"wanted": 30}, "above_usual"),
        ({"wanted": 1}, "below_usual"),
        ({"wanted": 100}, "undiluted"),
        ({"product_strength": 125}, "label_industrial"),
        ({"product_strength": 5}, "label_weak"),
        ({"product_unit": "percent_sodium_hypochlorite_w_w"}, "weight_percent"),
        ({"bottle_age_days": None}, "bottle_age_unknown"),
        ({"bottle_age_days": 180}, "bottle_old"),
        ({"volume": 10, "volume_unit": "ml"}, "small_measure"),
        ({"volume": 200}, "large_volume"),
    ],
)
def test_what_is_out_of_the_usual_is_warned_of(changes: dict[str, Any], key: str):
    assert key in warned(**changes)
    assert warned() == set()


def test_every_warning_has_where_its_limit_comes_from_and_the_grave_ones_come_first():
    found = plan_mix(bucket(product_strength=125, bottle_age_days=None, volume=200))["warnings"]
    assert all(one["source"] and one["grade"] for one in found)
    assert [one["level"] for one in found] == sorted((o["level"] for o in found), reverse=True)


@pytest.mark.parametrize("method", METHODS)
def test_bleach_goes_into_water_after_air_and_gloves(method: str):
    steps = plan_mix(bucket(method=method))["steps"]
    water = "pour_water" if method == "make_up_to" else "water_is_drawn"
    ordered = ["air", "gloves_and_eyes", "clean_bucket", water, "bleach_into_water", "stir"]
    assert steps[:6] == ordered
    assert steps[-1] == "tag_bucket"


def test_the_answer_in_words_gives_ppm_before_percent():
    said = say_mix(plan_mix(BUCKET))
    assert said.index("6,000 ppm") < said.index("15 % by volume")
    assert "24 hours" in said


def test_the_answer_in_words_is_in_the_persons_own_unit_too():
    """15 % of a US gallon is 2.4 of its 16 cups: arithmetic."""
    mixed = plan_mix(bucket(volume=16, volume_unit="us_cup"))
    assert say_in(mixed, "us_cup") == ["That is 2.4 US cups of product with 13.6 US cups of water."]
    assert say_in(mixed, "l") == []


@given(st.floats(0.1, 30), products, shares, methods, volumes_ml)
def test_nothing_is_lost_and_every_way_of_saying_a_strength_gives_one_bucket(
    percent: float, unit: str, share: float, method: str, volume: float
):
    """Mass balance: product + water = all, and the chlorine poured in is the chlorine in it."""
    label = strength(percent, unit)
    high = PRODUCT_UNITS[unit][0]
    assume(label <= high)
    for wanted_unit, wanted in wanting(percent, share).items():
        mixed = plan_mix(
            bucket(
                product_strength=label, product_unit=unit, wanted=wanted, wanted_unit=wanted_unit,
                volume=volume, volume_unit="ml", method=method,
            )
        )  # fmt: skip
        product, water, total = (mixed[f"{name}_ml"] for name in ("product", "water", "total"))
        assert product + water == pytest.approx(total, rel=EXACT)
        assert product * percent * 10_000 == pytest.approx(total * mixed["ppm"], rel=EXACT)
        assert mixed["percent_by_volume"] == pytest.approx(100 * share, rel=EXACT)
        assert (total if method == "make_up_to" else water) == pytest.approx(volume, rel=EXACT)


@given(shares, methods, volumes_ml, st.sampled_from(sorted(ML_PER)))
def test_the_unit_of_the_volume_changes_nothing_and_each_is_answered(
    share: float, method: str, volume: float, unit: str
):
    asked = bucket(wanted=100 * share, method=method)
    plain = plan_mix({**asked, "volume": volume, "volume_unit": "ml"})
    same = plan_mix({**asked, "volume": volume / ML_PER[unit], "volume_unit": unit})
    for name in ("product", "water", "total"):
        ml = plain[f"{name}_ml"]
        assert same[f"{name}_ml"] == pytest.approx(ml, rel=EXACT)
        assert same["in_units"][unit][name] * ML_PER[unit] == pytest.approx(ml, rel=EXACT)


@given(st.floats(1, 20), shares, methods, volumes_ml, st.floats(1.000_001, 1.1))
def test_more_volume_or_strength_takes_more_product_and_a_stronger_bottle_less(
    percent: float, share: float, method: str, volume: float, more: float
):
    def product(percent: float = percent, ppm: float = percent * share * 1e4, ml: float = volume):
        asked = bucket(
            product_strength=percent, product_unit="percent_available_chlorine",
            wanted=ppm, wanted_unit="ppm", volume=ml, volume_unit="ml", method=method,
        )  # fmt: skip
        return plan_mix(asked)["product_ml"]

    assert product(ml=volume * more) > product()
    assert product(ppm=percent * share * 1e4 * more) > product()
    assert product(percent=percent * more) < product()


@given(st.sampled_from(["part_in_n", "part_to_n"]), st.floats(2, 500), st.floats(1.000_001, 2))
def test_more_parts_take_less_product(unit: str, parts: float, more: float):
    one, weaker = (
        plan_mix(bucket(wanted=wanted, wanted_unit=unit)) for wanted in (parts, parts * more)
    )
    assert weaker["product_ml"] < one["product_ml"]
    assert weaker["ppm"] < one["ppm"]


@given(st.sampled_from(sorted(WANTED_UNITS)), st.floats(), st.floats(), st.floats())
def test_whatever_is_typed_there_is_an_answer_or_a_sentence(
    unit: str, label: float, wanted: float, volume: float
):
    asked = bucket(product_strength=label, wanted=wanted, wanted_unit=unit, volume=volume)
    answer = answer_or_refusal(asked)
    if isinstance(answer, CannotMix):
        assert answer.says.endswith(".")
    else:
        assert answer["product_ml"] > 0
        assert answer["water_ml"] >= 0


def answer_or_refusal(asked: dict[str, Any]) -> Any:
    try:
        return plan_mix(asked)
    except CannotMix as refused:
        return refused
