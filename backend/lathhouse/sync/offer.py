"""Offer: which of a phone's events a server lacks, after it was restored from a backup."""

from typing import Any

from lathhouse.errors import BadField
from lathhouse.store.models import Event
from lathhouse.store.work import Work, looking

OFFER_MAX = 10_000


def offer(site_id: str, ids: list[Any], now: str) -> dict[str, Any]:
    """Return {missing}: the offered ids that are not on record, in the order in which they came.

    Raises:
        BadField: too many at once, or one that is not text.
    """
    if len(ids) > OFFER_MAX or not all(isinstance(name, str) for name in ids):
        raise BadField(f"ids must be a list of at most {OFFER_MAX} event ids.", field="ids")

    def act(work: Work) -> dict[str, Any]:
        clean = {name for name in ids if name.isascii() and "\x00" not in name}
        known = {row["id"] for row in work.rows_in(Event, Event.id, clean)}
        return {"missing": [name for name in dict.fromkeys(ids) if name not in known]}

    return looking(site_id, now, act)
