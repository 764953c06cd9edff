"""Mixing a bleach solution for seed: from the bottle's label to millilitres, steps and warnings.

A bottle whose strength cannot be read is refused, and so is a bare "1:N", which is read in two
ways. The answer is a ceiling: bottles weaken with heat, light and age.
"""

import re
from typing import Any, NamedTuple

from lathhouse.domain.amounts import CannotMix, amount, quantity, shown
from lathhouse.domain.bottle import Product, bottle_age_days, product_of
from lathhouse.domain.dilution import (
    PPM_PER_PERCENT,
    add_to,
    make_up_to,
    never_reached,
    too_much_product,
    too_strong,
)
from lathhouse.domain.mixing_warnings import ASKS_WHY_ML, ASKS_WHY_PPM, warnings_for
from lathhouse.domain.mixing_words import Sentence, say, sentence
from lathhouse.domain.volumes import VOLUME_ML_MAX, in_all_units, volume_of

Data = dict[str, Any]

# A day: Haldimand-Norfolk Health Unit (mix daily); Kittitas County note CS316270A, 2020, after CDC.
USABLE_HOURS = 24
METHODS = ("make_up_to", "add_to")
PARTS_MAX = 1_000_000.0
RATIO = re.compile(r" *(\d{1,7}(?:\.\d{1,3})?) *[:/] *(\d{1,7}(?:\.\d{1,3})?) *", re.ASCII)


class Share(NamedTuple):
    """How much of the mixture is product: so many parts of so many; its ppm; the most there is."""

    parts: float
    of: float
    ppm: float
    most: Sentence


# What may be wanted, and the most of each.
WANTED_UNITS: dict[str, float] = {
    "percent_by_volume": 100.0,
    "ppm": 1_000_000.0,
    "percent_available_chlorine": 100.0,
    "part_in_n": PARTS_MAX,
    "part_to_n": PARTS_MAX,
}


def plan_mix(inputs: Data) -> Data:
    """Return what to pour, in which order, and what is then in the bucket.

    Inputs: `product_strength` and `product_unit` (see `bottle.py`), `bottle_age_days` or none,
    `wanted` and `wanted_unit` (see `WANTED_UNITS`), `volume` and `volume_unit`, `method`: the
    volume is the finished one (`make_up_to`) or water already drawn (`add_to`).

    Raises:
        CannotMix: an unknown strength, a bare ratio (with both `readings`), the impossible.
    """
    product = product_of(inputs)
    age_days = bottle_age_days(inputs)
    method = inputs.get("method")
    if method not in METHODS:
        raise CannotMix("method", sentence("method"))
    volume_ml = volume_of(inputs, "finished_volume" if method == "make_up_to" else "water")
    _refuse_bare_ratio(inputs, product, volume_ml)
    return _mix(inputs, product, age_days, volume_ml)


def _mix(inputs: Data, product: Product, age_days: float | None, volume_ml: float) -> Data:
    share = _share(inputs, product)
    poured = _pour(share, inputs["method"], volume_ml)
    steps = _steps(inputs["method"], poured["water_ml"])
    return {
        **poured,
        "in_units": in_all_units({name.removesuffix("_ml"): ml for name, ml in poured.items()}),
        "ppm": share.ppm,
        "percent_available": share.ppm / PPM_PER_PERCENT,
        "percent_by_volume": 100 * share.parts / share.of,
        "usable_hours": USABLE_HOURS,
        "steps": steps,
        "warnings": warnings_for(product.percent, product.unit, age_days, share.ppm, poured),
        "asks_why": share.ppm > ASKS_WHY_PPM or poured["total_ml"] > ASKS_WHY_ML,
    }


def _pour(share: Share, method: str, volume_ml: float) -> dict[str, float]:
    if share.parts > share.of:
        raise CannotMix("wanted", too_strong(share.most))
    if method == "make_up_to":
        mixed = make_up_to(share.of, share.parts, volume_ml)
        return {**mixed, "total_ml": volume_ml}
    if share.parts == share.of:
        raise CannotMix("wanted", never_reached(share.most))
    mixed = add_to(share.of, share.parts, volume_ml)
    if mixed["total_ml"] > VOLUME_ML_MAX:
        raise CannotMix("volume", too_much_product(mixed["product_ml"]))
    product_ml, total_ml = mixed["product_ml"], mixed["total_ml"]
    return {"product_ml": product_ml, "water_ml": volume_ml, "total_ml": total_ml}


