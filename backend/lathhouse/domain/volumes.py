"""Volumes in the units that stand on buckets and jugs, by exact factors."""

from typing import Any

from lathhouse.domain.amounts import CannotMix, amount, quantity
from lathhouse.domain.mixing_words import sentence

Data = dict[str, Any]

ML_PER_US_GAL = 3785.411784
# Millilitres in one of each. US: 231 cubic inches to the gallon, 128 fluid ounces, 8 to the cup
# (NIST Handbook 44, Appendix C, General Tables of Units of Measurement; the inch is 25.4 mm).
# Imperial gallon: 4.54609 cubic decimetres (Weights and Measures Act 1985, Schedule 1).
# Metric cup: common practice, no source.
ML_PER: dict[str, float] = {
    "ml": 1.0,
    "l": 1000.0,
    "us_fl_oz": ML_PER_US_GAL / 128,
    "us_cup": ML_PER_US_GAL / 16,
    "us_gal": ML_PER_US_GAL,
    "metric_cup": 250.0,
    "imp_gal": 4546.09,
}
# A cubic metre. Our own choice: nobody mixes a seed dip by the tonne, but a finger slips.
VOLUME_ML_MAX = 1_000_000.0
VOLUME_ML_MIN = 1.0


def to_ml(volume: float, unit: str) -> float:
    """Return a volume in millilitres.

    Raises:
        CannotMix: no such unit.
    """
    return volume * _factor(unit)


def from_ml(volume_ml: float, unit: str) -> float:
    """Return a volume given in millilitres in another unit.

    Raises:
        CannotMix: no such unit.
    """
    return volume_ml / _factor(unit)


def volume_of(inputs: Data, what: str) -> float:
    """Return the millilitres of the inputs' `volume` in its `volume_unit`.

    Raises:
        CannotMix: no number, no such unit, less than a millilitre or more than a cubic metre.
    """
    factor = _factor(inputs.get("volume_unit"))
    unit = str(inputs["volume_unit"])
    value = amount(inputs, "volume", what, VOLUME_ML_MAX / factor, unit)
    volume_ml = value * factor
    if volume_ml < VOLUME_ML_MIN:
        least = quantity(VOLUME_ML_MIN / factor, unit)
        said = sentence("too_little", what=sentence(f"what_{what}"), least=least)
        raise CannotMix("volume", said)
    return volume_ml


def in_all_units(amounts_ml: dict[str, float]) -> dict[str, dict[str, float]]:
    """Return named amounts of millilitres in each unit."""
    return {
        unit: {name: value / factor for name, value in amounts_ml.items()}
        for unit, factor in ML_PER.items()
    }


def _factor(unit: Any) -> float:
    if not isinstance(unit, str) or unit not in ML_PER:
        raise CannotMix("volume_unit", sentence("volume_unit", known=", ".join(ML_PER)))
    return ML_PER[unit]
