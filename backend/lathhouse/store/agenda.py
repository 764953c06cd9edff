"""What the calendar feeds give out: worked out anew when the record or the day has changed.

Entries that were given out are remembered, so that what is no longer due is given as cancelled for
a month, with its number raised, and vanishes from every calendar that had it.
"""

import json
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import func, select

from lathhouse.domain.agenda import agenda, ahead
from lathhouse.domain.facts import is_live
from lathhouse.domain.instants import DAY_MS, local_date, to_ms, to_text
from lathhouse.store.config import rows_of_kind
from lathhouse.store.models import CalendarEntry, Site, Subject
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Row, Work, dumps, looking, writing

CANCELLED_DAYS = 30
CANCELLED_MAX = 1000
# A feed as it was written, and when what it says was changed, where that can be told.
Text = tuple[str, str | None]
OTHERS = ("place", "nursery", "phone", "solution")


@dataclass
class Given:
    """The entries that a feed gives, and until when they hold if nothing is recorded."""

    revision: int
    day: str
    until: str | None
    name: str
    entries: list[Row]
    # As it was written for a host's own addresses and for somebody's quiet hours; one server is
    # known by few names, and few people have hours of their own.
    texts: dict[tuple[str, ...], Text] = field(default_factory=dict)


_given: dict[str, Given] = {}


def given(site_id: str, now: str) -> Given:
    """Return what the feeds of a site give out now.

    The same revision on the same day, with no deadline gone by, gives the same: then only the
    site's counter, the nursery's row and the nearest deadline are read.
    """
    kept = _given.get(site_id)
    if kept and looking(site_id, now, lambda work: _holds(work, kept)):
        return kept
    found = looking(site_id, now, _work_out)
    found.entries = writing(site_id, now, lambda work: _settle(work, found.entries))
    _given[site_id] = found
    return found


def _holds(work: Work, kept: Given) -> bool:
    if kept.until is not None and kept.until <= work.now:
        return False
    return kept.revision == _revision(work) and kept.day == _today(work)


def _revision(work: Work) -> int:
    query = select(Site.revision).where(Site.id == work.site_id)
    return int(work.connection.execute(query).scalar_one())


def _today(work: Work) -> str:
    nursery = rows_of_kind(work, "nursery")[work.site_id]
    return local_date(to_ms(work.now), nursery["offsets"])


def _work_out(work: Work) -> Given:
    watcher = Watcher(work)
    nursery = rows_of_kind(work, "nursery")[work.site_id]
    lots = [json.loads(row["data"]) for row in work.rows(Subject, Subject.kind == "lot")]
    lots = [lot for lot in lots if not lot.get("gone") and is_live(lot)]
    subjects = [("lot", lot) for lot in lots]
    subjects += [(kind, row) for kind in OTHERS for row in rows_of_kind(work, kind).values()]
    found = [
        one
        for kind, row in subjects
        for one in ahead(watcher.rules, kind, watcher.facts_of(kind, row), work.now, watcher.site)
    ]
    named = {lot["id"]: {"label": lot["label"], "crop": _crop(watcher, lot)} for lot in lots}
    places = {name: row.get("name") or "?" for name, row in watcher.places.items()}
    house = {"nursery": nursery, "places": places, "lots": named}
    soonest = select(func.min(Subject.next_deadline)).where(
        Subject.site_id == work.site_id, Subject.next_deadline > work.now
    )
    return Given(
        revision=_revision(work),
        day=local_date(to_ms(work.now), nursery["offsets"]),
        until=work.connection.execute(soonest).scalar(),
        name=nursery.get("name") or "Lathhouse",
        entries=agenda(found, work.now, house),
    )


def _crop(watcher: Watcher, lot: Row) -> str:
    return str((watcher.crops.get(lot["crop"]) or {}).get("botanical") or lot["crop"])


def _settle(work: Work, entries: list[Row]) -> list[Row]:
    """Return these entries with their numbers, and those that are over, as they are remembered."""
    work.lock(["calendar"])
    stored = {row["uid"]: row for row in work.rows(CalendarEntry)}
    changed: list[Row] = []
    for entry in entries:
        row = stored.pop(entry["uid"], None)
        body = dumps(entry)
        if row is None or row["body"] != body or row["cancelled_at"]:
            changed.append(_row(work, entry["uid"], body, row, cancelled=False))
    for row in stored.values():
        if row["cancelled_at"] is None:
            changed.append(_row(work, row["uid"], row["body"], row, cancelled=True))
    work.upsert(CalendarEntry, changed, ("uid",))
    over = to_text(to_ms(work.now) - CANCELLED_DAYS * DAY_MS)
    work.delete(CalendarEntry, CalendarEntry.cancelled_at < over)
    return _remembered(work)


def _row(work: Work, uid: str, body: str, before: Row | None, *, cancelled: bool) -> Row:
    return {
        "uid": uid,
        "body": body,
        "sequence": before["sequence"] + 1 if before else 0,
        "changed_at": work.now,
        "cancelled_at": work.now if cancelled else None,
    }


def _remembered(work: Work) -> list[Row]:
    rows = work.rows(CalendarEntry)
    due = [row for row in rows if row["cancelled_at"] is None]
    over = sorted(
        (row for row in rows if row["cancelled_at"]),
        key=lambda row: (row["cancelled_at"], row["uid"]),
    )
    return [_entry(row) for row in [*_in_order(due), *over[-CANCELLED_MAX:]]]


def _in_order(rows: list[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: row["uid"])


def _entry(row: Row) -> dict[str, Any]:
    known = {"sequence": row["sequence"], "changed_at": row["changed_at"]}
    return {**json.loads(row["body"]), **known, "cancelled": row["cancelled_at"] is not None}