def _steps(method: str, water_ml: float) -> list[str]:
    """Return the steps in the safe order: bleach goes into water, never water into bleach."""
    water = "water_is_drawn" if method == "add_to" else "pour_water"
    poured = [water, "bleach_into_water", "stir"] if water_ml > 0 else ["bleach_alone"]
    return ["air", "gloves_and_eyes", "clean_bucket", *poured, "close_bottle", "tag_bucket"]


def _share(inputs: Data, product: Product) -> Share:
    """Return parts of product in how many parts in all, in whatever unit was wanted."""
    unit = inputs.get("wanted_unit")
    if not isinstance(unit, str) or unit not in WANTED_UNITS:
        raise CannotMix("wanted_unit", sentence("wanted_unit", known=", ".join(WANTED_UNITS)))
    wanted = amount(inputs, "wanted", "wanted", WANTED_UNITS[unit], unit)
    if unit == "ppm":
        return Share(wanted, product.ppm, wanted, quantity(product.ppm, "ppm", 5))
    if unit == "percent_available_chlorine":
        most = quantity(product.percent, unit)
        return Share(wanted, product.percent, wanted * PPM_PER_PERCENT, most)
    if unit == "percent_by_volume":
        return Share(wanted, 100.0, product.ppm * wanted / 100, quantity(100, unit))
    parts = wanted if unit == "part_in_n" else wanted + 1
    if parts < 1:
        raise CannotMix("wanted", sentence("below_one_part"))
    return Share(1.0, parts, product.ppm / parts, sentence("one_in_one"))


def _refuse_bare_ratio(inputs: Data, product: Product, volume_ml: float) -> None:
    """Refuse "1:10", which is 1 part in 10 on one page and 1 to 10 on another, with both answers.

    Raises:
        CannotMix: the wanted strength is a bare ratio.
    """
    parts = _ratio(inputs)
    if parts is None:
        return
    readings = [
        _reading({**inputs, "wanted": parts, "wanted_unit": unit}, product, volume_ml)
        for unit in ("part_in_n", "part_to_n")
    ]
    one, other = (_say_reading(reading) for reading in readings)
    said = sentence("two_ways", n=shown(parts), one=one, other=other)
    raise CannotMix("wanted", said, readings)


def _ratio(inputs: Data) -> float | None:
    """Return N of a bare 1:N, however it was written, or None where none was given."""
    wanted = inputs.get("wanted")
    if isinstance(wanted, str):
        match = RATIO.fullmatch(wanted)
        one, many = (float(part) for part in match.groups()) if match else (0.0, 0.0)
        if one == 0 or many == 0:
            raise CannotMix("wanted", sentence("not_a_strength"))
        return many / one
    if inputs.get("wanted_unit") != "ratio":
        return None
    return amount(inputs, "wanted", "wanted", PARTS_MAX, "parts")


def _reading(inputs: Data, product: Product, volume_ml: float) -> Data:
    reading = {name: inputs[name] for name in ("wanted", "wanted_unit")}
    try:
        mixed = _mix(inputs, product, None, volume_ml)
    except CannotMix as refused:
        return {**reading, "refused": refused.said}
    kept = ("product_ml", "water_ml", "total_ml", "ppm", "percent_by_volume")
    return {**reading, **{name: mixed[name] for name in kept}}


def _say_reading(reading: Data) -> Sentence:
    parts = sentence(reading["wanted_unit"], n=shown(reading["wanted"]))
    if "refused" in reading:
        return sentence("reading_not_possible", parts=parts)
    product, water = shown(reading["product_ml"]), shown(reading["water_ml"])
    ppm = shown(reading["ppm"], 5)
    return sentence("reading", parts=parts, product=product, water=water, ppm=ppm)


def say_mix(mixed: Data) -> str:
    """Return the whole answer of `plan_mix` in two sentences, in English."""
    product, water = shown(mixed["product_ml"]), shown(mixed["water_ml"])
    ppm, share = shown(mixed["ppm"], 5), shown(mixed["percent_by_volume"])
    return (
        f"{product} mL of product with {water} mL of water, bleach into water:"
        f" {shown(mixed['total_ml'])} mL of {ppm} ppm available chlorine by the label ({share} % by"
        f" volume). Old after {mixed['usable_hours']} hours."
    )


def say_in(mixed: Data, unit: str) -> list[str]:
    """Return the same in the person's own unit of volume, where that is no litre or millilitre."""
    if unit in ("ml", "l"):
        return []
    product, water = (quantity(mixed["in_units"][unit][one], unit) for one in ("product", "water"))
    return [f"That is {say(product)} of product with {say(water)} of water."]
