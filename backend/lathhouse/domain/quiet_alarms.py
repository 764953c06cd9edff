"""A person's own quiet hours, laid over the alarms of the calendar that they read.

The entries are everybody's, and stay where they are; only when they ring is each person's own.
"""

import re
from typing import Any

from lathhouse.domain.instants import MINUTE_MS, local_date, local_instant, to_ms
from lathhouse.domain.working_time import Hours, is_quiet, start_of_work

Entry = dict[str, Any]
LENGTH = re.compile(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:0S)?")
WAITS = "The alarm waits for the end of your quiet hours."
NONE = "No alarm: it would ring in your quiet hours."


def outside_quiet(entries: list[Entry], hours: Hours) -> list[Entry]:
    """Return the entries of a calendar as they ring for a person: never in their quiet hours.

    An alarm that would is moved to their next start of work on any day (as `reaching` does), and
    left out where that is on another day than the day's work it tells of. Either is said in the
    entry's description.
    """
    return [_outside_quiet(entry, hours) for entry in entries]


def _outside_quiet(entry: Entry, hours: Hours) -> Entry:
    if not entry.get("alarm") or entry.get("cancelled"):
        return entry
    begin = _begin(entry, hours)
    rings = begin + _length_ms(entry["alarm"])
    if not is_quiet(rings, hours):
        return entry
    at = start_of_work(rings, hours, any_day=True)
    if entry.get("day") not in (None, local_date(at, hours["offsets"])):
        return {**entry, "alarm": None, "description": _told(entry, NONE)}
    hour, minute = divmod((at - begin) // MINUTE_MS, 60)
    return {**entry, "alarm": f"PT{hour}H{minute}M", "description": _told(entry, WAITS)}


def _begin(entry: Entry, hours: Hours) -> int:
    """Return when an entry begins, from which its alarm is counted (RFC 5545 section 3.8.6.3)."""
    if entry.get("day"):
        return local_instant(entry["day"], "00:00", hours["offsets"])
    return to_ms(entry["starts_at"])


def _length_ms(alarm: str) -> int:
    found = LENGTH.fullmatch(alarm)
    hour, minute = found.groups() if found else (None, None)
    return (int(hour or 0) * 60 + int(minute or 0)) * MINUTE_MS


def _told(entry: Entry, says: str) -> str:
    return "\n".join(part for part in (entry.get("description"), says) if part)
