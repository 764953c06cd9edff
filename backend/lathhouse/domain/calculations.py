"""Calculations that the product does, each under the name and field names of its check values."""

from collections.abc import Callable
from typing import Any

from lathhouse.domain import chill, mixing_words
from lathhouse.domain.amounts import CannotCalculate, shown
from lathhouse.domain.cautions import cautions_about
from lathhouse.domain.dilution import DILUTION
from lathhouse.domain.instants import BadInstant
from lathhouse.domain.mixing import plan_mix, say_mix
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.watch_trial import NoSuchWatch, watch_level

Data = dict[str, Any]

HOURLY_MAX = 100_000
BLEACH = "bleach"
ARITHMETIC = "mass balance; percent and ppm as 1 to 10,000: WHO 2014, Annex G, Table G.1"
LIFE = "24 hours: Haldimand-Norfolk Health Unit; Kittitas County CS316270A, 2020, after CDC"
HYPOCHLORITE = "IUPAC standard atomic weights: NaOCl 74.44, Cl2 70.906 g/mol"
CHILL = (
    "bands are our own choice: no published one-number model serves stratified seed in general;"
    " one kind only: Steadman and Pritchard 2004"
)
SOURCES = {
    "solution_usable": LIFE,
    "solution_age": LIFE,
    "available_chlorine_from_hypochlorite": HYPOCHLORITE,
    "hypochlorite_from_available_chlorine": HYPOCHLORITE,
}
# How the fields of a result are said; the unit is in the name.
UNITS = {
    "_ml": " mL", "_percent": " %", "ppm": " ppm", "_us_fl_oz": " US fl oz",
    "percent_by_volume": " % by volume", "_l": " L", "_hours": " hours",
}  # fmt: skip


def watch(inputs: Data) -> Data:
    """Return what a watch says of a few events at an instant."""
    events, name, now = inputs.get("events"), inputs.get("watch"), inputs.get("now")
    if not isinstance(events, list) or not all(isinstance(event, dict) for event in events):
        raise CannotCalculate("events must be a list of {kind, at, data}.")
    try:
        found = watch_level(str(name), events, str(now))
    except (BadInstant, NoSuchWatch, KeyError, TypeError) as error:
        raise CannotCalculate(f"{error}") from error
    says = found["says"] or "Nothing to do."
    result = {"level": found["level"], "since": found["since"]}
    return answer(result, says, [], [])


def mixing_plan(inputs: Data) -> Data:
    """Return what to pour for a bucket, as the phone's own screen works it out."""
    mixed = plan_mix(inputs)
    warnings = [{**warning, "says": mixing_words.say(warning)} for warning in mixed["warnings"]]
    says = " ".join([say_mix(mixed), *(warning["says"] for warning in warnings)])
    result = {**mixed, "warnings": warnings}
    return answer(result, says, [BLEACH, "acid"], [ARITHMETIC, LIFE])


def dilution(name: str) -> Callable[[Data], Data]:
    """Return one of the dilutions as a calculation, with its cautions."""

    def calculate(inputs: Data) -> Data:
        result = DILUTION[name](inputs)
        return answer(result, say(result), [BLEACH], [SOURCES.get(name, ARITHMETIC)])

    return calculate


def chill_hours(inputs: Data) -> Data:
    """Return how many hourly temperatures lie in a band, both ends included."""
    hourly, band = hourly_of(inputs), band_of([inputs.get("low_C"), inputs.get("high_C")])
    hours = chill.hours_in(hourly, *band)
    return answer({"hours": hours}, f"{hours} hours in the band.", [], [CHILL])


def cold_band_three(inputs: Data) -> Data:
    """Return effective cold days in a narrow, a middle and a wide band."""
    hourly = hourly_of(inputs)
    given = inputs.get("bands_C")
    bands = given if isinstance(given, dict) else {}
    names = dict(zip(("low", "middle", "high"), chill.BANDS, strict=True))
    days = {
        name: chill.hours_in(hourly, *band_of(bands.get(name, list(usual)))) / 24
        for name, usual in names.items()
    }
    says = "{} to {} effective cold days, {} in the middle band.".format(
        *(shown(days[name], 3) for name in ("low", "high", "middle"))
    )
    return answer(days, says, [], [CHILL])


def f_to_c(inputs: Data) -> Data:
    """Return a temperature in °C: (F - 32) · 5/9."""
    given = inputs.get("t_F")
    if not is_number(given) or not -460 < float(str(given)) < 10_000:
        raise CannotCalculate("t_F must be a temperature in degrees Fahrenheit.", "t_F")
    celsius = (float(str(given)) - 32) * 5 / 9
    return answer({"t_C": celsius}, f"{shown(celsius)} °C.", [], ["(F - 32) · 5/9"])


def hourly_of(inputs: Data) -> list[float]:
    """Return the hourly temperatures that were given.

    Raises:
        CannotCalculate: none, too many, or one that is no temperature.
    """
    given = inputs.get("hourly_C")
    right = isinstance(given, list) and 0 < len(given) <= HOURLY_MAX
    if not right or not all(is_number(one) and -90 <= one <= 90 for one in given or []):
        raise CannotCalculate("hourly_C must be a list of temperatures from -90 to 90 °C.")
    return [float(one) for one in given or []]


def band_of(given: Any) -> tuple[float, float]:
    """Return the two ends of a band.

    Raises:
        CannotCalculate: it has none, or they are upside down.
    """
    whole = isinstance(given, list) and len(given) == 2 and all(map(is_number, given))
    if not whole or given[0] > given[1]:
        raise CannotCalculate("A band has a low and a high end in °C, the low one first.")
    return float(given[0]), float(given[1])


def say(result: Data) -> str:
    """Return a result's fields in words."""
    return f"{', '.join(f'{_words(name)} {_value(name, one)}' for name, one in result.items())}."


def _words(name: str) -> str:
    for unit in sorted(UNITS, key=len, reverse=True):
        if unit.startswith("_") and name.endswith(unit):
            name = name.removesuffix(unit)
    return name.replace("_", " ")


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool) or not is_number(value):
        return "yes" if value is True else "no" if value is False else str(value)
    endings = [unit for unit in UNITS if name.endswith(unit)]
    return f"{shown(value)}{UNITS[max(endings, key=len)] if endings else ''}"


def answer(result: Data, says: str, hazards: list[str], sources: list[str]) -> Data:
    """Return a calculation's answer, with the cautions about its hazards."""
    cautions = [caution["says"] for caution in cautions_about(*hazards)] if hazards else []
    return {"result": result, "says": says, "cautions": cautions, "sources": sources}


CALCULATIONS: dict[str, Callable[[Data], Data]] = {
    "watch": watch,
    "mixing_plan": mixing_plan,
    **{name: dilution(name) for name in DILUTION},
    "chill_hours": chill_hours,
    "cold_band_three": cold_band_three,
    "f_to_c": f_to_c,
}
