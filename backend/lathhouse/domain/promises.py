"""Promises against what a lot can be trusted to hold on the day: a cautious forecast, kept simple.

The count on record (of one grade, where it was graded) times the share that will still stand. That
share comes from the lot's own losses since it came into this container: the lower edge of Wilson's
interval at 80 %, spread evenly over the time that these losses took. All of it is our own choice.
"""

import math
from typing import Any

from lathhouse.domain.instants import DAY_MS, later, to_ms
from lathhouse.domain.proportions import Z_80, wilson
from lathhouse.domain.rule_terms import DAY, is_number

Data = dict[str, Any]

# A shorter past says nothing of the pace of losses, and is taken for so long a one.
PAST_DAYS_LEAST = 90
COUNTED_IN = ("seedlings", "plants")


def promise_facts(lot: Data) -> Data:
    """Return {deliver_on, promised, forecast, grade, since, noted_at} of the first one too large.

    Promises to the same day and before it are kept first. Silent where nothing is to be counted.
    """
    if lot["unit"] not in COUNTED_IN or lot["quantity"] is None:
        return {"since": None}
    due: dict[Any, float] = {None: 0}
    for note in outstanding(lot):
        grade = note.get("grade")
        due[None] += note["left"]
        if grade is not None:
            due[grade] = due.get(grade, 0) + note["left"]
        expected = forecast(lot, note, _as_of(lot, note))
        if due[grade] > expected:
            told = {"deliver_on": note["deliver_on"], "grade": grade, "since": _since(lot, note)}
            told |= {"promised": due[grade], "forecast": expected}
            return {**told, "noted_at": note["at"]}
    return {"since": None}


def outstanding(lot: Data) -> list[Data]:
    """Return the promises, soonest first, each with what its buyer has not been sold since."""
    sales = [{**sale, "left": sale["quantity"]} for sale in lot["sales"]]
    promises = [note for note in lot["promises"] if _readable(note)]
    found = []
    for note in sorted(promises, key=lambda one: (one["deliver_on"], one["at"], one["event"])):
        left = note["quantity"]
        for sale in sales:
            if sale.get("buyer") == note.get("buyer") and sale["at"] >= note["at"]:
                taken = min(left, sale["left"])
                left, sale["left"] = left - taken, sale["left"] - taken
        found.append({**note, "left": left})
    return found


def _readable(note: Data) -> bool:
    day = note.get("deliver_on")
    if not is_number(note.get("quantity")) or not isinstance(day, str) or not DAY.fullmatch(day):
        return False
    try:
        to_ms(f"{day}T00:00:00.000Z")
    except ValueError:  # no such day
        return False
    return True


def forecast(lot: Data, note: Data, as_of: str) -> int:
    """Return how many of a promise's grade will stand on its day, cautiously."""
    grades = [one for one in lot["grades"] if one.get("grade") == note.get("grade")]
    share = _share(grades[-1]) if note.get("grade") is not None and grades else 1
    began = lot["stage_since"] or lot["started_at"]
    lost = sum(one["quantity"] for one in lot["losses"] if one["at"] >= began)
    past_ms = max(to_ms(as_of) - to_ms(began), PAST_DAYS_LEAST * DAY_MS)
    ahead_ms = max(0, to_ms(f"{note['deliver_on']}T00:00:00.000Z") - to_ms(as_of))
    count: float = lot["quantity"]
    if count + lost <= 0:
        return 0
    low, _ = wilson(count, count + lost, Z_80)
    survival: float = max(0, 1 - (1 - low) * ahead_ms / past_ms)
    return math.floor(count * share * survival)


def _share(note: Data) -> float:
    counted: Any = note.get("quantity")
    out_of: Any = note.get("out_of")
    if not is_number(counted) or not is_number(out_of) or out_of <= 0:
        return 1
    return float(min(counted / out_of, 1))


def _as_of(lot: Data, note: Data) -> str:
    return later(note["at"], lot["seen_at"]) or note["at"]


def _since(lot: Data, note: Data) -> str:
    """Return when the record last said something that made the forecast or the promise."""
    said = [one["at"] for name in ("losses", "sales", "grades") for one in lot[name]]
    return later(note["at"], *said) or note["at"]
