"""The log of messages as people read it: what was sent to whom, when, and what came of it."""

import json
from typing import Any

from sqlalchemy import select

from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.errors import BadCursor
from lathhouse.store import config
from lathhouse.store.deliveries import MORNING, QUEUED, TAKEN, TEST
from lathhouse.store.models import Delivery
from lathhouse.store.work import Row, Work, looking, writing

Data = dict[str, Any]
PAGE_MAX = 200
# A year and a month: last year's same week can still be looked up. Our own choice.
KEPT_DAYS = 400


def list_deliveries(
    site_id: str, recipient: str | None, limit: int, after: str | None, now: str
) -> Data:
    """Return {deliveries, more}, the newest first; of one recipient, or of all.

    Raises:
        BadCursor: `after` is not a delivery's id.
    """
    if after and "\0" in after:
        raise BadCursor("Begin without `after`, or send the last delivery's id.")

    def read(work: Work) -> Data:
        most = max(1, min(limit, PAGE_MAX))
        query = select(Delivery.__table__).where(Delivery.site_id == site_id)
        query = query.where(Delivery.recipient == recipient) if recipient else query
        query = query.where(Delivery.id < after) if after else query
        rows = work.connection.execute(query.order_by(Delivery.id.desc()).limit(most + 1))
        found = [dict(row) for row in rows.mappings()]
        names = names_of(work)
        return {
            "deliveries": [shown(row, names) for row in found[:most]],
            "more": len(found) > most,
        }

    return looking(site_id, now, read)


def names_of(work: Work) -> dict[str, str | None]:
    """Return {recipient: name} of the people and the phones."""
    people = config.rows_of_kind(work, "person")
    phones = config.rows_of_kind(work, "phone")
    found = {f"person:{name}": row.get("name") for name, row in people.items()}
    return found | {f"device:{name}": row.get("name") for name, row in phones.items()}


def shown(row: Row, names: dict[str, str | None]) -> Data:
    """Return a queue row as the log shows it: to whom, by what, what of, when, and what came."""
    own = ("id", "channel", "kind", "state", "why", "due_at", "made_at", "ended_at", "attempts")
    about = json.loads(row["data"])
    phones = list(about.pop("phones", {}).values())
    seen = {name: row[name] for name in own}
    seen |= {"to": row["recipient"], "to_name": names.get(row["recipient"])}
    seen |= {
        "message": row["message_id"],
        "phones": {"asked": len(phones), "taken": phones.count(TAKEN)},
        "alert": None if row["kind"] in (MORNING, TEST) else row["alert_id"],
    }
    return {**seen, "about": about or None}


def clear_old(site_id: str, now: str) -> int:
    """Take what ended `KEPT_DAYS` ago out of the log; return how many there were.

    What waits, or is on its way, is never taken out. An alert that stands for longer than that in
    one state was told, and is told again only if it goes and comes back.
    """
    before = to_text(to_ms(now) - KEPT_DAYS * DAY_MS)
    old = (Delivery.state.not_in(QUEUED), Delivery.ended_at < before)

    def act(work: Work) -> int:
        count = len(work.rows(Delivery, *old))
        work.delete(Delivery, *old)
        return count

    return writing(site_id, now, act)
