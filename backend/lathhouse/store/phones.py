"""Paired phones and other devices: their numbers, gaps, refusals and last contact."""

import json
from typing import Any

from sqlalchemy import func, select

from lathhouse.store.config import data_of, fold_row
from lathhouse.store.log import Log, is_key
from lathhouse.store.models import Contact, RefusedEvent
from lathhouse.store.work import Row, Work, dumps

Data = dict[str, Any]


def new_phone(device: str, now: str) -> Data:
    """Return the row of a device that is met for the first time."""
    return {
        "id": device,
        "name": None,
        "person": None,
        "role": None,
        "paired_at": now,
        "last_sync_at": None,
        "contiguous": 0,
        "beyond": [],
        "gap_since": None,
        "refused_since": None,
        "cloned_since": None,
        "silent_ok": False,
        "answers": {},
    }


def phone_of(work: Work, device: str) -> Data:
    """Return a device's row, new where it was never met."""
    return data_of(work, "phone", device) or new_phone(device, work.now)


def keep_contact(work: Work, device: str) -> None:
    """Keep that a device was in touch: of each hour the first time and the last."""
    hour = work.now[: len("2026-07-01T08")]
    mine = (Contact.device_id == device, Contact.hour == hour)
    known = work.rows(Contact, *mine)
    times = sorted([work.now, *(row[name] for row in known for name in ("first_at", "last_at"))])
    row = {"device_id": device, "hour": hour, "first_at": times[0], "last_at": times[-1]}
    work.upsert(Contact, [row], ("device_id", "hour"))


def keep_refused(work: Work, device: str, refused: list[Row]) -> None:
    """Keep refused items whole, each once however often it comes."""
    known = work.rows_in(RefusedEvent, RefusedEvent.hash, {row["hash"] for row in refused})
    mended = {row["hash"]: row["mended_by"] for row in known if row["device_id"] == device}
    rows = {
        row["hash"]: {
            "device_id": device,
            "hash": row["hash"],
            "event_id": row["event_id"],
            "seq": row["seq"],
            "body": dumps(row["body"]),
            "problem": dumps(row["problem"]),
            "at": work.now,
            "mended_by": None,
        }
        for row in refused
        if row["hash"] not in mended
    }
    work.insert(RefusedEvent, list(rows.values()))


def refused_hashes(work: Work, device: str, events: list[Data]) -> set[str]:
    """Return the hashes of those events of a device that were refused before, word for word."""
    rows = work.rows_in(RefusedEvent, RefusedEvent.hash, {event["hash"] for event in events})
    return {row["hash"] for row in rows if row["device_id"] == device}


def mend(work: Work, added: list[Data]) -> None:
    """Mark the refusals that added events mend: by `mends`, by a void, or by the same id."""
    mends: dict[str, str] = {}
    for event in added:
        data = event.get("data") or {}
        named = [event["id"], event.get("mends"), data.get("mends")]
        named += [data.get("of")] if event["kind"] == "voided" else []
        mends.update({n: event["id"] for n in named if isinstance(n, str) and is_key(n)})
    for row in work.rows_in(RefusedEvent, RefusedEvent.event_id, mends):
        if row["mended_by"] is None:
            changed = {name: value for name, value in row.items() if name != "site_id"}
            changed["mended_by"] = mends[row["event_id"]]
            work.upsert(RefusedEvent, [changed], ("device_id", "hash"))


def refused_since(work: Work, device: str) -> str | None:
    """Return since when the oldest refusal of a device waits to be mended."""
    query = select(func.min(RefusedEvent.at)).where(
        RefusedEvent.site_id == work.site_id,
        RefusedEvent.device_id == device,
        RefusedEvent.mended_by.is_(None),
    )
    found: str | None = work.connection.execute(query).scalar()
    return found


def list_refused(work: Work, device: str) -> list[Data]:
    """Return a device's refused items that wait to be mended, with their problems."""
    rows = work.rows(RefusedEvent, RefusedEvent.device_id == device)
    return [
        {"event": json.loads(row["body"]), "problem": json.loads(row["problem"]), "at": row["at"]}
        for row in rows
        if row["mended_by"] is None
    ]


def with_answers(log: Log, phone: Data) -> Data:
    """Return a phone's row with what people answered about it."""
    at = ("phone", phone["id"])
    events = log.events_about(*at) if log.subjects("phone") else []
    return fold_row(log.work.site_id, at, phone, events) or phone if events else phone
