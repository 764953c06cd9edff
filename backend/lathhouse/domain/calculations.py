"""Calculations that the product does, each under the name and field names of its check values."""

from collections.abc import Callable
from typing import Any

from lathhouse.domain import mixing_words
from lathhouse.domain.amounts import CannotCalculate, shown
from lathhouse.domain.cautions import cautions_about
from lathhouse.domain.chamber_trial import chamber_band
from lathhouse.domain.climate import CLIMATE, CLIMATE_SOURCES
from lathhouse.domain.dilution import DILUTION
from lathhouse.domain.frost_trial import frost_tonight
from lathhouse.domain.instants import BadInstant
from lathhouse.domain.job_sums import JOB_SOURCES, JOB_SUMS
from lathhouse.domain.mixing import plan_mix, say_in, say_mix
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.season_calculations import SEASON_CALCULATIONS
from lathhouse.domain.temperatures import TEMPERATURES
from lathhouse.domain.watch_trial import NoSuchWatch, watch_level

Data = dict[str, Any]

BLEACH = "bleach"
ARITHMETIC = "mass balance; percent and ppm as 1 to 10,000: WHO 2014, Annex G, Table G.1"
LIFE = "24 hours: Haldimand-Norfolk Health Unit; Kittitas County CS316270A, 2020, after CDC"
HYPOCHLORITE = "IUPAC standard atomic weights: NaOCl 74.44, Cl2 70.906 g/mol"
CHILL = "bands are our own choice: no published one-number model serves stratified seed in general"
FROST = "advisories at 33 to 36 °F at thermometer height: Ritchison; 3 °C and times ours"
CHAMBER = "1 to 5 °C: Chong and others, Handbook of Plant and Crop Physiology, table 3; times ours"
STEADMAN = (
    "Steadman and Pritchard 2004: horse chestnut alone; from 2 to 16 °C works, colder is faster"
)
EVENTS_WANTED = "events must be a list of {kind, at, data}."
WARM = (
    "Above 10 °C on {n} of the days. No published rule says what that costs seed in general; for"
    " horse chestnut 2 to 16 °C still counted (Steadman and Pritchard 2004)."
)
NOT_READ = "nobody read how cold it was, so no range can be given."
SOURCES = {
    "solution_usable": LIFE,
    "solution_age": LIFE,
    "available_chlorine_from_hypochlorite": HYPOCHLORITE,
    "hypochlorite_from_available_chlorine": HYPOCHLORITE,
}
TEMPERATURE_SOURCES = {
    "chill_hours": ["Weinberger 1950 (0 to 7.2 °C, made for buds); both ends included", CHILL],
    "cold_band_three": [CHILL],
    "chill_range": [CHILL, STEADMAN],
    "f_to_c": ["(F - 32) · 5/9"],
}
NIGHTS = ("frost_trend", "frost_cross", "frost_regression_coeffs", "frost_class", "cover_off")
# How the fields of a result are said; the unit is in the name.
UNITS = {
    "_ml": " mL", "_percent": " %", "ppm": " ppm", "_us_fl_oz": " US fl oz",
    "percent_by_volume": " % by volume", "_l": " L", "_hours": " hours",
    "_c": " °C", "_C": " °C", "_f": " °F",
}  # fmt: skip


def watch(inputs: Data) -> Data:
    """Return what a watch says of a few events at an instant."""
    events, name, now = inputs.get("events"), inputs.get("watch"), inputs.get("now")
    if not isinstance(events, list) or not all(isinstance(event, dict) for event in events):
        raise CannotCalculate("events", sentence("as_it_is", words=EVENTS_WANTED))
    try:
        found = watch_level(str(name), events, str(now))
    except (BadInstant, NoSuchWatch, KeyError, TypeError) as error:
        raise CannotCalculate(None, sentence("as_it_is", words=f"{error}")) from error
    says = found["says"] or "Nothing to do."
    result = {"level": found["level"], "since": found["since"]}
    return answer(result, says, [], [])


def chamber(inputs: Data) -> Data:
    """Return what a chamber's watch says of a few readings."""
    result = chamber_band(inputs)
    says = f"Out of its band: {result['level']}." if result["level"] else "Nothing to do."
    return answer(result, says, [], [CHAMBER])


