"""Which watches ring most and are acted on least: figures of the alerts' own histories. Pure."""

from collections.abc import Iterable
from statistics import median
from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_ms

Alert = dict[str, Any]

# Within how long a person should act, by priority: minutes to hours, today, this week, plan. The
# words are the alert catalogue's, the hours ours.
TIME_TO_ACT_HOURS = {1: 4, 2: 24, 3: 7 * 24, 4: 30 * 24}
# Ten rings a month of one watch, of which fewer than one in four led to an act: worth asking. Ours.
RINGS_MIN = 10
ACTED_SHARE_MIN = 0.25


def figures(alerts: Iterable[Alert], since: str, until: str) -> dict[str, Any]:
    """Return {watches, raised, per_day, days} of what was raised from `since` on, until `until`.

    One row a watch, what rings most and is acted on least first: {watch, raised, standing,
    acknowledged, shelved, acted, acted_in_time, median_hours_to_act, suggests}. An alert is acted
    on where a record of somebody's cleared it, and in time where that was within the time of its
    priority; one that went by itself, by a changed limit or the hour, is not.
    """
    by_watch: dict[str, list[dict[str, Any]]] = {}
    for alert in alerts:
        if alert.get("rings") is False:
            continue  # an entry of a seasonal list never rang
        for run in runs(alert):
            if since <= run["raised_at"] <= until:
                by_watch.setdefault(alert["watch"], []).append(run)
    rows = [_row(watch, found) for watch, found in by_watch.items()]
    rows.sort(key=lambda row: (row["acted"] - row["raised"], row["watch"]))
    raised = sum(row["raised"] for row in rows)
    days = (to_ms(until) - to_ms(since)) / DAY_MS
    return {"watches": rows, "raised": raised, "days": days, "per_day": raised / days}


def runs(alert: Alert) -> list[dict[str, Any]]:
    """Return each time that an alert's row was raised, with what became of it."""
    found: list[dict[str, Any]] = []
    for step in alert["history"]:
        if step["what"] == "raised":
            found.append({"raised_at": step["at"], "priority": alert["priority"]})
        elif not found:
            continue  # what stood before the oldest step that is kept
        elif step["what"] in ("acknowledged", "shelved"):
            found[-1][step["what"]] = True
        elif step["what"] == "cleared":
            found[-1] |= {"cleared_at": step["at"], "acted": step.get("how") == "record"}
    return found


def _row(watch: str, found: list[dict[str, Any]]) -> dict[str, Any]:
    acted = [run for run in found if run.get("acted")]
    hours = [(to_ms(run["cleared_at"]) - to_ms(run["raised_at"])) / HOUR_MS for run in acted]
    limits = [TIME_TO_ACT_HOURS[run["priority"]] for run in acted]
    in_time = sum(took <= limit for took, limit in zip(hours, limits, strict=True))
    ignored = len(found) >= RINGS_MIN and len(acted) < ACTED_SHARE_MIN * len(found)
    return {
        "watch": watch,
        "raised": len(found),
        "standing": sum("cleared_at" not in run for run in found),
        "acknowledged": sum(run.get("acknowledged", False) for run in found),
        "shelved": sum(run.get("shelved", False) for run in found),
        "acted": len(acted),
        "acted_in_time": in_time,
        "median_hours_to_act": median(hours) if hours else None,
        # What guards seed within hours is not to be loosened because nobody came: that is asked.
        "suggests": None if not ignored else "why" if found[0]["priority"] == 1 else "loosen",
    }
