"""The demo's own history as it truly was: corrections in place of what they correct."""

from collections.abc import Iterator
from typing import Any

from lathhouse.domain.instants import parse_instant

Data = dict[str, Any]


def remembered(past: dict[str, list[Data]]) -> Iterator[tuple[str, str | None, Data, int]]:
    """Give the kind, the lot, the data and the time of what happened, in order."""
    told = sorted((event for events in past.values() for event in events), key=true_at)
    void = {event["data"]["of"] for event in told if event["kind"] == "voided"}
    right = {e["data"]["of"]: e["data"]["data"] for e in told if e["kind"] == "amended"}
    for event in told:
        if event["id"] not in void:
            data = {**event["data"], **right.get(event["id"], {})}
            yield event["kind"], event["lot"], data, true_at(event)


def true_at(event: Data) -> int:
    """Return when something happened, by a phone's own time and its skew."""
    return parse_instant(event["observed_at"]) + skew(event)


def skew(event: Data) -> int:
    """Return what must be added to a phone's own time."""
    return int((event.get("clock") or {}).get("skew_ms", 0))
