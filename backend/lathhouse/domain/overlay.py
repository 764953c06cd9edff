"""Checkpoints: a lot without its whole log, and what the unsent events make of it.

`overlay(snapshot(A), B) = fold(A ∪ B)` for every B no older than the checkpoint. What is older, or
corrects something older, is named in `unconfirmed` and counts once the server has folded it.
"""

from typing import Any

from lathhouse.domain.corrections import CORRECTIONS, effective, fold_order, root_id
from lathhouse.domain.lot import new_lot, plain_copy, run, started_first

Event = dict[str, Any]
Lot = dict[str, Any]

# Raised by whoever changes what a log comes to: a lot or its checkpoint, a row, or what is kept
# beside them (what frost asks, where mould spreads), or which rows an event is about. A record kept
# under another number is folded again from its log at the next start (`store/refold.py`).
FOLD_VERSION = 8
TAIL_MIN = 8
TAIL_MAX = 40


def snapshot(lot_id: str, events: list[Event], inherited: Lot | None = None) -> dict[str, Any]:
    """Return {lot, checkpoint, checkpoint_at, tail}: the log in little.

    The tail holds the raw events since the oldest open spell began, at least the last eight and at
    most forty or so, with every correction that aims at them. `checkpoint_at` is None while the
    tail is the whole log; `lot` is None while nothing has started it.
    """
    return grow(new_lot(lot_id, inherited), events, None)


def grow(checkpoint: Lot, events: list[Event], checkpoint_at: str | None) -> dict[str, Any]:
    """Return a snapshot from an earlier checkpoint and every event since it."""
    ordered = _in_order(checkpoint, events)
    lot = run(plain_copy(checkpoint), ordered)
    return _kept(lot, checkpoint, ordered, events, checkpoint_at)


def follow(lot: Lot, kept: dict[str, Any], added: list[Event]) -> dict[str, Any] | None:
    """Return the snapshot of a lot as it was, with events that all come after what it holds.

    Nothing is folded twice. None where only the fold can tell: a correction among the events or in
    the tail, or an event that does not come last.

    Args:
        lot: the state that `kept` gave; it is changed in place.
        kept: `checkpoint`, `checkpoint_at` and `tail`.
    """
    tail = kept["tail"]
    if not tail or any(event["kind"] in CORRECTIONS for event in [*tail, *added]):
        return None
    newer = effective(added)
    older = _in_order(kept["checkpoint"], tail)
    if fold_order(newer[0]) <= max(map(fold_order, tail)):
        return None
    run(lot, newer)
    ordered, events = [*older, *newer], [*tail, *added]
    return _kept(lot, kept["checkpoint"], ordered, events, kept["checkpoint_at"])


def _kept(
    lot: Lot, checkpoint: Lot, ordered: list[Event], events: list[Event], at: str | None
) -> dict[str, Any]:
    """Return a snapshot whose checkpoint has swallowed what it may."""
    cut = _cut(lot, ordered)
    if cut > 0:
        at = ordered[cut]["at"]
        checkpoint = run(plain_copy(checkpoint), ordered[:cut])
        folded = {event["id"] for event in ordered[:cut]}
        events = _tail(events, folded, at)
    return {
        "lot": lot if lot["started_at"] else None,
        "checkpoint": checkpoint,
        "checkpoint_at": at,
        "tail": events,
    }


def _in_order(checkpoint: Lot, events: list[Event]) -> list[Event]:
    """Return effective events in fold order; a second start does not come first."""
    ordered = effective(events)
    return ordered if checkpoint["started_at"] else started_first(checkpoint["id"], ordered)


def _cut(lot: Lot, ordered: list[Event]) -> int:
    """Return how many events the checkpoint may swallow: none of an open spell, none of a tie."""
    if not lot["started_at"] or len(ordered) <= TAIL_MIN:
        return 0
    opened = {spell["event"] for spell in lot["spells"] if spell["ended_at"] is None}
    starts = [index for index, event in enumerate(ordered) if event["id"] in opened]
    cut = min([len(ordered) - TAIL_MIN, *starts])
    cut = max(cut, len(ordered) - TAIL_MAX)
    # Everything swallowed must be strictly older than everything left.
    newest = ordered[0]["at"]
    safe = 0
    for index in range(1, cut + 1):
        newest = max(newest, ordered[index - 1]["at"])
        if ordered[index]["at"] > newest:
            safe = index
    return safe


def _tail(events: list[Event], folded: set[str], checkpoint_at: str) -> list[Event]:
    by_id = {event["id"]: event for event in events}

    def stays(event: Event) -> bool:
        if event["kind"] not in CORRECTIONS:
            return event["id"] not in folded and event["at"] >= checkpoint_at
        root = by_id.get(root_id(event, by_id) or "")
        return root is None or stays(root)

    return [event for event in events if stays(event)]


def overlay(row: dict[str, Any], new_events: list[Event]) -> dict[str, Any]:
    """Return {lot, unconfirmed} of a stored row with events that the server has not folded yet.

    Args:
        row: a lot row with its `checkpoint`, `checkpoint_at` and `tail`.
        new_events: events in any order; those that the tail holds already count once.
    """
    unconfirmed = too_old(row, new_events)
    by_id = {event["id"]: event for event in [*new_events, *row["tail"]]}
    events = [event for event in by_id.values() if event["id"] not in unconfirmed]
    lot = run(plain_copy(row["checkpoint"]), _in_order(row["checkpoint"], events))
    return {"lot": lot if lot["started_at"] else None, "unconfirmed": sorted(unconfirmed)}


def too_old(row: dict[str, Any], new_events: list[Event]) -> set[str]:
    """Return the ids of the events that this row cannot take without the log behind it."""
    known = {event["id"] for event in row["tail"]}
    fresh = [event for event in new_events if event["id"] not in known]
    by_id = {event["id"]: event for event in [*row["tail"], *fresh]}
    return {event["id"] for event in fresh if _too_old(event, by_id, row["checkpoint_at"])}


def _too_old(event: Event, by_id: dict[str, Event], checkpoint_at: str | None) -> bool:
    if checkpoint_at is None:
        return False
    if event["kind"] not in CORRECTIONS:
        return bool(event["at"] < checkpoint_at)
    root = by_id.get(root_id(event, by_id) or "")
    return root is None or _too_old(root, by_id, checkpoint_at)
