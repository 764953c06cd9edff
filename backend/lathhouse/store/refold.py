"""Folding again, from the log, what another version of the program has folded.

A kept row goes on from what it was (`overlay.follow`, `config.is_simple`), so that a changed fold
would show only in what is touched next. So the site says by which fold its rows are made, and where
that is an older one's, all of them are made anew: what each event is about, lots, places, buckets,
what is said of people, phones and the nursery. The number is the first thing to change, so that a
process of the older version, still running, writes nothing more (`work.check_fold`). Then page by
page, each a transaction of its own that notes how far it came; cut off, it goes on from there at
the next start.
"""

import json
import logging
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from sqlalchemy import func, select, union, update

from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.domain.rows import ROW_KINDS
from lathhouse.store.config import fold_row, row_from_log, rows_of_kind
from lathhouse.store.log import Log, event_of
from lathhouse.store.lots import derive_lot
from lathhouse.store.models import Event, EventLink, RowMark, Site, Subject
from lathhouse.store.record import crops_in_use, lot_row, plain_row, watch_all_again
from lathhouse.store.work import Row, Work, check_fold, dumps, looking, writing

AtSubject = tuple[str, str]
Data = dict[str, Any]
# {part, after}: which part is being folded, and up to what of it that is done.
Cursor = dict[str, Any]
FoldPage = Callable[[Work, list[Any]], int]
# Few at a time: others wait for a page, and what it is made of is in memory meanwhile.
LOTS_AT_ONCE = 50
ROWS_AT_ONCE = 5
EVENTS_AT_ONCE = 1000
TOLD_EVERY_SECONDS = 2.0
ROWS = (*sorted(set(ROW_KINDS.values())), "solution")
# When it changed and when it is due says nothing of what the log comes to.
NOT_FOLDED = ("site_id", "revision", "next_deadline")

log = logging.getLogger(__name__)


