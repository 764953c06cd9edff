"""Corrections: what the record says after every `amended` and `voided` has been read.

Nothing here depends on the order in which events arrived. `voided` beats `amended`; voiding a void
restores; of several amendments each field keeps the latest by fold order; a correction that came
before what it corrects waits for it (DESIGN, "How the fold reads a log").
"""

from collections.abc import Iterable, Iterator
from typing import Any

Event = dict[str, Any]

CORRECTIONS = ("amended", "voided")


def fold_order(event: Event) -> tuple[str, str, int, str]:
    """Return the sort key of an event: corrected time, then device, number and id."""
    return (event["at"], event.get("device") or "", event.get("seq") or 0, event["id"])


def target_id(event: Event) -> str | None:
    """Return the id that a correction names, or None for any other event."""
    if event["kind"] not in CORRECTIONS:
        return None
    of = (event.get("data") or {}).get("of")
    return of if isinstance(of, str) else None


def root_id(
    event: Event, by_id: dict[str, Event], through: tuple[str, ...] = CORRECTIONS
) -> str | None:
    """Return the id of the first event that a chain of corrections is about.

    The id may be unknown (the correction waits). None when the chain bites its own tail.
    """
    seen = {event["id"]}
    of = target_id(event)
    while of in by_id and by_id[of]["kind"] in through:
        if of in seen:
            return None
        seen.add(of)
        of = target_id(by_id[of])
    return of


def active_voids(by_id: dict[str, Event]) -> set[str]:
    """Return the ids of the voids that hold: those which no holding void names.

    Voids that name each other in a ring never settle, and none of them holds.
    """
    voids = {e["id"]: target_id(e) for e in by_id.values() if e["kind"] == "voided"}
    waiting: dict[str, int] = dict.fromkeys(voids, 0)
    for of in voids.values():
        if of in waiting:
            waiting[of] += 1
    ready = [void for void, count in waiting.items() if count == 0]
    holds: set[str] = set()
    struck: set[str] = set()
    while ready:
        void = ready.pop()
        if void not in struck:
            holds.add(void)
        of = voids[void]
        if of in waiting:
            if void in holds:
                struck.add(of)
            waiting[of] -= 1
            if waiting[of] == 0:
                ready.append(of)
    return holds


def amendments(by_id: dict[str, Event], voided: set[str | None]) -> dict[str, list[Event]]:
    """Return for each amended event its holding amendments, in fold order."""
    found: dict[str, list[Event]] = {}
    for event in by_id.values():
        if event["kind"] != "amended" or event["id"] in voided:
            continue
        # Amending a void amends nothing: such a chain ends on the void itself.
        root = root_id(event, by_id, through=("amended",))
        if root is not None:
            found.setdefault(root, []).append(event)
    for chain in found.values():
        chain.sort(key=fold_order)
    return found


def effective(events: Iterable[Event]) -> list[Event]:
    """Return what the log says now: in fold order, amended, without the voided and the corrections.

    An amended event carries its first words in `said` and the ids of its amendments in
    `amended_by`. An id that comes twice counts once.
    """
    by_id: dict[str, Event] = {}
    for event in sorted(events, key=fold_order):
        by_id.setdefault(event["id"], event)
    corrections = [event for event in by_id.values() if event["kind"] in CORRECTIONS]
    return list(corrected(by_id.values(), corrections)) if corrections else list(by_id.values())


def corrected(ordered: Iterable[Event], corrections: list[Event]) -> Iterator[Event]:
    """Yield what events in fold order say by these corrections, which may be among them.

    One after another, so that a log of any length can be read a part at a time.
    """
    by_id = {event["id"]: event for event in corrections}
    voided: set[str | None] = {target_id(by_id[void]) for void in active_voids(by_id)}
    chains = amendments(by_id, voided)
    for event in ordered:
        if event["kind"] in CORRECTIONS or event["id"] in voided:
            continue
        chain = chains.get(event["id"])
        yield _amended(event, chain) if chain else event


def _amended(event: Event, chain: list[Event]) -> Event:
    data = dict(event.get("data") or {})
    for amendment in chain:
        fields = (amendment.get("data") or {}).get("data")
        data.update(fields if isinstance(fields, dict) else {})
    return {
        **event,
        "data": data,
        "said": event.get("data") or {},
        "amended_by": [amendment["id"] for amendment in chain],
    }
