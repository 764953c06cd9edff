"""Lots, derived: from the row's checkpoint where that is enough, else from the whole log."""

import json
from typing import Any

from lathhouse.domain.corrections import effective, fold_order, target_id
from lathhouse.domain.lot import start_from, started_first
from lathhouse.domain.overlay import follow, grow, snapshot, too_old
from lathhouse.store.log import Log
from lathhouse.store.models import Subject
from lathhouse.store.work import Row

Lot = dict[str, Any]
Event = dict[str, Any]


def derive_lots(log: Log, rows: dict[str, Row]) -> dict[str, Row]:
    """Return {lot id: snapshot} of every lot that the added events change.

    A lot whose parent's past changed is folded again too, down to the last generation.

    Args:
        rows: the stored rows of these lots, by id; more are read as descendants turn up.
    """
    found: dict[str, Row] = {}
    waiting = sorted(log.subjects("lot"))
    _read_rows(log, waiting, rows)
    # Folded from their whole log: what their children began with has changed with them.
    anew = {lot_id for lot_id in waiting if lot_id not in rows}
    while waiting:
        heirs: set[str] = set()
        for lot_id in waiting:
            found[lot_id] = derive_lot(log, lot_id, None if lot_id in anew else rows.get(lot_id))
            lot = found[lot_id]["lot"]
            heirs |= set(lot["children"] if lot else ()) - anew
        _read_rows(log, sorted(heirs), rows)
        waiting = sorted(heir for heir in heirs if _past_changed(log, rows.get(heir), anew))
        anew |= set(waiting)
    return found


def _read_rows(log: Log, ids: list[str], rows: dict[str, Row]) -> None:
    missing = [lot_id for lot_id in ids if lot_id not in rows]
    kept = log.work.rows_in(Subject, Subject.id, missing, Subject.kind == "lot")
    rows.update({row["id"]: row for row in kept})
    log.read_ahead("lot", [lot_id for lot_id in missing if lot_id not in rows])


def _past_changed(log: Log, row: Row | None, anew: set[str]) -> bool:
    """Say whether an added event can have changed what this lot began with."""
    if row is None:
        return True
    started = json.loads(row["data"]).get("started_at")
    parents = set(json.loads(row["data"]).get("parents") or [])
    if started is None or parents & anew or not parents & log.subjects("lot"):
        return True
    added = [event for parent in parents for event in log.added_about("lot", parent)]
    return any(target_id(event) or event["at"] < started for event in added)


def derive_lot(log: Log, lot_id: str, row: Row | None) -> Row:
    """Return the snapshot of one lot."""
    added = log.added_about("lot", lot_id)
    if row is not None and row["checkpoint"]:
        kept = {
            "checkpoint": json.loads(row["checkpoint"]),
            "checkpoint_at": row["checkpoint_at"],
            "tail": json.loads(row["tail"]),
        }
        starts = any(event["kind"] == "lot_started" and event["lot"] == lot_id for event in added)
        lot = json.loads(row["data"])
        followed = follow(lot, kept, added) if lot.get("started_at") and not starts else None
        if followed:
            return followed
        if not starts and not too_old(kept, added):
            known = {event["id"] for event in added}
            tail = [event for event in kept["tail"] if event["id"] not in known]
            return grow(kept["checkpoint"], [*tail, *added], kept["checkpoint_at"])
    events = log.events_about("lot", lot_id)
    return snapshot(lot_id, events, inherited(log, lot_id, events))


def inherited(log: Log, lot_id: str, events: list[dict[str, Any]]) -> Lot:
    """Return what a lot's parents, as they were when it began, leave it."""
    start, parents = _beginning(lot_id, events)
    states = [_as_it_was(log, parent, start) for parent in parents] if start else []
    return start_from([state for state in states if state])


def _beginning(lot_id: str, events: list[Event]) -> tuple[Event | None, list[str]]:
    """Return a lot's own start, where it has one, and the parents that this names."""
    ordered = started_first(lot_id, effective(events))
    start = ordered[0] if ordered else None
    if start is None or start["kind"] != "lot_started" or start["lot"] != lot_id:
        return None, []
    data = start.get("data") or {}
    parents = data.get("parents") or ([data["parent"]] if data.get("parent") else [])
    return start, [parent for parent in parents if parent != lot_id]


def _as_it_was(log: Log, lot_id: str, start: Event) -> Lot | None:
    """Return a lot as it was when another one began.

    Each is folded once for a piece of work, however many ways lead to it through splits and merges;
    and since each began before what it is asked for, there is an end to it however deep it goes.
    """
    waiting = [(lot_id, start)]
    while waiting:
        lot, begun = waiting[-1]
        if _key(lot, begun) in log.as_it_was:
            waiting.pop()
            continue
        events = _before(log, lot, begun)
        own, parents = _beginning(lot, events)
        asked = [(parent, own) for parent in parents] if own else []
        missing = [one for one in asked if _key(*one) not in log.as_it_was]
        if missing:
            waiting += missing
            continue
        states = [log.as_it_was[_key(*one)] for one in asked]
        past = start_from([state for state in states if state])
        log.as_it_was[_key(lot, begun)] = snapshot(lot, events, past)["lot"]
    found: Lot | None = log.as_it_was[_key(lot_id, start)]
    return found


def _key(lot_id: str, start: Event) -> tuple[Any, ...]:
    return (lot_id, *fold_order(start))


def _before(log: Log, lot_id: str, start: Event) -> list[Event]:
    return [
        event
        for event in log.events_about("lot", lot_id)
        if target_id(event) or fold_order(event) < fold_order(start)
    ]
