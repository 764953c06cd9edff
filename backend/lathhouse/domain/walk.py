"""The walk: places in order, what stands in each, what is to be seen today, the worst first.

One rule for the round on the phone and for the list on paper. Its twin is `core/walk.js`.
"""

from collections.abc import Callable, Iterable
from typing import Any

from lathhouse.domain.facts import is_live
from lathhouse.domain.instants import Offsets, local_date, to_ms

Row = dict[str, Any]

WEIGHT = {"due": 1, "late": 2, "alarm": 3}
# Lots that stand nowhere on record are walked last.
LOOSE = "-"
NO_ORDER = 10**9


def path(places: Iterable[Row], lots: Iterable[Row]) -> list[tuple[Row, list[Row]]]:
    """Return (place, live lots in it) in walking order; loose lots come last."""
    ordered = sorted(places, key=_walking_order)
    by_place: dict[str, list[Row]] = {place["id"]: [] for place in ordered}
    loose: list[Row] = []
    for lot in lots:
        if is_live(lot):
            by_place.get(lot["place"] or LOOSE, loose).append(lot)
    found = [(place, by_place[place["id"]]) for place in ordered]
    return [*found, ({"id": LOOSE, "name": None, "daily": False}, loose)] if loose else found


def _walking_order(place: Row) -> tuple[float, str, str]:
    order = place.get("order")
    return NO_ORDER if order is None else order, place.get("name") or "", place["id"]


def not_left(findings: list[Row]) -> list[Row]:
    """Return the findings that nobody has left until later."""
    return [finding for finding in findings if finding["state"] != "shelved"]


def is_to_see(
    place: Row, lot: Row, found: list[Row], *, noticed: bool, day: str, offsets: Offsets
) -> bool:
    """Say whether a lot is on the walk of a local day.

    Args:
        place: where it stands; one that is `daily` is walked whole.
        lot: its row.
        found: its findings that nobody has left until later.
        noticed: something of it is told before its time.
        day: the nursery's date.
        offsets: the nursery's offsets from UTC.
    """
    seen = lot["seen_at"]
    seen_today = seen is not None and local_date(to_ms(seen), offsets) == day
    if seen_today and not any(finding["level"] == "alarm" for finding in found):
        return False
    return place.get("daily") is True or bool(found) or noticed


def in_order(lots: Iterable[Row], found_of: Callable[[Row], list[Row]]) -> list[Row]:
    """Return lots with the worst first, then by code; `found_of` gives a lot's open findings."""
    return sorted(lots, key=lambda lot: (-weight(found_of(lot)), lot["label"], lot["id"]))


def weight(findings: list[Row]) -> int:
    """Return the rank of the highest level among findings, 0 for none."""
    return max((WEIGHT[finding["level"]] for finding in findings), default=0)
