"""Mixed solutions: what a bucket holds, since when, what it was used on, and when it is past it.

No clock: the row says at which instants a bucket is old and spent, `solution_state` compares.
"""

from typing import Any

from lathhouse.domain.attribution import said_by
from lathhouse.domain.instants import HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.rule_terms import is_number, round_half_up

Event = dict[str, Any]
Solution = dict[str, Any]

SOLUTION_KINDS = ("solution_mixed", "solution_discarded", "sanitise_started")
# Diluted bleach is for the day: Haldimand-Norfolk Health Unit; Kittitas County CS316270A, 2020,
# after CDC.
LIFE_HOURS = 24
# Common practice, no source: minutes, not days. Where the dip itself says how long, that counts.
DIP_MINUTES = 10
USES_MAX = 100


def new_solution(solution_id: str) -> Solution:
    """Return a solution that somebody has named before it is known how it was mixed."""
    return {
        "id": solution_id, "mixed_at": None, "old_at": None, "spent_at": None,
        "discarded_at": None, "open": False, "used_for": [], "used_by": [],
    }  # fmt: skip


def with_solution(row: Solution, event: Event) -> Solution:
    """Return a solution after one more event: mixed, used for a dip, or thrown away."""
    data = event.get("data") or {}
    row = {**new_solution(row["id"]), **row}
    if event["kind"] == "solution_mixed":
        old_at = to_text(to_ms(event["at"]) + LIFE_HOURS * HOUR_MS)
        said = {name: value for name, value in data.items() if name not in new_solution("")}
        row = {**row, **said, "mixed_at": event["at"], **said_by(event), "old_at": old_at}
    elif event["kind"] == "solution_discarded":
        row["discarded_at"] = event["at"]
    elif event["kind"] == "sanitise_started":
        row = _used(row, event, data)
    row["open"] = row["mixed_at"] is not None and row["discarded_at"] is None
    return _judged(row)


def _used(row: Solution, event: Event, data: dict[str, Any]) -> Solution:
    use = {"lot": event["lot"], "event": event["id"], "at": event["at"]}
    use |= {"minutes": data.get("limit_minutes"), "why": data.get("why")}
    others = [one for one in row["used_by"] if one["event"] != event["id"]]
    uses = sorted([*others, use], key=lambda one: (one["at"], one["event"]))
    lots = sorted({*row["used_for"], event["lot"]})
    return {**row, "used_by": _kept(uses), "used_for": lots}


def _kept(uses: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the first use, which spends the bucket, and the latest."""
    return uses if len(uses) <= USES_MAX else [uses[0], *uses[1 - USES_MAX :]]


def _judged(row: Solution) -> Solution:
    """Say of each use whether the bucket was past its life or had had its batch.

    One dirty batch spends it. Lots that went in together are one batch: it ends when the first of
    them has had its time.
    """
    uses = row["used_by"]
    if uses:
        minutes = uses[0]["minutes"] if is_number(uses[0]["minutes"]) else DIP_MINUTES
        row["spent_at"] = to_text(to_ms(uses[0]["at"]) + round_half_up(minutes * MINUTE_MS))
    row["used_by"] = [
        {**use, "old": _reached(row["old_at"], use), "spent": _reached(row["spent_at"], use)}
        for use in uses
    ]
    return row


def _reached(limit: str | None, use: dict[str, Any]) -> bool:
    return limit is not None and bool(use["at"] >= limit)


def solution_state(row: Solution, now: str) -> str:
    """Return `usable`, `old`, `spent`, `discarded`, or `unknown`: nobody said how it was mixed.

    Whatever is not usable is picked for a dip only with a reason.
    """
    if row.get("discarded_at"):
        return "discarded"
    if not row.get("mixed_at"):
        return "unknown"
    if row.get("old_at") and now >= row["old_at"]:
        return "old"
    return "spent" if row.get("spent_at") and now >= row["spent_at"] else "usable"


def dip_with(spell: dict[str, Any] | None, row: Solution | None) -> dict[str, Any]:
    """Return the facts of a lot's last dip: `past` where its bucket was old or spent by then."""
    uses = (row or {}).get("used_by") or []
    use = next((one for one in uses if spell and one["event"] == spell["event"]), None)
    if row is None or use is None or not (use["old"] or use["spent"]):
        return {"past": False}
    return {
        "past": True,
        "old": use["old"],
        "at": use["at"],
        "told_until": to_text(to_ms(use["at"]) + LIFE_HOURS * HOUR_MS),
        "bucket": solution_code(row["id"]),
        "mixed_at": row["mixed_at"],
    }


def solution_code(solution_id: str) -> str:
    """Return the short name on a bucket's tag."""
    return solution_id.replace("-", "")[-4:].upper()
