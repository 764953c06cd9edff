"""A protocol laid over the year: when to collect, soak, warm, chill and sow, and when to expect
seedlings, each as a range [earliest, latest] of local dates. No clock.

Three ways, since nurseries do all of them:

- `spring`: treated in a chamber, timed so that it is sown in early or mid spring (common practice,
  no source), the first spring that the shortest spells can meet after collecting;
- `straight`: each step at once after the one before; so are crops that want no spell;
- `outdoors`: sown at once; summer and winter do the spells (`outdoors.py`).

A step that may take `least` to most days gives the range; where only one figure is known, that is
both. Steps that may be left out may take no time. Cleaning may take a week (ours: within days).
"""

from typing import Any

from lathhouse.domain.outdoors import SEASON_FOR, outdoor_seasons
from lathhouse.domain.protocols import (
    WINDOW_OF_TARGET,
    WITHOUT_MAXIMUM,
    nth_step,
    steps,
    target,
)
from lathhouse.domain.rule_terms import round_half_up
from lathhouse.domain.seasons import Place, Span, add_days, next_span, season_dates

Crop = dict[str, Any]
Bar = dict[str, Any]

WAYS = ("spring", "straight", "outdoors")
SOW_IN = "early to mid spring"
CLEANING = ("extract", "dry")
CLEANING_DAYS_MAX = 7
HOURS_OF_A_DAY = 24
SHOWS = {"kind": "germinate"}


def lasts(step: dict[str, Any]) -> tuple[int, int]:
    """Return the least and most whole days that a step may take; nought where nothing is known."""
    kind, aim = step["kind"], target(step)
    least, most = step.get("min"), step.get("max")
    if kind in CLEANING:
        return (0, CLEANING_DAYS_MAX) if aim is None else (round_half_up(aim),) * 2
    least = aim if least is None else least
    most = aim if most is None else most
    if most is None and least is not None:
        most = least * WITHOUT_MAXIMUM
    if kind in ("soak", "scarify"):
        hours = step.get("target_hours") is not None or kind == "scarify"
        share = HOURS_OF_A_DAY if hours else 1
        least, most = (None if one is None else one / share for one in (least, most))
    shortest = 0 if least is None or step.get("optional") else round_half_up(least)
    return shortest, max(shortest, round_half_up(most or 0))


def emergence_days(crop: Crop) -> tuple[int, int] | None:
    """Return the least and most days from sowing to seedlings, or None where nobody read them."""
    step = nth_step("germinate", 1, crop)
    aim = target(step)
    least, most = (step.get("min"), step.get("max")) if step else (None, None)
    if least is None or most is None:
        if aim is None:
            return None
        least, most = (aim * share for share in WINDOW_OF_TARGET)
    return round_half_up(least), round_half_up(most)


def plan_crop(crop: Crop, start: dict[str, Any], place: Place) -> dict[str, Any] | None:
    """Return {way, bars, silent} of a crop, from its collecting or its sowing on.

    Args:
        start: one of `collect_year`, `collected_on` or `sown_on`; and `way`, see above.

    A bar is {kind, step, starts: [earliest, latest], ends: [earliest, latest], optional}; `silent`
    are the springs that show nothing. None where the crop has no collecting season or the place no
    seasons and `start` names neither day.
    """
    way = start.get("way") or "spring"
    sown = _one_day(start.get("sown_on"))
    ahead = [step for step in steps(crop) if step["kind"] not in ("sow", "germinate")]
    if way == "outdoors":
        ahead = [step for step in ahead if step["kind"] not in SEASON_FOR]
    collected = _collected(crop, start, place, sum(lasts(step)[0] for step in ahead))
    if collected is None and sown is None:
        return None
    bars = [_bar("collect", None, collected)] if collected else []
    bars += _treatment(ahead, collected, sown, place if way == "spring" else None)
    if way == "outdoors":
        return _outdoors(crop, bars, place)
    found = emergence_days(crop)
    if found:
        earliest, latest = bars[-1]["starts"]
        step = nth_step("germinate", 1, crop)
        starts, ends = ([add_days(day, days) for day in (earliest, latest)] for days in found)
        bars.append(_step_bar(step or SHOWS, starts, ends))
    return {"way": way, "bars": bars, "silent": []}


def chain(ahead: list[dict[str, Any]], starts: list[str]) -> list[Bar]:
    """Return the bars of steps done one after the other, the first begun within `starts`."""
    bars: list[Bar] = []
    earliest, latest = starts
    for step in ahead:
        least, most = lasts(step)
        ends = [add_days(earliest, least), add_days(latest, most)]
        bars.append(_step_bar(step, [earliest, latest], ends))
        earliest, latest = ends
    return bars


