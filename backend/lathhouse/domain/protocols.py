"""A crop's protocol: which step a lot is in, its limits, its emergence window and what comes next.

A crop is a row of `data/crops.json`, or the owner's own row of the same shape. Steps repeat, are
optional, end on a sprouting count, or have a target only; nothing here assumes one of each kind.
No clock.
"""

import json
from functools import cache
from importlib.resources import files
from typing import Any

from lathhouse.domain.instants import DAY_MS, later, to_ms, to_text
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.spells import open_spell
from lathhouse.domain.tender import KINDS as TENDER_KINDS

Crop = dict[str, Any]
Lot = dict[str, Any]
Step = dict[str, Any]

# Common practice, no source: a soak of 24 hours, its maximum half as long again.
SOAK_HOURS = 24
WITHOUT_MAXIMUM = 1.5
WINDOW_OF_TARGET = (0.5, 1.5)
LASTING = ("soak", "warm", "cold")
STEP_KINDS = ("extract", "dry", "soak", "scarify", "warm", "cold", "sow", "germinate")
GRADES = ("read", "run", "derived", "practice", "memory")
FROM_A_SOURCE = ("read", "derived")


class BadCrop(ValueError):
    """A crop's row contradicts itself, or claims a source that it does not name."""


@cache
def load_crops() -> dict[str, Crop]:
    """Return the crops that ship with the program, by id.

    Raises:
        BadCrop: a row that cannot be true (see `check_crop`), or an id that comes twice.
    """
    text = (files("lathhouse") / "data" / "crops.json").read_text(encoding="utf-8")
    table = json.loads(text)
    crops: dict[str, Crop] = {}
    for crop in table["crops"]:
        check_crop(crop, table["sources"])
        if crop["id"] in crops:
            raise BadCrop(f"{crop['id']} is there twice")
        crops[crop["id"]] = crop
    return crops


@cache
def load_sources() -> dict[str, dict[str, Any]]:
    """Return the sources that the crops name, by their short names."""
    text = (files("lathhouse") / "data" / "crops.json").read_text(encoding="utf-8")
    sources: dict[str, dict[str, Any]] = json.loads(text)["sources"]
    return sources


def check_crop(crop: Crop, sources: dict[str, Any]) -> None:
    """Refuse a shipped crop whose steps are upside down, or a figure without grade or source.

    Raises:
        BadCrop: with the crop, the step or figure and what is wrong.
    """
    check_shape(crop)
    graded = {f"step {step['step']} ({step['kind']})": step for step in crop["stages"]}
    graded |= {name: one for name, one in crop.items() if isinstance(one, dict)}
    dormancy = {"grade": crop.get("dormancy_grade"), "source": crop.get("dormancy_source")}
    for where, figure in {**graded, "dormancy": dormancy}.items():
        grade = figure.get("grade")
        if grade not in GRADES:
            raise BadCrop(f"{crop['id']}, {where}: no such grade as {grade}")
        if grade in FROM_A_SOURCE and figure.get("source") not in sources:
            raise BadCrop(f"{crop['id']}, {where}: claims to be {grade} and names no source")


def check_shape(crop: Crop) -> None:
    """Refuse a crop, shipped or an owner's own, whose steps cannot be read or cannot be true.

    Raises:
        BadCrop: with the step and what would be right.
    """
    for step in crop["stages"]:
        kind = step.get("kind")
        if kind not in STEP_KINDS:
            raise BadCrop(f"a step is one of {', '.join(STEP_KINDS)}, not {kind!r}")
        lengths = [step.get(name) for name in ("min", "max", "target_days", "target_hours")]
        for length in lengths:
            if length is not None and not (is_number(length) and 0 <= length <= 5000):
                raise BadCrop(f"{kind}: a length is a number of days or hours, not {length!r}")
        least, most = lengths[:2]
        if least is not None and most is not None and least > most:
            raise BadCrop(f"{kind}: min must not be over max")
    said = crop.get("tenderness")
    value = said.get("value") if isinstance(said, dict) else said
    if value is not None and value not in TENDER_KINDS:
        raise BadCrop(f"tenderness is one of {', '.join(TENDER_KINDS)}, not {value!r}")
    own = crop.get("sow_at_sprouted_percent")
    figure = own.get("value") if isinstance(own, dict) else own
    if figure is not None and not (is_number(figure) and 0 <= figure <= 100):
        raise BadCrop("sow_at_sprouted_percent must be from 0 to 100")


def steps(crop: Crop | None) -> list[Step]:
    """Return the crop's steps in order; none for an unknown crop."""
    return list((crop or {}).get("stages") or [])


def nth_step(kind: str, nth: int, crop: Crop | None) -> Step | None:
    """Return the protocol's step for the nth spell of a kind; past the last of them, the last."""
    alike = [step for step in steps(crop) if step["kind"] == kind]
    return alike[min(nth, len(alike)) - 1] if alike else None