def frost(inputs: Data) -> Data:
    """Return what the frost watch says of one forecast at one hour."""
    result = frost_tonight(inputs)
    says = f"Frost tonight: {result['level']}." if result["level"] else "Nothing to do."
    return answer(result, says, ["frost"], [FROST])


def mixing_plan(inputs: Data) -> Data:
    """Return what to pour for a bucket, as the phone's own screen works it out."""
    mixed = plan_mix(inputs)
    warnings = [{**warning, "says": mixing_words.say(warning)} for warning in mixed["warnings"]]
    own = say_in(mixed, str(inputs["volume_unit"]))
    says = " ".join([say_mix(mixed), *own, *(warning["says"] for warning in warnings)])
    result = {**mixed, "warnings": warnings}
    return answer(result, says, [BLEACH, "acid"], [ARITHMETIC, LIFE])


def dilution(name: str) -> Callable[[Data], Data]:
    """Return one of the dilutions as a calculation, with its cautions."""

    def calculate(inputs: Data) -> Data:
        result = DILUTION[name](inputs)
        return answer(result, say(result), [BLEACH], [SOURCES.get(name, ARITHMETIC)])

    return calculate


def temperature(name: str) -> Callable[[Data], Data]:
    """Return one of the calculations with temperatures."""

    def calculate(inputs: Data) -> Data:
        result = TEMPERATURES[name](inputs)
        return answer(result, TEMPERATURES_SAY[name](result), [], TEMPERATURE_SOURCES[name])

    return calculate


def climate(name: str) -> Callable[[Data], Data]:
    """Return one of the calculations about nights, moisture and heat, with its cautions."""

    def calculate(inputs: Data) -> Data:
        result = CLIMATE[name](inputs)
        hazards = ["heat"] if name.startswith("heat") else ["frost"] if name in NIGHTS else []
        return answer(result, say(result), hazards, CLIMATE_SOURCES[name])

    return calculate


def job_sum(name: str) -> Callable[[Data], Data]:
    """Return one of the sums about the work itself."""

    def calculate(inputs: Data) -> Data:
        result = JOB_SUMS[name](inputs)
        return answer(result, say(result), [], [JOB_SOURCES[name]])

    return calculate


def say_three(result: Data) -> str:
    """Return low, middle and high cold days in words."""
    low, middle, high = (shown(result[name], 3) for name in ("low", "middle", "high"))
    return f"{low} to {high} effective cold days, {middle} in the middle band."


def say_range(result: Data) -> str:
    """Return a spell's cold days in words: which were read, and what is known of its warm days."""
    days = {name: result[f"{name}_days"] for name in ("low", "middle", "high")}
    read, calendar = shown(result["read_days"], 3), shown(result["calendar_days"], 3)
    if result["read_days"] == 0:
        return f"{calendar} days by the calendar alone: {NOT_READ}"
    says = f"{say_three(days)} {read} days by readings, {calendar} by the calendar."
    return f"{says} {WARM.format(n=len(result['warm']))}" if result["warm"] else says


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


def seasonal(name: str) -> Callable[[Data], Data]:
    """Return one of the calculations with seasons; hard seed is opened with acid at times."""

    def calculate(inputs: Data) -> Data:
        result, says, sources = SEASON_CALCULATIONS[name](inputs)
        hard = any(bar["kind"] == "scarify" for bar in result.get("bars", ()))
        return answer(result, says, ["acid"] if hard else [], sources)

    return calculate


TEMPERATURES_SAY: dict[str, Callable[[Data], str]] = {
    "chill_hours": lambda result: f"{result['hours']} hours in the band.",
    "cold_band_three": say_three,
    "chill_range": say_range,
    "f_to_c": lambda result: f"{shown(result['t_C'])} °C.",
}
CALCULATIONS: dict[str, Callable[[Data], Data]] = {
    "watch": watch,
    "chamber_band": chamber,
    "frost_tonight": frost,
    "mixing_plan": mixing_plan,
    **{name: dilution(name) for name in DILUTION},
    **{name: temperature(name) for name in TEMPERATURES},
    **{name: climate(name) for name in CLIMATE},
    **{name: seasonal(name) for name in SEASON_CALCULATIONS},
    **{name: job_sum(name) for name in JOB_SUMS},
}