def _treatment(
    ahead: list[dict[str, Any]], collected: Span | None, sown: Span | None, place: Place | None
) -> list[Bar]:
    """Return the bars of the steps and of the sowing; `place` where spring is waited for."""
    days = [lasts(step) for step in ahead]
    least, most = (sum(one[n] for one in days) for n in (0, 1))
    if collected is None and sown:
        first = [add_days(sown["from"], -most), add_days(sown["from"], -least)]
    else:
        first = [collected["from"], collected["to"]] if collected else []
    waits = any(s["kind"] in SEASON_FOR and not s.get("optional") for s in ahead)
    ready = add_days(first[0], least)
    window = sown or (next_span(SOW_IN, ready, place) if waits and place is not None else None)
    if window is None:
        bars = chain(ahead, first)
        earliest, latest = bars[-1]["ends"] if bars else first
        return [*bars, _bar("sow", None, {"from": earliest, "to": latest})]
    sow = [max(window["from"], ready), max(window["to"], ready)]
    return [*_timed(ahead, days, first, sow), _bar("sow", None, {"from": sow[0], "to": sow[1]})]


def _timed(
    ahead: list[dict[str, Any]], days: list[tuple[int, int]], first: list[str], sow: list[str]
) -> list[Bar]:
    """Return the steps so that the last one ends at sowing; clean seed waits dry until then."""
    bars: list[Bar] = []
    kinds = [step["kind"] for step in ahead]
    cleaned = next((n for n, kind in enumerate(kinds) if kind not in CLEANING), len(kinds))
    for n, step in enumerate(ahead):
        soonest = add_days(first[0], sum(one[0] for one in days[:n]))
        if n < cleaned:
            latest = add_days(first[1], sum(one[1] for one in days[:n]))
            ends = [add_days(soonest, days[n][0]), add_days(latest, days[n][1])]
            bars.append(_step_bar(step, [soonest, latest], ends))
            continue
        longest = add_days(sow[0], -sum(one[1] for one in days[n:]))
        begins = max(soonest, longest)
        starts = [begins, max(begins, add_days(sow[1], -sum(one[0] for one in days[n:])))]
        if n > cleaned:
            bars[-1]["ends"] = starts
        bars.append(_step_bar(step, starts, sow))
    return bars


def _outdoors(crop: Crop, bars: list[Bar], place: Place) -> dict[str, Any] | None:
    """Add what the seasons do to seed sown within the last bar, at its earliest and its latest."""
    wanted = [s for s in steps(crop) if s["kind"] in SEASON_FOR and not s.get("optional")]
    kinds = [step["kind"] for step in wanted]
    first, last = (outdoor_seasons(kinds, day, place) for day in bars[-1]["starts"])
    if first is None or last is None:
        return None
    for step, one, other in zip(wanted, first["spells"], last["spells"], strict=True):
        bars.append(_step_bar(step, [one["from"], other["from"]], [one["to"], other["to"]]))
    if first["shows"] and last["shows"]:
        starts = [first["shows"]["from"], last["shows"]["from"]]
        bars.append(_step_bar(SHOWS, starts, [first["shows"]["to"], last["shows"]["to"]]))
    return {"way": "outdoors", "bars": bars, "silent": last["silent"]}


def _collected(crop: Crop, start: dict[str, Any], place: Place, least: int) -> Span | None:
    """Return when it is collected: as said, in its season, or in the last season before sowing."""
    if start.get("collected_on"):
        return _one_day(start["collected_on"])
    words = crop.get("harvest_season")
    if start.get("collect_year") is not None:
        return season_dates(words, int(start["collect_year"]), place)
    by = add_days(str(start["sown_on"]), -least) if start.get("sown_on") else ""
    spans = [season_dates(words, int(by[:4]) - n, place) for n in (0, 1)] if by else []
    found = next((span for span in spans if span and span["from"] <= by), None)
    return {"from": found["from"], "to": min(found["to"], by)} if found else None


def _one_day(day: Any) -> Span | None:
    return {"from": str(day), "to": str(day)} if day else None


def _bar(kind: str, step: int | None, span: Span) -> Bar:
    within = [span["from"], span["to"]]
    return {"kind": kind, "step": step, "starts": within, "ends": within, "optional": False}


def _step_bar(step: dict[str, Any], starts: list[str], ends: list[str]) -> Bar:
    optional = bool(step.get("optional"))
    named = {"kind": step["kind"], "step": step.get("step")}
    return {**named, "starts": starts, "ends": ends, "optional": optional}
