"""Offer: which of a phone's events a server lacks, after it was restored from a backup."""

from typing import Any

from lathhouse.domain.phone_numbers import is_known
from lathhouse.errors import BadField
from lathhouse.store import phones
from lathhouse.store.models import Event
from lathhouse.store.work import Work, looking

OFFER_MAX = 10_000


def offer(site_id: str, ids: list[Any], now: str, device: str | None = None) -> dict[str, Any]:
    """Return {missing}: the offered ids that are not on record, in the order in which they came.

    One that somebody brought as a file, and whose number this phone has yet to say itself, is
    wanted once more: it is there already, and its number would be a gap for good.

    Raises:
        BadField: too many at once, or one that is not text.
    """
    if len(ids) > OFFER_MAX or not all(isinstance(name, str) for name in ids):
        raise BadField(f"ids must be a list of at most {OFFER_MAX} event ids.", field="ids")

    def act(work: Work) -> dict[str, Any]:
        clean = {name for name in ids if name.isascii() and "\x00" not in name}
        rows = work.rows_in(Event, Event.id, clean)
        phone = device and phones.phone_of(work, device)
        known = {
            row["id"]
            for row in rows
            if not phone or row["device_id"] != device or is_known(phone, row["seq"])
        }
        return {"missing": [name for name in dict.fromkeys(ids) if name not in known]}

    return looking(site_id, now, act)
