"""Quantities: what is on record, what was taken, and where the record and the world disagree."""

from typing import Any

from lathhouse.domain.rule_terms import is_number

Event = dict[str, Any]
Lot = dict[str, Any]

DISCREPANCIES_MAX = 40
LOSSES_MAX = 60


def disagree(lot: Lot, kind: str, event: Event, recorded: Any = None, said: Any = None) -> None:
    """Note that an event and the record disagree. Both are kept; a person settles it."""
    by = said - recorded if is_number(said) and is_number(recorded) else None
    note = {
        "kind": kind,
        "event": event["id"],
        "at": event["at"],
        "recorded": recorded,
        "said": said,
        "by": by,
    }
    lot["discrepancies"] = [*lot["discrepancies"], note][-DISCREPANCIES_MAX:]


def seedlings_left(lot: Lot) -> int | None:
    """Return the seedlings of a lot still counted in seeds: come up, less those lost since."""
    if not lot["emerged"]:
        return None
    return max(0, int(lot["emerged"]["count"]) - int(lot["lost_seedlings"]))


def take(lot: Lot, amount: Any, event: Event) -> None:
    """Take plants or seeds off the record; more than is there leaves nought and a discrepancy."""
    recorded = lot["quantity"]
    if recorded is None or amount is None:
        return
    if amount > recorded:
        over_recorded(lot, amount, event)
    lot["quantity"] = max(0, recorded - amount)


def over_recorded(lot: Lot, amount: Any, event: Event) -> None:
    """Note that more was moved, sold or lost than is on record."""
    recorded = lot["quantity"]
    disagree(lot, "took_more", event, recorded, amount)
    conflict = lot["conflict"] or {"since": event["at"], "of": recorded, "over": 0}
    lot["conflict"] = {**conflict, "over": conflict["over"] + amount - recorded}


def lose(lot: Lot, event: Event) -> None:
    """Apply a `lost`, always with how many there were."""
    data = event["data"]
    note = {"at": event["at"], "event": event["id"], **data}
    lot["losses"] = [*lot["losses"], note][-LOSSES_MAX:]
    if lot["unit"] in ("seeds", "g") and lot["first_emerged_at"]:
        lot["lost_seedlings"] += data["quantity"]
        return
    if lot["quantity"] is not None and data["out_of"] != lot["quantity"]:
        disagree(lot, "out_of_differs", event, lot["quantity"], data["out_of"])
    take(lot, data["quantity"], event)


def to_seedlings(lot: Lot) -> None:
    """Count a sown lot in seedlings from now on, where its emergence was counted."""
    left = seedlings_left(lot)
    if lot["unit"] in ("seeds", "g", None) and left is not None:
        lot["quantity"], lot["unit"] = left, "seedlings"


def pot_on(lot: Lot, event: Event) -> None:
    """Apply a `potted_on`: into a child lot, or the whole lot into a bigger container.

    Without `into` the lot itself is now what was potted. A seed lot may be potted beyond its last
    count (more came up since), never beyond its seeds.
    """
    data = event["data"]
    quantity, into = data["quantity"], data.get("into")
    counted_in_seeds = lot["unit"] in ("seeds", "g", None)
    seeds = lot["quantity"] if lot["unit"] == "seeds" else None
    to_seedlings(lot)
    if counted_in_seeds and (seeds is None or quantity <= seeds):
        lot["quantity"] = max(lot["quantity"] or 0, quantity)
    if into:
        _into_child(lot, into, quantity, event)
        return
    if lot["quantity"] is not None and quantity > lot["quantity"]:
        over_recorded(lot, quantity, event)
    else:
        lot["quantity"] = quantity
    lot["unit"], lot["container_l"] = "plants", data["container_l"]
    lot["potted_at"] = event["at"]


def _into_child(lot: Lot, into: str, quantity: int, event: Event) -> None:
    counted = lot["split_off"].pop(into, None)
    if counted is not None and lot["quantity"] is not None:
        lot["quantity"] += counted
    lot["potted_into"] = sorted({*lot["potted_into"], into})
    add_child(lot, into)
    take(lot, quantity, event)


def split_off(lot: Lot, event: Event) -> None:
    """Apply the start of a lot that came from this one: with one parent, so did its number."""
    data, child = event["data"], event["lot"]
    parents = data.get("parents") or [data.get("parent")]
    if lot["id"] not in parents:
        return  # a correction has named another parent
    add_child(lot, child)
    same_unit = data.get("unit") in (None, lot["unit"])
    if len(parents) == 1 and same_unit and child not in lot["potted_into"]:
        quantity = data.get("quantity")
        if quantity is not None:
            taken = min(quantity, lot["quantity"]) if lot["quantity"] is not None else quantity
            take(lot, quantity, event)
            lot["split_off"][child] = taken


def add_child(lot: Lot, child: str) -> None:
    """Remember a lot that came from this one."""
    lot["children"] = sorted({*lot["children"], child})


def take_stock(lot: Lot, event: Event) -> None:
    """Apply a `stocktaken`: what was counted is the record, and what disagreed is settled."""
    data = event["data"]
    lot["quantity"], lot["unit"] = data["quantity"], data.get("unit")
    lot["discrepancies"] = [
        note for note in lot["discrepancies"] if note["kind"] not in ("took_more", "out_of_differs")
    ]
    lot["conflict"] = None
    if lot["unit"] in ("seedlings", "plants"):
        lot["lost_seedlings"] = 0
