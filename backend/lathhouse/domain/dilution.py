"""Dilution: strengths, parts and volumes, under the names and field names of the check values.

Each calculation takes its inputs as one object and returns its results as one, with the unit in
every name. Percent run from 0 to 100. C1 is the product's strength, C2 the one wanted, V1 the
product, Vw the water, V2 the finished volume. Each raises `CannotMix` for what cannot be.

Percent and ppm (mg/L) are turned into each other as 1 to 10,000, as WHO (2014, Annex G, Table G.1)
does; the density of strong bleach is left out of account.
"""

from collections.abc import Callable
from typing import Any

from lathhouse.domain.amounts import CannotMix, amount, quantity, shown
from lathhouse.domain.instants import HOUR_MS, BadInstant, parse_instant
from lathhouse.domain.mixing_words import Sentence, sentence
from lathhouse.domain.volumes import VOLUME_ML_MAX

Data = dict[str, Any]

PPM_PER_PERCENT = 10_000.0
# IUPAC standard atomic weights: NaOCl 74.44, Cl2 70.906 g/mol. Available chlorine counts two
# chlorine atoms for each hypochlorite, which is what it oxidises as.
NAOCL_G_PER_MOL = 74.44
CHLORINE_G_PER_MOL = 70.906
# Parts and volumes without a unit: anything a person would type, and no more.
PARTS_MAX = 1e9
# Tank-sized water treatment is a use of its own (Kansas health department, 10,000 gallons).
WATER_US_GAL_MAX = 100_000.0
US_FL_OZ_PER_GAL = 128.0
HOURS_MAX = 1e6

PRODUCT, WANTED = "product_strength_percent", "wanted_strength_percent"


def dilution_make_up_to(inputs: Data) -> Data:
    """Return product and water for a finished volume: V1 = V2·C2/C1, Vw = V2 - V1."""
    product, wanted = _strengths(inputs)
    final = amount(inputs, "final_volume_ml", "finished_volume", VOLUME_ML_MAX, "ml")
    return make_up_to(product, wanted, final)


def dilution_add_to(inputs: Data) -> Data:
    """Return the product to add to water already drawn: V1 = Vw·C2/(C1 - C2), total = Vw + V1."""
    product, wanted = _strengths(inputs)
    water = amount(inputs, "water_volume_ml", "water", VOLUME_ML_MAX, "ml")
    if wanted == product:
        raise CannotMix(WANTED, never_reached(quantity(product, "percent")))
    mixed = add_to(product, wanted, water)
    if mixed["product_ml"] > VOLUME_ML_MAX:
        raise CannotMix(WANTED, too_much_product(mixed["product_ml"]))
    return mixed


def make_up_to(product: float, wanted: float, final_ml: float) -> Data:
    """Return product and water in millilitres; strengths in any one unit, wanted <= product."""
    product_ml = final_ml * wanted / product
    return {"product_ml": product_ml, "water_ml": final_ml - product_ml}


def add_to(product: float, wanted: float, water_ml: float) -> Data:
    """Return product and total in millilitres; strengths in any one unit, wanted < product."""
    product_ml = water_ml * wanted / (product - wanted)
    return {"product_ml": product_ml, "total_ml": water_ml + product_ml}


def dilution_parts_water(inputs: Data) -> Data:
    """Return parts of water to one of product: C1/C2 - 1 (CDC 2015, Appendix E, Example 3)."""
    product, wanted = _strengths(inputs)
    if wanted == 0:
        raise CannotMix(WANTED, sentence("no_parts"))
    return {"parts_water_per_part_product": product / wanted - 1}


def dilution_strength(inputs: Data) -> Data:
    """Return the strength of product poured together with water: C2 = C1·V1/(V1 + Vw)."""
    strength = amount(inputs, PRODUCT, "product_strength", 100, "percent")
    product = amount(inputs, "product_volume", "product_volume", PARTS_MAX, nought=True)
    water = amount(inputs, "water_volume", "water_volume", PARTS_MAX, nought=True)
    if product + water == 0:
        raise CannotMix("product_volume", sentence("nothing_mixed"))
    return _mixture(strength, product, product + water)


def dilution_strength_make_up_to(inputs: Data) -> Data:
    """Return the strength of product made up with water to a volume: C2 = C1·V1/V2."""
    strength = amount(inputs, PRODUCT, "product_strength", 100, "percent")
    product = amount(inputs, "product_volume", "product_volume", PARTS_MAX, nought=True)
    final = amount(inputs, "final_volume", "finished_volume", PARTS_MAX)
    if product > final:
        raise CannotMix("product_volume", sentence("more_than_all", final=shown(final)))
    return _mixture(strength, product, final)


def ppm_from_percent(inputs: Data) -> Data:
    """Return ppm (mg/L) of a strength in percent (WHO 2014, Annex G, Table G.1)."""
    percent = amount(inputs, "strength_percent", "strength", 100, "percent", nought=True)
    return {"ppm": percent * PPM_PER_PERCENT}


