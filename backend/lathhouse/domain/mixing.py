"""Mixing a bleach solution for seed: from the bottle's label to millilitres, steps and warnings.

A bottle whose strength cannot be read is refused, and so is a bare "1:N", which is read in two
ways. The answer is a ceiling: bottles weaken with heat, light and age.
"""

import re
from typing import Any, NamedTuple

from lathhouse.domain.amounts import CannotMix, amount, shown
from lathhouse.domain.bottle import Product, bottle_age_days, product_of
from lathhouse.domain.dilution import (
    PPM_PER_PERCENT,
    add_to,
    make_up_to,
    never_reached,
    too_much_product,
    too_strong,
)
from lathhouse.domain.mixing_warnings import ASKS_WHY_PPM, warnings_for
from lathhouse.domain.volumes import VOLUME_ML_MAX, in_all_units, volume_of

Data = dict[str, Any]

# A day: Haldimand-Norfolk Health Unit (mix daily); Kittitas County note CS316270A, 2020, after CDC.
USABLE_HOURS = 24
METHODS = ("make_up_to", "add_to")
PARTS_MAX = 1_000_000.0
RATIO = re.compile(r" *(\d{1,7}(?:\.\d{1,3})?) *[:/] *(\d{1,7}(?:\.\d{1,3})?) *", re.ASCII)


class Share(NamedTuple):
    """How much of the mixture is product: so many parts of so many; its ppm; the most, in words."""

    parts: float
    of: float
    ppm: float
    most: str


WANTED_UNITS: dict[str, tuple[float, str]] = {
    "percent_by_volume": (100.0, " % by volume"),
    "ppm": (1_000_000.0, " ppm"),
    "percent_available_chlorine": (100.0, " % available chlorine"),
    "part_in_n": (PARTS_MAX, " parts in all"),
    "part_to_n": (PARTS_MAX, " parts of water"),
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
        says = "Say whether the volume is the finished one (make_up_to) or water drawn (add_to)."
        raise CannotMix("method", says)
    words = "The finished volume" if method == "make_up_to" else "The water"
    volume_ml = volume_of(inputs, words)
    _refuse_bare_ratio(inputs, product)
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
        "asks_why": share.ppm > ASKS_WHY_PPM,
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
        raise CannotMix("wanted_unit", f"What is wanted must be one of {', '.join(WANTED_UNITS)}.")
    high, written = WANTED_UNITS[unit]
    wanted = amount(inputs, "wanted", "What is wanted", high, written)
    if unit == "ppm":
        return Share(wanted, product.ppm, wanted, f"{shown(product.ppm, 5)} ppm")
    if unit == "percent_available_chlorine":
        most = f"{shown(product.percent)} % available chlorine"
        return Share(wanted, product.percent, wanted * PPM_PER_PERCENT, most)
    if unit == "percent_by_volume":
        return Share(wanted, 100.0, product.ppm * wanted / 100, "100 % by volume")
    parts = wanted if unit == "part_in_n" else wanted + 1
    if parts < 1:
        says = "1 part in fewer than 1 cannot be: count the product among the parts, 2 or more."
        raise CannotMix("wanted", says)
    return Share(1.0, parts, product.ppm / parts, "1 part in 1")


def _refuse_bare_ratio(inputs: Data, product: Product) -> None:
    """Refuse "1:10", which is 1 part in 10 on one page and 1 to 10 on another, with both answers.

    Raises:
        CannotMix: the wanted strength is a bare ratio.
    """
    parts = _ratio(inputs)
    if parts is None:
        return
    readings = [_reading(inputs, product, unit, parts) for unit in ("part_in_n", "part_to_n")]
    said = [_say_reading(reading) for reading in readings]
    says = f"1:{shown(parts)} is read in two ways. {said[0]} {said[1]} Say which is meant."
    raise CannotMix("wanted", says, readings)


def _ratio(inputs: Data) -> float | None:
    """Return N of a bare 1:N, however it was written, or None where none was given."""
    wanted = inputs.get("wanted")
    if isinstance(wanted, str):
        match = RATIO.fullmatch(wanted)
        one, many = (float(part) for part in match.groups()) if match else (0.0, 0.0)
        if one == 0 or many == 0:
            raise CannotMix("wanted", "What is wanted must be a number with its unit.")
        return many / one
    if inputs.get("wanted_unit") != "ratio":
        return None
    return amount(inputs, "wanted", "What is wanted", PARTS_MAX, " parts")


def _reading(inputs: Data, product: Product, unit: str, parts: float) -> Data:
    reading: Data = {"wanted": parts, "wanted_unit": unit}
    try:
        mixed = _mix({**inputs, **reading}, product, None, volume_of(inputs, "The volume"))
    except CannotMix as refused:
        return {**reading, "refused": refused.says}
    kept = ("product_ml", "water_ml", "total_ml", "ppm", "percent_by_volume")
    return {**reading, **{name: mixed[name] for name in kept}}


def _say_reading(reading: Data) -> str:
    parts = shown(reading["wanted"])
    words = f"1 part in {parts} parts in all"
    if reading["wanted_unit"] == "part_to_n":
        words = f"1 part to {parts} parts of water"
    if "refused" in reading:
        return f"{words}: not possible."
    return f"{words}: {say_pour(reading)}, {shown(reading['ppm'], 5)} ppm."


def say_pour(mixed: Data) -> str:
    """Return product and water in words, for people who pour."""
    product, water = shown(mixed["product_ml"]), shown(mixed["water_ml"])
    return f"{product} mL of product with {water} mL of water"


def say_mix(mixed: Data) -> str:
    """Return the whole answer of `plan_mix` in one or two sentences."""
    ppm, share = shown(mixed["ppm"], 5), shown(mixed["percent_by_volume"])
    total = shown(mixed["total_ml"])
    return (
        f"{say_pour(mixed)}, bleach into water: {total} mL of {ppm} ppm available chlorine by"
        f" the label ({share} % by volume). Old after {mixed['usable_hours']} hours."
    )
