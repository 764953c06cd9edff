"""Rows with a long log, a place's or the nursery's: read a part at a time, and kept as they were.

A probe says something every few minutes for years. What comes in order goes on from the row; what
comes late, as a logger's memory does, goes on from the row as it was before (`row_marks`), and only
what corrects the past or sets the row up anew is folded from the whole log.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import delete, func, select

from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import to_ms
from lathhouse.domain.rows import MARK_MS, MARKS, about, go_on_marking, marks
from lathhouse.store.log import Log
from lathhouse.store.models import RowMark
from lathhouse.store.work import Row, Work, dumps

Data = dict[str, Any]
LONG = ("place", "nursery")


def told(log: Log, kind: str, subject: str, only: str | None = None) -> Iterator[Data]:
    """Yield what is now said of a row, in fold order; of one kind, or all of it."""
    for event in log.flow(kind, subject, only):
        yield from about(kind, subject, [event], log.work.site_id)


def fold_whole(log: Log, kind: str, subject: str, first: Data) -> Data:
    """Return a row as its whole log leaves it, and keep it as it was on the way.

    Args:
        first: the row as it was set up.
    """
    at = marks(log.newest(kind, subject) or log.work.now)
    row, kept = go_on_marking(first, told(log, kind, subject), at)
    forget(log.work, kind, subject)
    _keep(log.work, kind, subject, kept)
    return row


def fold_late(log: Log, kind: str, subject: str, added: list[Data]) -> Data | None:
    """Return a row with events that came late, or None where it is not kept as it was before them.

    Args:
        added: none of them corrects another, or sets the row up.
    """
    work, oldest = log.work, min(event["at"] for event in added)
    found = as_it_was(work, kind, subject, oldest)
    if found is None:
        return None
    since = log.since(kind, subject, found.until)
    ordered = [one for one in effective(since) if one["at"] > found.until]
    at = marks(max(event["at"] for event in ordered))
    row, kept = go_on_marking(
        json.loads(found.data), about(kind, subject, ordered, work.site_id), at
    )
    forget(work, kind, subject, oldest)
    _keep(work, kind, subject, kept)
    return row


def as_it_was(work: Work, kind: str, subject: str, before: str) -> Any:
    """Return (until, data) of a row as it was last kept before an instant, or None."""
    query = (
        select(RowMark.until, RowMark.data)
        .where(*_of(work, kind, subject), RowMark.until < before)
        .order_by(RowMark.until.desc())
        .limit(1)
    )
    return work.connection.execute(query).first()


def keep_as_it_was(work: Work, kind: str, subject: str, row: Data) -> None:
    """Keep a row that is about to go on, where the last one that was kept is old enough."""
    if not row.get("last_read"):
        return
    newest = work.connection.scalar(
        select(func.max(RowMark.until)).where(*_of(work, kind, subject))
    )
    if newest is None or to_ms(row["folded_at"]) - to_ms(newest) >= MARK_MS:
        _keep(work, kind, subject, [(row["folded_at"], row)])


def forget(work: Work, kind: str, subject: str, since: str = "") -> None:
    """Forget how a row was at an instant and later; without one, at any time."""
    work.connection.execute(
        delete(RowMark).where(*_of(work, kind, subject), RowMark.until >= since)
    )


def _of(work: Work, kind: str, subject: str) -> tuple[Any, ...]:
    return (RowMark.site_id == work.site_id, RowMark.kind == kind, RowMark.id == subject)


def _keep(work: Work, kind: str, subject: str, kept: list[tuple[str, Data]]) -> None:
    """Keep a row as it was, and of all that is kept the oldest within each doubling of age."""
    rows: list[Row] = [
        {"kind": kind, "id": subject, "until": until, "data": dumps(row)} for until, row in kept
    ]
    work.upsert(RowMark, rows, ("kind", "id", "until"))
    query = select(RowMark.until).where(*_of(work, kind, subject)).order_by(RowMark.until)
    times = list(work.connection.execute(query).scalars())
    over = set(times) - spared(times)
    if over:
        work.delete(RowMark, RowMark.kind == kind, RowMark.id == subject, RowMark.until.in_(over))


def spared(times: list[str]) -> set[str]:
    """Return which of these instants, oldest first, are kept: the last, and of each doubling of
    the time before it the oldest."""
    found: dict[int, str] = {}
    for at in times:
        age = (to_ms(times[-1]) - to_ms(at)) // MARK_MS
        if age.bit_length() <= MARKS:
            found.setdefault(age.bit_length(), at)
    return {*found.values(), *times[-1:]}
