"""Emergence counts: cumulative, out of how many, for the lot or flat by flat."""

from typing import Any

from lathhouse.domain import spells

Event = dict[str, Any]
Lot = dict[str, Any]

COUNTS_MAX = 60


def count(lot: Lot, event: Event) -> int | None:
    """Apply a `counted`; return by how many the running count fell, if it did.

    A count that names a flat replaces that flat's last one, and the lot's count is the sum of its
    flats; one that names none is the whole lot's.
    """
    data = event["data"]
    before = lot["emerged"]["count"] if lot["emerged"] else 0
    emerged, out_of = data["emerged"], data["out_of"]
    if data.get("flat") is not None:
        lot["flats"][str(data["flat"])] = [emerged, out_of]
        emerged = sum(pair[0] for pair in lot["flats"].values())
        out_of = sum(pair[1] for pair in lot["flats"].values())
    else:
        lot["flats"] = {}
    lot["emerged"] = {"count": emerged, "out_of": out_of, "at": event["at"]}
    note = {"at": event["at"], "emerged": emerged, "out_of": out_of, "event": event["id"]}
    lot["counts"] = [*lot["counts"], note][-COUNTS_MAX:]
    if emerged > before:
        lot["last_rise_at"] = event["at"]
    if emerged > 0 and lot["first_emerged_at"] is None:
        lot["first_emerged_at"] = event["at"]
        spells.close_all(lot, event)
    return before - emerged if emerged < before else None
