"""The bottle: what its label says of its strength, and how old it is."""

from typing import Any, NamedTuple

from lathhouse.domain.amounts import CannotMix, amount
from lathhouse.domain.dilution import PPM_PER_PERCENT, available_chlorine
from lathhouse.domain.mixing_words import sentence

Data = dict[str, Any]

# Beyond any date that can be meant: the label says when it was filled, not this field.
BOTTLE_AGE_DAYS_MAX = 7300.0


class Product(NamedTuple):
    """What the label says: percent available chlorine, and the same in ppm."""

    percent: float
    ppm: float
    unit: str


# Unit -> its largest value, and how many of it make 1 % available chlorine.
PRODUCT_UNITS: dict[str, tuple[float, float]] = {
    "percent_sodium_hypochlorite_w_w": (100.0, 1.0),
    "percent_available_chlorine": (100.0, 1.0),
    "g_per_l_available_chlorine": (1000.0, 10.0),
    "ppm_available_chlorine": (1_000_000.0, PPM_PER_PERCENT),
}


def product_of(inputs: Data) -> Product:
    """Return what the label says, from `product_strength` and `product_unit`.

    Raises:
        CannotMix: the strength is not known (with what to do instead) or cannot be.
    """
    given, unit = inputs.get("product_strength"), inputs.get("product_unit")
    if given in (None, "", "unknown") or unit in (None, "", "unknown"):
        raise CannotMix("product_strength", sentence("label_unknown"))
    if not isinstance(unit, str) or unit not in PRODUCT_UNITS:
        raise CannotMix("product_unit", sentence("label_unit", known=", ".join(PRODUCT_UNITS)))
    high, per_percent = PRODUCT_UNITS[unit]
    value = amount(inputs, "product_strength", "label_strength", high, unit)
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
    most = BOTTLE_AGE_DAYS_MAX
    return amount(inputs, "bottle_age_days", "bottle_age", most, "days", nought=True)
