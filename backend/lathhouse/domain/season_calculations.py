"""The dates of seasons and the plan of a crop, as calculations that anybody may ask for."""

from collections.abc import Callable
from datetime import date
from typing import Any

from lathhouse.domain.amounts import CannotCalculate
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.protocols import load_crops, load_sources
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.seasons import Place, own_starts, read_words, season_dates, season_rule
from lathhouse.domain.year_plan import WAYS, plan_crop

Data = dict[str, Any]

YEARS = (1583, 9000)
MONTHS = "meteorological seasons: spring from 1 March in the north, from 1 September in the south"
HOPKINS = "Hopkins 1919, The Scientific Monthly 8, 496-513: 4 days a degree, or 400 feet; base ours"
GOSLING = "Gosling 2007, Practice Guide 18, p. 21: the second spring may yet bring them"
SPRING = "sowing in early or mid spring: common practice, no source"
LIMITS = {"latitude_deg": (-90, 90), "elevation_m": (-500, 9000)}
NO_SEASONS = (
    "Within the tropics there are no such seasons; give season_starts, the owner's own days."
)


def season_span(inputs: Data) -> tuple[Data, str, list[str]]:
    """Return the first and last day of season words in a year: {words, year, and the place}."""
    place = _place(inputs)
    if read_words(inputs.get("words")) is None:
        raise _cannot("words", "words must be such as late summer to early autumn.")
    span = season_dates(inputs["words"], _year(inputs, "year"), place)
    if span is None:
        raise _cannot("latitude_deg", NO_SEASONS)
    result = {**span, **season_rule(place)}
    return result, f"{span['from']} to {span['to']}.", _sources(result)


def crop_plan(inputs: Data) -> tuple[Data, str, list[str]]:
    """Return when to do each step of a shipped crop: {crop, way, a start, and the place}."""
    place = _place(inputs)
    crop = load_crops().get(str(inputs.get("crop")))
    if crop is None:
        raise _cannot("crop", "crop must be the id of a kind, such as cornus-kousa.")
    plan = plan_crop(crop, _start(inputs), place)
    if plan is None:
        raise _cannot("latitude_deg", NO_SEASONS)
    named = {step["source"] for step in crop["stages"] if step.get("source")}
    titles = [str(load_sources()[one]["title"]) for one in sorted(named)]
    more = [GOSLING] if plan["silent"] else [SPRING] if plan["way"] == "spring" else []
    rule = season_rule(place)
    return {**plan, **rule}, _say(plan), [*titles, *_sources(rule), *more]


def _say(plan: Data) -> str:
    parts = [
        f"{bar['kind']}: begin {bar['starts'][0]} to {bar['starts'][1]},"
        f" end {bar['ends'][0]} to {bar['ends'][1]}"
        for bar in plan["bars"]
    ]
    quiet = [
        f"The spring {one['from']} to {one['to']} shows nothing: wait." for one in plan["silent"]
    ]
    return " ".join([f"{'; '.join(parts)}.", *quiet])


def _start(inputs: Data) -> Data:
    way = inputs.get("way", "spring")
    if way not in WAYS:
        raise _cannot("way", f"way must be one of {', '.join(WAYS)}.")
    named = [name for name in ("collect_year", "collected_on", "sown_on") if name in inputs]
    if len(named) != 1:
        raise _cannot("collect_year", "give one of collect_year, collected_on and sown_on.")
    (name,) = named
    if name == "collect_year":
        return {"way": way, name: _year(inputs, name)}
    try:
        day = date.fromisoformat(inputs[name])
    except (TypeError, ValueError) as error:
        raise _cannot(name, f"{name} must be a date such as 2027-03-20.") from error
    if not YEARS[0] <= day.year <= YEARS[1]:
        raise _cannot(name, f"{name} must be in the years {YEARS[0]} to {YEARS[1]}.")
    return {"way": way, name: day.isoformat()}


def _place(inputs: Data) -> Place:
    if inputs.get("hemisphere") not in ("north", "south", None):
        raise _cannot("hemisphere", "hemisphere must be north or south.")
    for name, (least, most) in LIMITS.items():
        value = inputs.get(name)
        if value is not None and not (is_number(value) and least <= value <= most):
            raise _cannot(name, f"{name} must be a number from {least} to {most}.")
    if inputs.get("season_starts") is not None and own_starts(inputs) is None:
        says = "season_starts must give spring, summer, autumn and winter as MM-DD, in their order."
        raise _cannot("season_starts", says)
    if inputs.get("hemisphere") is None and inputs.get("latitude_deg") is None:
        raise _cannot("hemisphere", "give hemisphere, north or south, or latitude_deg.")
    names = ("hemisphere", "latitude_deg", "elevation_m", "season_starts")
    return {name: inputs.get(name) for name in names}


def _year(inputs: Data, name: str) -> int:
    year = inputs.get(name)
    if not isinstance(year, int) or isinstance(year, bool) or not YEARS[0] <= year <= YEARS[1]:
        raise _cannot(name, f"{name} must be a whole year from {YEARS[0]} to {YEARS[1]}.")
    return year


def _sources(rule: Data) -> list[str]:
    own = "the owner's own first days"
    return {"own": [own], "moved": [MONTHS, HOPKINS]}.get(str(rule["rule"]), [MONTHS])


def _cannot(field: str, says: str) -> CannotCalculate:
    return CannotCalculate(field, sentence("as_it_is", words=says))


SEASON_CALCULATIONS: dict[str, Callable[[Data], tuple[Data, str, list[str]]]] = {
    "season_dates": season_span,
    "crop_plan": crop_plan,
}
