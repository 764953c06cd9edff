"""What one watch would say of a handful of events: for checking a rule by hand or by example."""

from typing import Any

from lathhouse.domain.facts import lot_facts, phone_facts
from lathhouse.domain.instants import parse_instant, to_text
from lathhouse.domain.lot import fold
from lathhouse.domain.watches import evaluate, load_rules

LOT_ID = "00000000-0000-7000-8000-000000000001"
# Derived facts that an example may state outright, instead of the events they come from.
STATED = ("window_opened", "synced")


class NoSuchWatch(ValueError):
    """The name is not that of a watch."""


def watch_level(
    watch: str, events: list[dict[str, Any]], now: str, rules: Any = None
) -> dict[str, Any]:
    """Return {level, since, says, next_action} of a watch; the level is None where it is silent.

    Args:
        watch: its id.
        events: `{kind, at, data}` each, `at` an RFC 3339 time. `window_opened` and `synced` stand
            for the derived opening of an emergence window and for a phone's last sync.
        now: an RFC 3339 time.

    Raises:
        NoSuchWatch: no watch has this id.
        BadInstant: a time without an offset, or no time at all.
    """
    rules = [rule for rule in rules or load_rules() if rule["id"] == watch]
    if not rules:
        raise NoSuchWatch(f"there is no watch called {watch!r}")
    site = {"offsets": [["1970-01-01T00:00:00.000Z", 0]], "working_days": [1, 2, 3, 4, 5, 6]}
    at = to_text(parse_instant(now))
    timed = [{**event, "at": to_text(parse_instant(event["at"]))} for event in events]
    subject = rules[0]["subjects"][0]
    facts = _phone(timed) if subject == "phone" else _lot(timed)
    found = evaluate(rules, subject, facts, at, site)["findings"] if facts else []
    names = ("level", "since", "says", "next_action")
    return {name: found[0][name] if found else None for name in names}


def _phone(events: list[dict[str, Any]]) -> dict[str, Any]:
    synced = [event["at"] for event in events if event["kind"] == "synced"]
    return phone_facts({"id": LOT_ID, "name": "phone", "last_sync_at": max(synced, default=None)})


def _lot(events: list[dict[str, Any]]) -> dict[str, Any] | None:
    log = [
        {"id": f"e{number}", "device": "", "seq": number, "lot": LOT_ID, "by": None, **event}
        for number, event in enumerate(events, 2)
        if event["kind"] not in STATED
    ]
    if not events:
        return None
    first = min(event["at"] for event in events)
    started = {"crop": None, "label": "example", "quantity": 100, "unit": "seeds"}
    start = {"id": "e1", "device": "", "seq": 1, "lot": LOT_ID, "by": None, "at": first}
    lot = fold(LOT_ID, [{**start, "kind": "lot_started", "data": started}, *log])
    if lot is None:
        return None
    facts = lot_facts(lot, None)
    opened = [event["at"] for event in events if event["kind"] == "window_opened"]
    if opened:
        facts["window"] = {"opens_at": max(opened), "middle_at": None, "closes_at": None}
    return facts
