"""Volumes in the units that stand on buckets and jugs, by exact factors."""

from typing import Any

from lathhouse.domain.amounts import CannotMix, amount, shown

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
WORDS: dict[str, str] = {
    "ml": "mL",
    "l": "L",
    "us_fl_oz": "US fl oz",
    "us_cup": "US cups",
    "us_gal": "US gallons",
    "metric_cup": "metric cups",
    "imp_gal": "imperial gallons",
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


def volume_of(inputs: Data, words: str) -> float:
    """Return the millilitres of the inputs' `volume` in its `volume_unit`.

    Raises:
        CannotMix: no number, no such unit, less than a millilitre or more than a cubic metre.
    """
    unit = inputs.get("volume_unit")
    factor = _factor(unit)
    high = VOLUME_ML_MAX / factor
    value = amount({"volume": inputs.get("volume")}, "volume", words, high, f" {WORDS[str(unit)]}")
    volume_ml = value * factor
    if volume_ml < VOLUME_ML_MIN:
        least = f"{shown(VOLUME_ML_MIN / factor)} {WORDS[str(unit)]}"
        raise CannotMix("volume", f"{words} is too little to measure; from {least} on it would do.")
    return volume_ml


def in_all_units(amounts_ml: dict[str, float]) -> dict[str, dict[str, float]]:
    """Return named amounts of millilitres in each unit."""
    return {
        unit: {name: value / factor for name, value in amounts_ml.items()}
        for unit, factor in ML_PER.items()
    }


def _factor(unit: Any) -> float:
    if not isinstance(unit, str) or unit not in ML_PER:
        known = ", ".join(ML_PER)
        raise CannotMix("volume_unit", f"The volume's unit must be one of {known}.")
    return ML_PER[unit]
