"""What a mixing is warned of, the gravest first, each with where its limit comes from.

Grades: read in the source named, derived by arithmetic from it, practice of the trade without a
source, ours: our own choice of default.
"""

from typing import Any

from lathhouse.domain.amounts import shown
from lathhouse.domain.mixing_words import sentence

Data = dict[str, Any]

# Above this the program asks why. Our own choice: about twice the dips that were read.
ASKS_WHY_PPM = 10_000.0
# And above this in one go: a unit is slipped in more easily than a tank is filled. Ours.
ASKS_WHY_ML = 200_000.0
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
    """Return the warnings: `key`, `values` (for its gaps), `level`, `source` and `grade`.

    `percent` is the label's available chlorine, `unit` what the label said, `poured` millilitres.
    """
    found = [
        *_of_strength(ppm, poured["water_ml"]),
        *_of_label(percent, unit),
        *_of_age(age_days),
        *_of_volume(poured),
    ]
    return sorted(found, key=lambda warning: warning["level"] != "warn")


def _warning(key: str, level: str, whence: tuple[str, str], **values: str) -> Data:
    return {**sentence(key, **values), "level": level, "source": whence[0], "grade": whence[1]}


def _of_strength(ppm: float, water_ml: float) -> list[Data]:
    found = []
    told = {"ppm": shown(ppm, 5), "low": shown(USUAL_PPM_MIN), "high": shown(ASKS_WHY_PPM)}
    if water_ml <= 0:
        found.append(_warning("undiluted", "warn", PRACTICE))
    if ppm > ASKS_WHY_PPM:
        found.append(_warning("above_usual", "warn", OURS, **told))
    if ppm < USUAL_PPM_MIN:
        found.append(_warning("below_usual", "warn", SEED_DIPS, **told))
    return found


def _of_label(percent: float, unit: str) -> list[Data]:
    found = []
    if percent >= INDUSTRIAL_PERCENT:
        found.append(_warning("label_industrial", "warn", PRACTICE))
    if percent < WEAK_LABEL_PERCENT:
        found.append(_warning("label_weak", "warn", OURS))
    if unit == "percent_sodium_hypochlorite_w_w":
        found.append(_warning("weight_percent", "note", OURS))
    return found


def _of_age(age_days: float | None) -> list[Data]:
    if age_days is None:
        return [_warning("bottle_age_unknown", "note", PRACTICE)]
    if age_days < BOTTLE_OLD_DAYS:
        return []
    return [_warning("bottle_old", "warn", OURS, days=shown(age_days))]


def _of_volume(poured: dict[str, float]) -> list[Data]:
    found = []
    if poured["product_ml"] < SMALL_ML:
        product = shown(poured["product_ml"])
        found.append(_warning("small_measure", "warn", OURS, product=product))
    if poured["total_ml"] > LARGE_ML:
        litres = shown(poured["total_ml"] / 1000)
        found.append(_warning("large_volume", "warn", OURS, litres=litres))
    return found
