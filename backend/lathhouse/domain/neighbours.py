"""Mould spreads: what the lots that stand beside a lot mean for it."""

from typing import Any

from lathhouse.domain.instants import later
from lathhouse.domain.rule_terms import run_start

Lot = dict[str, Any]
# [lot, since when mould has been spreading in it, where it stands now]
Spreading = list[Any]


def spreading_since(lot: Lot) -> str | None:
    """Return since when mould has been spreading in a live lot, where it stands now; else None."""
    if lot["closed_at"] is not None or lot["quantity"] == 0 or lot["place"] is None:
        return None
    start = run_start(lot, {"run_of": "fungus", "is": "spreading"})
    return later(start, lot.get("placed_at")) if start else None


def beside_facts(lot: Lot, spreading: list[Spreading]) -> dict[str, Any]:
    """Return {spreading_since}: the oldest mould beside a lot that it has not been looked at for.

    Mould counts from when both stood in one place. A lot in which it spreads itself is told of by
    its own watch.

    Args:
        spreading: [lot, since] of every lot of its place in which mould is spreading.
    """
    own = run_start(lot, {"run_of": "fungus", "is": "spreading"})
    looked_at = lot["last_look"]["at"] if lot["last_look"] else ""
    starts = [
        later(at, lot.get("placed_at")) or at for other, at in spreading if other != lot["id"]
    ]
    unseen = [at for at in starts if looked_at < at]
    return {"spreading_since": None if own else min(unseen, default=None)}
