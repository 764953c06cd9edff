"""What is on record of a phone's past: contacts, numbers, refusals, and what was said of it.

Contacts are kept since migration 0015; of the time before that, only those with records are known.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import select

from lathhouse.domain.corrections import effective
from lathhouse.domain.phone_replay import Step
from lathhouse.domain.rows import about
from lathhouse.store.log import Log
from lathhouse.store.models import Contact, Event, RefusedEvent
from lathhouse.store.work import Work


def steps_of(
    log: Log, row: dict[str, Any], *, numbers: bool = True, contacts: bool = True
) -> Iterator[Step]:
    """Yield what happened to a phone, in no order.

    Args:
        row: its row as it is today.
        numbers: also which of its records came, where the rule looks at that.
        contacts: also when it was in touch.
    """
    work, device = log.work, row["id"]
    if contacts:
        yield from ((at, "heard", None) for at in _heard(work, row))
    if numbers:
        yield from _came(work, device)
        yield from _refused(work, device)
    told = about("phone", device, effective(log.events_about("phone", device)), work.site_id)
    yield from ((event["at"], "said", event) for event in told)


def _heard(work: Work, row: dict[str, Any]) -> Iterator[str]:
    if row["last_sync_at"]:
        yield row["last_sync_at"]
    for kept in work.rows(Contact, Contact.device_id == row["id"]):
        yield from sorted({kept["first_at"], kept["last_at"]})
    for event in _events(work, row["id"]):
        if not event.get("brought"):
            yield event["received_at"]


def _events(work: Work, device: str) -> Iterator[dict[str, Any]]:
    query = (
        select(Event.body)
        .where(Event.site_id == work.site_id, Event.device_id == device)
        .order_by(Event.position)
    )
    yield from map(json.loads, work.connection.execute(query).scalars())


def _came(work: Work, device: str) -> Iterator[Step]:
    for event in _events(work, device):
        aside = (event.get("brought") or {}).get("aside")
        yield event["received_at"], "brought" if aside else "came", event["seq"]


def _refused(work: Work, device: str) -> Iterator[Step]:
    rows = work.rows(RefusedEvent, RefusedEvent.device_id == device)
    menders = work.rows_in(Event, Event.id, {row["mended_by"] for row in rows} - {None})
    mended_at = {row["id"]: json.loads(row["body"])["received_at"] for row in menders}
    for row in rows:
        if row["seq"] is not None:
            yield row["at"], "came", row["seq"]
        yield row["at"], "refused", row["hash"]
        if row["mended_by"] in mended_at:
            yield mended_at[row["mended_by"]], "mended", row["hash"]
