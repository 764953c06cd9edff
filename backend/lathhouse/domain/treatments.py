"""Sprays and other treatments: how long a place is closed, and how long a lot may not be sold.

The label, local rules and licensed practice come first; of two intervals the longer one holds
(California Code of Regulations, title 3, section 6772).
"""

from typing import Any

from lathhouse.domain.instants import (
    DAY_MS,
    HOUR_MS,
    BadInstant,
    Offsets,
    later,
    local_date,
    parse_instant,
    to_ms,
    to_text,
    within_years,
)
from lathhouse.domain.rule_terms import is_number

Data = dict[str, Any]

# More only where more of them still run. Ours.
KEPT_MAX, OF_A_LOT_KEPT_MAX = 8, 40


def ended_at(event: Data) -> str:
    """Return when a treatment ended; where that cannot be read, when it was recorded."""
    try:
        return to_text(parse_instant((event.get("data") or {}).get("ended_at")))
    except BadInstant:
        return str(event["at"])


def after(ended: str, length: Any, unit_ms: int) -> str | None:
    """Return the instant so many units after an end, or None where no interval is on record."""
    if not is_number(length) or length <= 0:
        return None
    return to_text(within_years(parse_instant(ended) + int(length * unit_ms + 0.5)))


def treatment_of(event: Data) -> Data:
    """Return what is kept of a `treated` event, for the place and for the lots in it."""
    data, ended = event.get("data") or {}, ended_at(event)
    return {
        "event": event["id"],
        "lot": event.get("lot"),
        "product": data.get("product"),
        "ended_at": ended,
        "enter_after": after(ended, data.get("rei_hours"), HOUR_MS),
        "hold_until": after(ended, data.get("sale_hold_days"), DAY_MS),
    }


def with_treatment(row: Data, event: Data) -> Data:
    """Return a place's row after a treatment in it; the longest interval holds."""
    before = row.get("treatments") or []
    kept = [*_still_kept(before, before, event["at"], KEPT_MAX), treatment_of(event)]
    return {**row, "treatments": kept, "enter_after": later(*(one["enter_after"] for one in kept))}


def with_note(notes: list[Data], note: Data) -> list[Data]:
    """Return a lot's own treatments with one more."""
    told = [treatment_of({**one, "id": one["event"], "data": one}) for one in notes]
    return [*_still_kept(notes, told, note["at"], OF_A_LOT_KEPT_MAX), note]


def _still_kept(kept: list[Data], treatments: list[Data], now: str, most: int) -> list[Data]:
    """Return those that stay beside a new one: of too many, the oldest that are over go.

    Args:
        treatments: what each of those kept means, in the same order.
    """
    ends = [later(one["enter_after"], one["hold_until"]) or "" for one in treatments]
    over = [number for number, end in enumerate(ends) if end <= now]
    gone = set(over[: max(len(kept) + 1 - most, 0)])
    return [one for number, one in enumerate(kept) if number not in gone]


def entry_facts(place: Data, newest_visit_at: str | None) -> Data:
    """Return {at, until, product} of the last visit to a place, where it was closed just then.

    A lot in it that was seen says that somebody was there, whatever became of it since; whoever
    sprayed has been there as of the treatment's end, which is no visit.
    """
    seen_at = later(newest_visit_at, place.get("entered_at"))
    treatments = place.get("treatments") or []
    over = [t for t in treatments if t["enter_after"] and t["ended_at"] < (seen_at or "")]
    closed = [t for t in over if (seen_at or "") < t["enter_after"]]
    if not closed:
        return {"at": None}
    longest = max(closed, key=lambda one: str(one["enter_after"]))
    return {"at": seen_at, "until": longest["enter_after"], "product": longest["product"]}


def hold_facts(lot: Data, place: Data | None, offsets: Offsets) -> Data:
    """Return what a lot's treatments mean for its sale.

    {until, product} of the longest hold; `sold_at` of the last sale within a hold, and that hold's
    end (`sold_until`); of the promises that a hold catches the one to be delivered soonest
    (`deliver_on`), since when it is caught (`promised_at`) and until when (`promised_until`).
    """
    holds = [one for one in _treatments(lot, place) if one["hold_until"]]
    if not holds:
        return {"until": None}
    longest = max(holds, key=lambda one: str(one["hold_until"]))
    facts: Data = {"until": longest["hold_until"], "product": longest["product"]}
    sold = [
        (sale["at"], hold["hold_until"])
        for hold in holds
        for sale in lot["sales"]
        if hold["ended_at"] < sale["at"] < hold["hold_until"]
    ]
    if sold:
        facts |= dict(zip(("sold_at", "sold_until"), max(sold), strict=True))
    return facts | _promised(lot, holds, offsets)


def _promised(lot: Data, holds: list[Data], offsets: Offsets) -> Data:
    """Return the soonest promise whose day falls into a hold, to the local day, both ends in."""

    def days(hold: Data) -> tuple[str, str]:
        first, last = (local_date(to_ms(hold[end]), offsets) for end in ("ended_at", "hold_until"))
        return first, last

    found = [
        (note["deliver_on"], later(note["at"], hold["ended_at"]) or "", hold["hold_until"])
        for hold, (first, last) in ((hold, days(hold)) for hold in holds)
        for note in lot["promises"]
        if isinstance(note.get("deliver_on"), str) and first <= note["deliver_on"] <= last
    ]
    if not found:
        return {}
    day = min(one[0] for one in found)
    same = [one for one in found if one[0] == day]
    since, until = min(one[1] for one in same), max(one[2] for one in same)
    return {"deliver_on": day, "promised_at": since, "promised_until": until}


def _treatments(lot: Data, place: Data | None) -> list[Data]:
    """Return a lot's own treatments, and those of its place as a whole while it stood there."""
    own = [
        treatment_of({**n, "id": n["event"], "lot": lot["id"], "data": n})
        for n in lot["treatments"]
    ]
    stood = lot.get("placed_at") or ""
    there = [t for t in (place or {}).get("treatments") or [] if t["lot"] is None]
    return [*own, *(one for one in there if stood <= one["ended_at"])]
