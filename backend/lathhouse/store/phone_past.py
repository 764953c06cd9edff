"""What is on record of a phone's past: contacts, numbers, refusals, and what was said of it."""

import json
from collections.abc import Iterator

from sqlalchemy import select

from lathhouse.domain.corrections import effective
from lathhouse.domain.phone_replay import Step
from lathhouse.domain.rows import about
from lathhouse.store.log import Log
from lathhouse.store.models import Contact, Event, RefusedEvent
from lathhouse.store.work import Work


def steps_of(log: Log, device: str, *, numbers: bool) -> Iterator[Step]:
    """Yield what happened to a phone, in no order.

    Args:
        numbers: also which of its records came, where the rule looks at that.
    """
    work = log.work
    for row in work.rows(Contact, Contact.device_id == device):
        yield from ((at, "heard", None) for at in sorted({row["first_at"], row["last_at"]}))
    if numbers:
        yield from _came(work, device)
        yield from _refused(work, device)
    told = about("phone", device, effective(log.events_about("phone", device)), work.site_id)
    yield from ((event["at"], "said", event) for event in told)


def _came(work: Work, device: str) -> Iterator[Step]:
    query = (
        select(Event.seq, Event.body)
        .where(Event.site_id == work.site_id, Event.device_id == device)
        .order_by(Event.position)
    )
    for seq, body in work.connection.execute(query):
        yield json.loads(body)["received_at"], "came", seq


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