def powder_grams_per_litre(inputs: Data) -> Data:
    """Return grams of powder for a litre: 1000·wanted %/available chlorine % (CDC, Appendix E)."""
    wanted = amount(inputs, WANTED, "wanted_strength", 100, "percent")
    field = "powder_available_chlorine_percent"
    powder = amount(inputs, field, "powder", 100, "percent")
    _not_stronger(wanted, powder)
    return {"grams_per_litre": 1000 * wanted / powder}


def product_us_fl_oz_for_ppm(inputs: Data) -> Data:
    """Return US fluid ounces of product for water in US gallons: 128·gal·ppm/(10,000·C1).

    The Kansas health department's examples leave the product's own volume out of account; so does
    this, and the result is a little weaker than wanted where much product is needed.
    """
    product = amount(inputs, PRODUCT, "product_strength", 100, "percent")
    ppm = amount(inputs, "wanted_ppm", "wanted_strength", 1e6, "ppm", nought=True)
    water = amount(inputs, "water_us_gal", "water", WATER_US_GAL_MAX, "us_gal")
    product_ppm = product * PPM_PER_PERCENT
    if ppm > product_ppm:
        raise CannotMix("wanted_ppm", too_strong(quantity(product_ppm, "ppm", 5)))
    return {"product_us_fl_oz": US_FL_OZ_PER_GAL * water * ppm / product_ppm}


def available_chlorine_from_hypochlorite(inputs: Data) -> Data:
    """Return percent available chlorine of percent sodium hypochlorite, both by weight (IUPAC)."""
    field = "sodium_hypochlorite_percent"
    percent = amount(inputs, field, "hypochlorite", 100, "percent", nought=True)
    return {"available_chlorine_percent": available_chlorine(percent)}


def hypochlorite_from_available_chlorine(inputs: Data) -> Data:
    """Return percent sodium hypochlorite of percent available chlorine, both by weight (IUPAC)."""
    field, most = "available_chlorine_percent", available_chlorine(100)
    percent = amount(inputs, field, "available", most, "percent", nought=True)
    return {"sodium_hypochlorite_percent": percent * NAOCL_G_PER_MOL / CHLORINE_G_PER_MOL}


def available_chlorine(sodium_hypochlorite_percent: float) -> float:
    """Return the available chlorine in percent."""
    return sodium_hypochlorite_percent * CHLORINE_G_PER_MOL / NAOCL_G_PER_MOL


def solution_usable(inputs: Data) -> Data:
    """Return whether a solution is still inside its life. At the end of its life it is old.

    A day: Haldimand-Norfolk Health Unit (mix daily); Kittitas County note CS316270A, 2020, after
    CDC (effective up to 24 hours).
    """
    age = amount(inputs, "hours_since_mixed", "hours_since", HOURS_MAX, nought=True)
    life = amount(inputs, "life_hours", "life", HOURS_MAX)
    return {"usable": age < life}


def solution_age(inputs: Data) -> Data:
    """Return whether a solution mixed at one instant is usable at another, as `solution_usable`."""
    ages = {name: _instant(inputs, name) for name in ("mixed_at", "now")}
    hours = (ages["now"] - ages["mixed_at"]) / HOUR_MS
    if hours < 0:
        raise CannotMix("mixed_at", sentence("mixed_after_now"))
    life = amount(inputs, "life_hours", "life", HOURS_MAX)
    return {"usable": hours < life}


def too_strong(most: Sentence) -> Sentence:
    """Return why a strength above the product's is refused, and what would be possible."""
    return sentence("too_strong", most=most)


def never_reached(most: Sentence) -> Sentence:
    """Return why adding to water cannot keep the product's own strength."""
    return sentence("never_reached", most=most)


def too_much_product(product_ml: float) -> Sentence:
    """Return why an amount of product beyond a cubic metre is refused."""
    return sentence("too_much_product", litres=shown(product_ml / 1000))


def _strengths(inputs: Data) -> tuple[float, float]:
    product = amount(inputs, PRODUCT, "product_strength", 100, "percent")
    wanted = amount(inputs, WANTED, "wanted_strength", 100, "percent", nought=True)
    _not_stronger(wanted, product)
    return product, wanted


def _not_stronger(wanted: float, product: float) -> None:
    if wanted > product:
        raise CannotMix(WANTED, too_strong(quantity(product, "percent")))


def _mixture(strength_percent: float, product: float, total: float) -> Data:
    percent = strength_percent * product / total
    by_volume = 100 * product / total
    ppm = percent * PPM_PER_PERCENT
    return {"strength_percent": percent, "ppm": ppm, "percent_by_volume": by_volume}


def _instant(inputs: Data, field: str) -> int:
    try:
        return parse_instant(inputs.get(field))
    except BadInstant as error:
        raise CannotMix(field, sentence("no_instant", field=field)) from error


DILUTION: dict[str, Callable[[Data], Data]] = {
    calculation.__name__: calculation
    for calculation in (
        dilution_make_up_to,
        dilution_add_to,
        dilution_parts_water,
        dilution_strength,
        dilution_strength_make_up_to,
        ppm_from_percent,
        powder_grams_per_litre,
        product_us_fl_oz_for_ppm,
        available_chlorine_from_hypochlorite,
        hypochlorite_from_available_chlorine,
        solution_usable,
        solution_age,
    )
}
