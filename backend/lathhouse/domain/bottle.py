"""The bottle: what its label says of its strength, and how old it is."""

from typing import Any, NamedTuple

from lathhouse.domain.amounts import CannotMix, amount
from lathhouse.domain.dilution import PPM_PER_PERCENT, available_chlorine

Data = dict[str, Any]

# Beyond any date that can be meant: the label says when it was filled, not this field.
BOTTLE_AGE_DAYS_MAX = 7300.0
LABEL_UNKNOWN = (
    "Without the strength on its label a bottle is not mixed from, and the program does not guess."
    " Look on the front and back of the label for a number with % or g/L; or measure what is in it"
    " with a chlorine test strip and give ppm; or take another bottle, with a label."
)


class Product(NamedTuple):
    """What the label says: percent available chlorine, and the same in ppm."""

    percent: float
    ppm: float
    unit: str


# Unit -> its largest value, how it is written, and how many of it make 1 % available chlorine.
PRODUCT_UNITS: dict[str, tuple[float, str, float]] = {
    "percent_sodium_hypochlorite_w_w": (100.0, " % sodium hypochlorite", 1.0),
    "percent_available_chlorine": (100.0, " % available chlorine", 1.0),
    "g_per_l_available_chlorine": (1000.0, " g/L available chlorine", 10.0),
    "ppm_available_chlorine": (1_000_000.0, " ppm available chlorine", PPM_PER_PERCENT),
}


def product_of(inputs: Data) -> Product:
    """Return what the label says, from `product_strength` and `product_unit`.

    Raises:
        CannotMix: the strength is not known (with what to do instead) or cannot be.
    """
    given, unit = inputs.get("product_strength"), inputs.get("product_unit")
    if given in (None, "", "unknown") or unit in (None, "", "unknown"):
        raise CannotMix("product_strength", LABEL_UNKNOWN)
    if not isinstance(unit, str) or unit not in PRODUCT_UNITS:
        known = ", ".join(PRODUCT_UNITS)
        raise CannotMix("product_unit", f"The label's unit must be one of {known}.")
    high, written, per_percent = PRODUCT_UNITS[unit]
    value = amount(inputs, "product_strength", "The label's strength", high, written)
    percent = value / per_percent
    if unit == "percent_sodium_hypochlorite_w_w":
        percent = available_chlorine(value)
    return Product(percent, percent * PPM_PER_PERCENT, unit)


def bottle_age_days(inputs: Data) -> float | None:
    """Return the bottle's age in days, or None where it was not said.

    Raises:
        CannotMix: it is no number of days.
    """
    if inputs.get("bottle_age_days") is None:
        return None
    words = "The bottle's age"
    return amount(inputs, "bottle_age_days", words, BOTTLE_AGE_DAYS_MAX, " days", nought=True)
