"""What a mixing is warned of, the gravest first, each with where its limit comes from.

Grades: read in the source named, derived by arithmetic from it, practice of the trade without a
source, ours: our own choice of default.
"""

from typing import Any

from lathhouse.domain.amounts import shown

Data = dict[str, Any]

# Above this the program asks why. Our own choice: about twice the dips that were read.
ASKS_WHY_PPM = 10_000.0
# 10 % by volume (ECHO Community forum, Bleaching seeds) of a 4 % bottle; 1 part to 10 of water of a
# 5.25 % product (seed trade page, about 20 minutes) is 4,773 ppm: strengths by arithmetic.
USUAL_PPM_MIN = 4_000.0
# 10 to 15 % and above is sold for trade use; a drum of 12.5 % is common. Practice, no source.
INDUSTRIAL_PERCENT = 10.0
WEAK_LABEL_PERCENT = 1.0
# Bleach weakens with heat, light and age; no source read says by how much. Our own choice.
BOTTLE_OLD_DAYS = 180.0
SMALL_ML = 5.0
LARGE_ML = 100_000.0

OURS = ("our own choice of limit", "ours")
PRACTICE = ("common practice, no source", "practice")
SEED_DIPS = (
    "ECHO Community forum, Bleaching seeds (10 % by volume); seed trade page on sterilizing seeds"
    " (1 part to 10 of water); strengths by arithmetic",
    "derived",
)


def warnings_for(
    percent: float, unit: str, age_days: float | None, ppm: float, poured: dict[str, float]
) -> list[Data]:
    """Return the warnings: `key`, `level` (warn or note), `says`, `source`, `grade`.

    `percent` is the label's available chlorine, `unit` what the label said, `poured` millilitres.
    """
    found = [
        *_of_strength(ppm, poured["water_ml"]),
        *_of_label(percent, unit),
        *_of_age(age_days),
        *_of_volume(poured),
    ]
    return sorted(found, key=lambda warning: warning["level"] != "warn")


def _warning(key: str, level: str, says: str, whence: tuple[str, str]) -> Data:
    return {"key": key, "level": level, "says": says, "source": whence[0], "grade": whence[1]}


def _of_strength(ppm: float, water_ml: float) -> list[Data]:
    found = []
    if water_ml <= 0:
        says = "This is the product itself, with no water in it."
        found.append(_warning("undiluted", "warn", says, PRACTICE))
    if ppm > ASKS_WHY_PPM:
        says = (
            f"{shown(ppm, 5)} ppm is above the usual strengths for seed ({shown(USUAL_PPM_MIN)} to"
            f" {shown(ASKS_WHY_PPM)} ppm). Say why, and leave a part of the lot undipped."
        )
        found.append(_warning("above_usual", "warn", says, OURS))
    if ppm < USUAL_PPM_MIN:
        says = (
            f"{shown(ppm, 5)} ppm is below the usual strengths for seed ({shown(USUAL_PPM_MIN)} to"
            f" {shown(ASKS_WHY_PPM)} ppm) and may not do its work."
        )
        found.append(_warning("below_usual", "warn", says, SEED_DIPS))
    return found


def _of_label(percent: float, unit: str) -> list[Data]:
    found = []
    if percent >= INDUSTRIAL_PERCENT:
        says = (
            "This is trade strength, 10 % and more: it burns worse than household bleach. Check"
            " that the label does not say g/L."
        )
        found.append(_warning("label_industrial", "warn", says, PRACTICE))
    if percent < WEAK_LABEL_PERCENT:
        says = "Few bottles are this weak: check whether the label says %, g/L or ppm."
        found.append(_warning("label_weak", "warn", says, OURS))
    if unit == "percent_sodium_hypochlorite_w_w":
        says = (
            "Percent by weight is reckoned as if it were by volume; how heavy strong bleach is, is"
            " left out of account."
        )
        found.append(_warning("weight_percent", "note", says, OURS))
    return found


def _of_age(age_days: float | None) -> list[Data]:
    ceiling = "bleach weakens with heat, light and age, so take the result as a ceiling"
    if age_days is None:
        says = f"How old the bottle is, was not said: {ceiling}."
        return [_warning("bottle_age_unknown", "note", says, PRACTICE)]
    if age_days < BOTTLE_OLD_DAYS:
        return []
    says = (
        f"The bottle is {shown(age_days)} days old: {ceiling}. Measure it with a test strip, or"
        " take a fresh bottle."
    )
    return [_warning("bottle_old", "warn", says, OURS)]


def _of_volume(poured: dict[str, float]) -> list[Data]:
    found = []
    if poured["product_ml"] < SMALL_ML:
        says = (
            f"{shown(poured['product_ml'])} mL of product is hard to measure: mix a larger volume,"
            " or use a syringe kept for this alone."
        )
        found.append(_warning("small_measure", "warn", says, OURS))
    if poured["total_ml"] > LARGE_ML:
        says = f"{shown(poured['total_ml'] / 1000)} L is much for seed: check the unit."
        found.append(_warning("large_volume", "warn", says, OURS))
    return found