class Told:
    """How far the work is, said every few seconds: a person waits for the server to answer."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.clock, self.said_at = clock, clock()

    def __call__(self, what: str, done: int, of: int) -> None:
        if self.clock() - self.said_at >= TOLD_EVERY_SECONDS:
            self.said_at = self.clock()
            log.info("folding the record again: %d of %d %s", done, of, what)


def begin(site_id: str, now: str) -> None:
    """Take a record over whose rows an older fold has made; processes of that one write no more.

    Raises:
        AnotherFold: a newer version of the program has folded it.
    """

    def act(work: Work) -> None:
        found = work.connection.scalar(select(Site.fold_version).where(Site.id == site_id))
        if (found or 0) > FOLD_VERSION:
            check_fold(found)
        if found != FOLD_VERSION:
            work.delete(RowMark)
            _note(work, {"fold_version": FOLD_VERSION, "refolding": dumps(BEGINNING)})

    # Looked at first, so that a start with nothing to do locks nothing.
    if looking(site_id, now, _as_kept)[0] != FOLD_VERSION:
        writing(site_id, now, act)


def go_on(site_id: str, now: str) -> int:
    """Fold a site's record again where that was begun, from where it stopped; return how many rows
    have changed since then.
    """
    _, cursor, events = looking(site_id, now, _as_kept)
    if cursor is None:
        return 0
    told, changed = Told(), 0
    if events:
        log.info("folding the record again, as this version reads it: %d events", events)
        done: Cursor = json.loads(cursor)
        if done["part"] not in FOLLOWING and done["part"] != "settled":
            # Another version called its parts otherwise: what it did counts for nothing.
            done = BEGINNING
        for part, (named, fold_page, size) in PARTS.items():
            if part != done["part"]:
                continue
            left = looking(site_id, now, partial(named, after=done["after"]))
            for first in range(0, len(left), size):
                page = left[first : first + size]
                act = partial(_fold_page, part=part, fold_page=fold_page, page=page)
                changed += writing(site_id, now, act)
                told(part, first, len(left))
            done = {"part": FOLLOWING[part], "after": None}
        log.info("folded again: %d rows have changed", changed)
    writing(site_id, now, _settle)
    return changed


def _as_kept(work: Work) -> tuple[int | None, str | None, int]:
    query = select(Site.fold_version, Site.refolding).where(Site.id == work.site_id)
    version, cursor = work.connection.execute(query).one()
    count = select(func.count()).select_from(Event).where(Event.site_id == work.site_id)
    return version, cursor, int(work.connection.execute(count).scalar() or 0)


def _note(work: Work, values: dict[str, Any]) -> None:
    work.connection.execute(update(Site).where(Site.id == work.site_id).values(values))


def _settle(work: Work) -> None:
    """Note, last of all, that the fold is whole, and have the clock look at everything again."""
    watch_all_again(work)
    _note(work, {"refolding": None})


def _fold_page(work: Work, part: str, fold_page: FoldPage, page: list[Any]) -> int:
    """Fold a page, and note in the same transaction that it is done."""
    changed = fold_page(work, page)
    _note(work, {"refolding": dumps({"part": part, "after": page[-1]})})
    return changed


def _positions_after(work: Work, after: int | None) -> list[int]:
    """Return where each page of the log begins and ends: the last position of each."""
    last = work.connection.scalar(select(Site.log_position).where(Site.id == work.site_id)) or 0
    return list(range(after or 0, last, EVENTS_AT_ONCE))


def _rows_after(work: Work, after: list[str] | None) -> list[Any]:
    return [one for one in _row_ids(work) if after is None or one > tuple(after)]


def _lots_after(work: Work, after: str | None) -> list[Any]:
    return [one for one in _lot_ids(work) if after is None or one > after]


def _link_again(work: Work, first: list[int]) -> int:
    """Link events to what this version takes them to be about; no link is taken away.

    A link too many does no harm: a fold asks each event what it is about.
    """
    between = (Event.position > first[0], Event.position <= first[0] + EVENTS_AT_ONCE)
    Log(work, [event_of(row) for row in work.rows(Event, *between)]).write_links()
    return 0


def _lot_ids(work: Work) -> list[str]:
    """Return every lot that a row, an event or a link names."""
    kept, linked = Subject.kind == "lot", EventLink.subject_kind == "lot"
    found: Any = union(
        select(Event.lot_id).where(Event.site_id == work.site_id, Event.lot_id.is_not(None)),
        select(EventLink.subject_id).where(EventLink.site_id == work.site_id, linked),
        select(Subject.id).where(Subject.site_id == work.site_id, kept),
    )
    return sorted(work.connection.execute(found).scalars())


def _fold_lots(work: Work, ids: list[str]) -> int:
    work.lock(f"lot:{lot}" for lot in ids)
    record = Log(work, [])
    record.read_ahead("lot", ids)
    kept = {row["id"]: row for row in work.rows_in(Subject, Subject.id, ids, Subject.kind == "lot")}
    shots = {lot: derive_lot(record, lot, None) for lot in ids}
    shots = {lot: shot for lot, shot in shots.items() if shot["lot"] or lot in kept}
    crops = crops_in_use(work, shots)
    known = rows_of_kind(work, "protocol") | {crop: row for (_, crop), row in crops.items()}
    rows = [lot_row(lot, shot, known, work.now, 0) for lot, shot in shots.items()]
    rows += [plain_row(*at, row, None, 0) for at, row in crops.items()]
    return _write(work, rows, {("lot", lot): row for lot, row in kept.items()})


def _row_ids(work: Work) -> list[AtSubject]:
    found: Any = union(
        select(EventLink.subject_kind, EventLink.subject_id).where(
            EventLink.site_id == work.site_id, EventLink.subject_kind.in_(ROWS)
        ),
        select(Subject.kind, Subject.id).where(
            Subject.site_id == work.site_id, Subject.kind.in_(ROWS)
        ),
    )
    return sorted((kind, subject) for kind, subject in work.connection.execute(found))


def _fold_rows(work: Work, ids: list[AtSubject]) -> int:
    work.lock(f"{kind}:{subject}" for kind, subject in ids)
    record = Log(work, [])
    kept: dict[AtSubject, Row] = {}
    rows: list[Row] = []
    for kind, subject in ids:
        for row in work.rows(Subject, Subject.kind == kind, Subject.id == subject):
            kept[(kind, subject)] = row
        stored = kept.get((kind, subject))
        data = json.loads(stored["data"]) if stored else None
        fresh = _fold_row(record, kind, subject, data)
        if fresh is not None:
            rows.append(plain_row(kind, subject, {**fresh, "id": subject}, None, 0))
    return _write(work, rows, kept)


def _fold_row(record: Log, kind: str, subject: str, data: Data | None) -> Data | None:
    # What ships, and a phone that nothing was said of, is not from the log.
    if record.newest(kind, subject) is None or (kind == "phone" and data is None):
        return None
    if kind != "phone":
        return row_from_log(record, kind, subject, data, record.work.now)
    events = record.events_about(kind, subject)
    return fold_row(record.work.site_id, (kind, subject), data, events)


def _write(work: Work, rows: list[Row], kept: dict[AtSubject, Row]) -> int:
    """Write the rows that are not what is kept, under a new revision, so that phones hear of it."""
    changed = [row for row in rows if _differs(row, kept.get((row["kind"], row["id"])))]
    if changed:
        revision, _ = work.raise_revision()
        work.upsert(Subject, [{**row, "revision": revision} for row in changed], ("kind", "id"))
    return len(changed)


def _differs(row: Row, kept: Row | None) -> bool:
    names = row.keys() - set(NOT_FOLDED)
    return kept is None or any(row[name] != kept[name] for name in names)


# Crops come before lots: what frost asks of a lot rests on its crop's row.
PARTS: dict[str, tuple[Callable[..., list[Any]], FoldPage, int]] = {
    "thousands of events": (_positions_after, _link_again, 1),
    "places and other rows": (_rows_after, _fold_rows, ROWS_AT_ONCE),
    "lots": (_lots_after, _fold_lots, LOTS_AT_ONCE),
}
FOLLOWING = dict(zip(PARTS, [*list(PARTS)[1:], "settled"], strict=True))
BEGINNING: Cursor = {"part": next(iter(PARTS)), "after": None}
