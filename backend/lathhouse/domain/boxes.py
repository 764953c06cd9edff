"""The boxes of a list on paper that are no lot's look: what of them is typed in afterwards.

Covers and running steps, each by what it is about. The twin of `boxes` is `core/boxes.js`; the rest
writes them into the address that opens the list for typing in, which the phone reads there.
"""

from typing import Any

Row = dict[str, Any]

# One letter each in the address: it is printed as a drawing, which stays small.
LETTERS = {"soak": "k", "sanitise": "b", "drained": "d", "cover": "c", "second": "s",
           "uncover": "u"}  # fmt: skip
LOW, WALKED = "n", "w"
# Of a UUID the end is enough to tell the rows of one nursery apart; its beginning is a clock.
UUID_LONG, TAIL = 36, 8


def boxes(found: Row) -> list[Row]:
    """Return {act, id} of each box in the list's order; `id` is a lot's or a place's.

    Args:
        found: what `domain.morning.morning` returned. An act on no place (`""`) is about the lots
            without one.
    """
    night = found["evening"] or {"places": [], "thin": [], "covered": []}
    return [
        *({"act": step["kind"], "id": step["lot"]} for step in found["running"]),
        *({"act": "cover", "id": one["place"]} for one in night["places"]),
        *({"act": "second", "id": one["place"]} for one in night["thin"]),
        *({"act": "uncover", "id": one["place"]} for one in night["covered"] if one["comes_off"]),
    ]


def box_codes(found: Row) -> str:
    """Return a list's boxes as they stand in its address: "k:1a2b3c4d,c:5e6f7a8b,n:-3"."""
    named = [f"{LETTERS[one['act']]}:{_short(one['id'])}" for one in boxes(found)]
    low = (found["evening"] or {}).get("low_c")
    return ",".join([*named, f"{LOW}:{low:g}"] if named and low is not None else named)


def place_codes(found: Row) -> str:
    """Return the places in which a list has lots, as they stand in its address."""
    return ",".join(f"{WALKED}:{_short(stop['place'])}" for stop in found["stops"] if stop["lots"])


def _short(name: str) -> str:
    return name[-TAIL:] if len(name) == UUID_LONG else name.replace(",", "_")
