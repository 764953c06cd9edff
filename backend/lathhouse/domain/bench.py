"""The bench: every running soak, dip, drain, warm or cold spell, its times and its next step.

Nothing is counted down: every time is worked out of the recorded start. No clock.
"""

from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.protocols import limits, next_step
from lathhouse.domain.rule_terms import round_half_up
from lathhouse.domain.spells import dip_refusal, open_spell

Lot = dict[str, Any]
Row = dict[str, Any]

# The one that runs first in this list is what the lot is in: a dip ends before its soak counts on.
KINDS = ("sanitise", "soak", "drained", "warm", "cold")
# The steps of hours and minutes; the others run for weeks.
SHORT = ("sanitise", "soak", "drained")
# Common practice, no source; the alarm at one and a half of it is ours (`sanitise-over`).
DIP_MINUTES, DIP_ALARM = 10, 1.5
# Drained seed waits hours for its next step, not a day (`drained-left`; ours).
DRAINED_HOURS, DRAINED_MUST_NOT_DRY_HOURS = (4, 24), (1, 4)
STILL_HOURS = 24
MUST_NOT_DRY = ("recalcitrant", "intermediate")
STARTS = {"warm": "warm_started", "cold": "cold_started", "sow": "sown", "soak": "soak_started"}


def bench_row(lot: Lot, crop: dict[str, Any] | None) -> Row | None:
    """Return what runs in a lot, or None where nothing does.

    {kind, event, started_at, target_at, limit_at, still_at, next}: `target_at` is when its step is
    done, `limit_at` when it is over its limit, `still_at` when a soak's water wants a change;
    `next` names the records that go on to the next step, the likeliest first.
    """
    spell = next((found for kind in KINDS if (found := open_spell(lot, kind))), None)
    if spell is None or lot["closed_at"] is not None or lot["quantity"] == 0:
        return None
    kind, start = spell["kind"], to_ms(spell["started_at"])
    target_ms, limit_ms = _lengths(kind, spell, crop)
    still = spell.get("water_moved_at") if kind == "soak" else None
    return {
        "kind": kind,
        "event": spell["event"],
        "started_at": spell["started_at"],
        "target_at": _after(start, target_ms),
        "limit_at": _after(start, limit_ms),
        "still_at": to_text(to_ms(still) + STILL_HOURS * HOUR_MS) if still else None,
        "next": _next(kind, lot, crop),
    }


def _after(start: int, length_ms: float | None) -> str | None:
    return None if length_ms is None else to_text(start + round_half_up(length_ms))


def _lengths(
    kind: str, spell: dict[str, Any], crop: dict[str, Any] | None
) -> tuple[float | None, float | None]:
    if kind == "sanitise":
        minutes = spell.get("limit_minutes") or DIP_MINUTES
        return minutes * MINUTE_MS, minutes * DIP_ALARM * MINUTE_MS
    if kind == "drained":
        dry = (crop or {}).get("storage_class") in MUST_NOT_DRY
        due, late = DRAINED_MUST_NOT_DRY_HOURS if dry else DRAINED_HOURS
        return due * HOUR_MS, late * HOUR_MS
    found = limits(kind, spell["nth"], crop)
    if kind == "soak":
        return found["target_hours"] * HOUR_MS, found["max_hours"] * HOUR_MS
    least = found["min_days"]
    done = found["target_days"] if least is None else least
    most = found["longest_days"]
    return (
        None if done is None else done * DAY_MS,
        None if most is None else most * DAY_MS,
    )


def _next(kind: str, lot: Lot, crop: dict[str, Any] | None) -> list[list[str]]:
    """Return the ways on from here, each as the kinds of records it makes."""
    if kind == "sanitise":
        return [["sanitise_ended"]]
    step = next_step(lot, crop)
    start = STARTS.get(step["kind"]) if step else None
    onward = start if start not in (None, "soak_started", f"{kind}_started") else None
    if kind == "soak":
        ways = [["soak_ended", onward]] if onward in ("warm_started", "cold_started") else []
        dip = [["soak_ended", "sanitise_started"]] if dip_refusal(lot) is None else []
        return [*ways, ["soak_ended"], *dip]
    if lot["sown"]:
        return [["cold_started"] if kind == "warm" else ["cold_ended"]]
    usual = {"drained": "cold_started", "warm": "cold_started", "cold": "sown"}[kind]
    return [[onward or usual]]