def target(step: Step | None) -> float | None:
    """Return a step's target in its own unit (hours for a soak or scarifying, else days)."""
    if step is None:
        return None
    hours, days = step.get("target_hours"), step.get("target_days")
    return hours if hours is not None else days


def limits(kind: str, nth: int, crop: Crop | None) -> dict[str, Any]:
    """Return the limits of the nth spell of a kind.

    A soak: `target_hours`, `max_hours` (the maximum read, else half as long again). A warm spell:
    `longest_days` is its maximum, else its target. A cold one: its maximum, else half as long again
    as its target, else unknown.
    """
    step = nth_step(kind, nth, crop)
    aim = target(step)
    most = step.get("max") if step else None
    if kind == "soak":
        hours = SOAK_HOURS if aim is None else aim
        return {
            "target_hours": hours,
            "max_hours": hours * WITHOUT_MAXIMUM if most is None else most,
        }
    if kind not in ("warm", "cold"):
        return {}
    if most is None and aim is not None:
        most = aim if kind == "warm" else aim * WITHOUT_MAXIMUM
    least = step.get("min") if step else None
    return {"target_days": aim, "min_days": least, "longest_days": most}


def step_of(lot: Lot, crop: Crop | None) -> Step | None:
    """Return the protocol's step that the lot is in now, or None where it is in none of them."""
    for kind in ("soak", "warm", "cold"):
        spell = open_spell(lot, kind)
        if spell and lot["stage"] == kind:
            return nth_step(kind, spell["nth"], crop)
    if lot["stage"] in ("sown", "emerging"):
        return nth_step("germinate", 1, crop)
    return None


def window(lot: Lot, crop: Crop | None) -> dict[str, str] | None:
    """Return {opens_at, middle_at, closes_at} of the time in which seedlings should show.

    From the crop's `germinate` step: least to most days after sowing or after the last cold spell's
    end, whichever is later; with a target alone, half to one and a half of it; with neither, and
    while a warm or cold spell is open, there is none.
    """
    if not lot["sown"] or open_spell(lot, "cold") or open_spell(lot, "warm"):
        return None
    step = nth_step("germinate", 1, crop)
    aim = target(step)
    if step is None:
        return None
    least, most = step.get("min"), step.get("max")
    if least is None or most is None:
        if aim is None:
            return None
        least, most = (aim * share for share in WINDOW_OF_TARGET)
    ends = [spell["ended_at"] for spell in lot["spells"] if spell["kind"] == "cold"]
    start = to_ms(later(lot["sown"]["at"], *ends) or lot["sown"]["at"])
    days = {"opens_at": least, "middle_at": (least + most) / 2, "closes_at": most}
    return {name: to_text(start + round(length * DAY_MS)) for name, length in days.items()}


def next_step(lot: Lot, crop: Crop | None) -> Step | None:
    """Return what the protocol asks for next: the step after the last one begun."""
    ahead = steps_ahead(lot, crop)
    return ahead[0] if ahead else None


def steps_ahead(lot: Lot, crop: Crop | None) -> list[Step]:
    """Return the protocol's steps after the last one begun."""
    begun: dict[str, int] = {}
    for spell in lot["spells"]:
        begun[spell["kind"]] = begun.get(spell["kind"], 0) + 1
    begun["sow"] = 1 if lot["sown"] else 0
    begun["germinate"] = 1 if lot["first_emerged_at"] or lot["emergence_closed_at"] else 0
    begun["extract"] = begun["dry"] = 9 if lot["spells"] or lot["sown"] or lot["cleaned_at"] else 0
    begun["scarify"] = 1 if lot["acid_at"] or lot["spells"] or lot["sown"] else 0
    ahead = steps(crop)
    last_done = -1
    for index, step in enumerate(ahead):
        if begun.get(step["kind"], 0) > 0:
            begun[step["kind"]] -= 1
            last_done = index
    return ahead[last_done + 1 :]


def progress(lot: Lot, crop: Crop | None, now: str) -> dict[str, Any]:
    """Return {day, min_days, target_days, longest_days, total_days} of the lot's stage.

    `day` counts whole elapsed days, so the first day is 0; `total_days` adds up all spells of the
    stage's kind.
    """
    since = lot["stage_since"]
    days = (to_ms(now) - to_ms(since)) // DAY_MS if since else None
    kind = lot["stage"]
    alike = [spell for spell in lot["spells"] if spell["kind"] == kind]
    total = sum(to_ms(s["ended_at"] or now) - to_ms(s["started_at"]) for s in alike) // DAY_MS
    found = limits(kind, len(alike) or 1, crop) if kind in ("warm", "cold") else {}
    return {"day": days, "total_days": total if alike else None, **found}
