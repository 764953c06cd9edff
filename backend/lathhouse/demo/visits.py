"""When each phone of the story sends what it holds, and when the alert clock looks in between."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from lathhouse.demo.story import ZONE
from lathhouse.domain.instants import MINUTE_MS, parse_instant

Data = dict[str, Any]
# (when, which phone, its events)
Visit = tuple[int, str, list[Data]]

# A walk is sent five minutes after its last record, when the phone is back where there is signal.
BACK_MS = 5 * MINUTE_MS
WALK_GAP_MS = 60 * MINUTE_MS
# Today everything is sent as it is recorded.
TODAY_GAP_MS = 5 * MINUTE_MS
# The real clock looks at every deadline; the story's looks at these hours, after the walks, so that
# opening the demo costs seconds. What falls due in between is found at the next of them.
LOOKS_AT = (6, 11, 14, 17)


def visits(
    phones: dict[str, list[Data]], last_contact: dict[str, int], since_ms: int
) -> list[Visit]:
    """Return each phone's sendings in order of time, its last one at its last contact.

    What was recorded before `since_ms` is sent then, all at once.
    """
    today_ms = midnight(max(last_contact.values()))
    found: list[Visit] = []
    for phone, events in phones.items():
        last_ms = last_contact[phone]
        sent: list[Visit] = []
        for at_ms, event in _known(events):
            when = min(max(at_ms + BACK_MS, since_ms), last_ms)
            gap = TODAY_GAP_MS if when >= today_ms else WALK_GAP_MS
            before = sent[-1][0] if sent else 0
            if sent and when - before <= gap and not looks_between(before, when):
                sent[-1] = (when, phone, [*sent[-1][2], event])
            else:
                sent.append((when, phone, [event]))
        if not sent or sent[-1][0] < last_ms:
            sent.append((last_ms, phone, []))
        found += sent
    return sorted(found, key=lambda visit: visit[0])


def midnight(now_ms: int) -> int:
    """Return the instant at which a moment's local day began."""
    day = _local(now_ms).replace(hour=0, minute=0, second=0, microsecond=0)
    return round(day.timestamp() * 1000)


def looks_between(from_ms: int, until_ms: int) -> list[int]:
    """Return the instants after one and up to another at which the alert clock looks."""
    day = _local(from_ms).replace(hour=0, minute=0, second=0, microsecond=0)
    found: list[int] = []
    while day.timestamp() * 1000 <= until_ms:
        moments = [round(day.replace(hour=hour).timestamp() * 1000) for hour in LOOKS_AT]
        found += [at for at in moments if from_ms < at <= until_ms]
        day += timedelta(days=1)
    return found


def _local(at_ms: int) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, ZoneInfo(ZONE))


def _known(events: list[Data]) -> list[tuple[int, Data]]:
    """Return each event with when its phone had it: a phone's numbers rise with time."""
    found, latest = [], 0
    for event in events:
        at = parse_instant(event["observed_at"]) + (event.get("clock") or {}).get("skew_ms", 0)
        typed = event.get("recorded_at")
        latest = max(latest, at, parse_instant(typed) if typed else 0)
        found.append((latest, event))
    return found
