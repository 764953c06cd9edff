"""Rows that people change whole: places, people, protocols, watches, the nursery itself."""

import json
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import DAY_MS, offsets_of, to_ms
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.rows import ANSWERS, PLACE_KINDS, ROW_KINDS, about, go_on
from lathhouse.domain.solutions import new_solution
from lathhouse.domain.watches import load_rules
from lathhouse.store import long_rows
from lathhouse.store.log import Log
from lathhouse.store.long_rows import LONG
from lathhouse.store.models import Subject
from lathhouse.store.work import Row, Work, dumps

Data = dict[str, Any]
PAST_DAYS, AHEAD_DAYS = 366, 731
ANSWERABLE = ("place", "phone", "nursery")
NEW_NURSERY: Data = {
    "name": "",
    "timezone": "UTC",
    "hemisphere": "south",
    "latitude_deg": None,
    "elevation_m": None,
    "season_starts": None,
    "working_days": [1, 2, 3, 4, 5, 6],
    "units": "metric",
    "currency": "",
}

SETS_UP = {row: kind for kind, row in ROW_KINDS.items()}
# What a nursery's row says that no event has said.
SAID_OUTSIDE = ("last_backup_at", "opened_at")


@lru_cache(maxsize=64)
def offset_table(zone: str, day: int) -> str:
    """Return the JSON of a zone's offsets from a year before this day to two years after it."""
    return dumps(offsets_of(zone, (day - PAST_DAYS) * DAY_MS, (day + AHEAD_DAYS) * DAY_MS))


def with_offsets(nursery: Data, now: str) -> Data:
    """Return the nursery's row with its table of clock changes, renewed month by month."""
    day = to_ms(now) // DAY_MS // 30 * 30
    return {**nursery, "offsets": json.loads(offset_table(nursery["timezone"], day))}


def row_of(work: Work, kind: str, subject: str) -> Row | None:
    """Return a subject's stored row."""
    found = work.rows(Subject, Subject.kind == kind, Subject.id == subject)
    return found[0] if found else None


def data_of(work: Work, kind: str, subject: str) -> Data | None:
    """Return the JSON of a subject's stored row."""
    row = row_of(work, kind, subject)
    return json.loads(row["data"]) if row else None


def rows_of_kind(work: Work, kind: str) -> dict[str, Data]:
    """Return every row of a kind, by id."""
    return {row["id"]: json.loads(row["data"]) for row in work.rows(Subject, Subject.kind == kind)}


def fold_row(
    site_id: str, at: tuple[str, str], before: Data | None, events: list[Data]
) -> Data | None:
    """Return a subject's row as its events leave it, or None where it has none.

    The row's own changes come first, so that a reading older than its place still counts. `before`
    gives what is not from the log: the shipped rule or crop, a phone's own counters.
    """
    kind, subject = at
    ordered = about(kind, subject, effective(events), site_id)
    if kind == "solution":
        return go_on(new_solution(subject), ordered)
    row = set_up(kind, before, ordered)
    return go_on(row, ordered) if row is not None else None


def set_up(kind: str, before: Data | None, ordered: Iterable[Data]) -> Data | None:
    """Return a row as people have set it up, with nothing said of it yet, or None."""
    row = dict(before) if before else None
    if row is not None and kind in ANSWERABLE:
        row |= {"answers": {}, "closed_at": None}
    for event in ordered:
        if ROW_KINDS.get(event["kind"]) == kind:
            # A phone's row is told piece by piece, the others whole.
            under = row if kind == "phone" else before
            row = {**(under or {}), **(event.get("data") or {}), "shipped": False}
            # What a phone goes back to, without asking the server.
            row |= {"ships": before} if kind == "watch" and before else {}
    return row


def is_simple(row: Data | None, added: list[Data]) -> bool:
    """Say whether events only say something more of a row, and correct or set up nothing."""
    simple = (*PLACE_KINDS, "treated", *ANSWERS)
    return bool(row and row.get("folded_at")) and all(e["kind"] in simple for e in added)


def derive_rows(log: Log, now: str) -> dict[tuple[str, str], Data]:
    """Return {(kind, id): row} of the places, people, … that the added events change."""
    found: dict[tuple[str, str], Data] = {}
    for kind in (*(kind for kind in ROW_KINDS.values() if kind != "phone"), "solution"):
        for subject in sorted(log.subjects(kind)):
            stored = data_of(log.work, kind, subject) if kind in LONG else None
            row = _from_row(log, kind, subject, stored, now)
            row = row or row_from_log(log, kind, subject, stored, now)
            if row is not None:
                found[(kind, subject)] = row
    return found | _derive_phones(log)


def _from_row(log: Log, kind: str, subject: str, stored: Data | None, now: str) -> Data | None:
    """Return a row that goes on from what is kept of it, or None where only the log tells."""
    added = log.added_about(kind, subject)
    if stored is None or not is_simple(stored, added):
        return None
    if all(event["at"] > stored["folded_at"] for event in added):
        long_rows.keep_as_it_was(log.work, kind, subject, stored)
        return go_on(stored, effective(added))
    row = long_rows.fold_late(log, kind, subject, added)
    return _finished(kind, subject, row, stored, now) if row else None


def row_from_log(log: Log, kind: str, subject: str, stored: Data | None, now: str) -> Data | None:
    """Return a row as its whole log leaves it, or None where it has none.

    Args:
        stored: the row as it is kept, for what is said of a nursery outside the log.
    """
    before = shipped_row(log.work, kind, subject)
    if kind in LONG:
        first = set_up(kind, before, long_rows.told(log, kind, subject, SETS_UP[kind]))
        row = long_rows.fold_whole(log, kind, subject, first) if first is not None else None
    else:
        events = log.events_about(kind, subject)
        row = fold_row(log.work.site_id, (kind, subject), before, events)
    return _finished(kind, subject, row, stored, now) if row is not None else None


def _finished(kind: str, subject: str, row: Data, stored: Data | None, now: str) -> Data:
    """Return a folded row with what the log does not say."""
    row = {**row, "id": subject}
    if kind != "nursery":
        return row
    said = {name: (stored or {}).get(name) for name in SAID_OUTSIDE}
    return with_offsets({**row, **said}, now)


def _derive_phones(log: Log) -> dict[tuple[str, str], Data]:
    """Return the rows of known phones with what people said of them, on whatever phone they did."""
    found = {}
    for subject in sorted(log.subjects("phone")):
        stored = data_of(log.work, "phone", subject)
        events = log.events_about("phone", subject)
        row = fold_row(log.work.site_id, ("phone", subject), stored, events) if stored else None
        if row is not None:
            found[("phone", subject)] = {**row, "id": subject}
    return found


def shipped_row(work: Work, kind: str, subject: str) -> Data | None:
    """Return what there is of a row before any event: a shipped rule or crop, the new nursery."""
    if kind == "watch":
        return next((dict(rule) for rule in load_rules() if rule["id"] == subject), None)
    if kind == "protocol":
        return load_crops().get(subject)
    if kind == "nursery":
        return {"id": work.site_id, **NEW_NURSERY}
    return None
