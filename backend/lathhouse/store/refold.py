"""Folding again, from the log, what another version of the program has folded.

A kept row goes on from what it was (`overlay.follow`, `config.newer_only`), so that a changed fold
would show only in what is touched next. So the site says by which fold its rows were made, and
where that is not this program's, all of them are made anew: what each event is about, lots, places,
buckets, what is said of people, phones and the nursery. Page by page, each a transaction of its
own; cut off, it begins again at the next start.
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
from lathhouse.store.models import Event, EventLink, Site, Subject
from lathhouse.store.record import crops_in_use, lot_row, plain_row, watch_all_again
from lathhouse.store.work import Row, Work, looking, writing

AtSubject = tuple[str, str]
LOTS_AT_ONCE = 200
ROWS_AT_ONCE = 20
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


def refold_if_older(site_id: str, now: str) -> int:
    """Fold a site's record again where another fold made its rows; return how many changed."""
    made_by, events = looking(site_id, now, _as_kept)
    if made_by == FOLD_VERSION:
        return 0
    told, changed = Told(), 0
    if events:
        log.info("folding the record again, as this version reads it: %d events", events)
        _link_again(site_id, now, events, told)
        lots = ("lots", looking(site_id, now, _lot_ids), LOTS_AT_ONCE)
        rows = ("places and other rows", looking(site_id, now, _row_ids), ROWS_AT_ONCE)
        # Crops first: what frost asks of a lot rests on its crop's row.
        changed = _paged(site_id, now, rows, _fold_rows, told)
        changed += _paged(site_id, now, lots, _fold_lots, told)
        log.info("folded again: %d rows have changed", changed)
    writing(site_id, now, _settle)
    return changed


def _as_kept(work: Work) -> tuple[int | None, int]:
    version = work.connection.execute(select(Site.fold_version).where(Site.id == work.site_id))
    count = select(func.count()).select_from(Event).where(Event.site_id == work.site_id)
    return version.scalar(), int(work.connection.execute(count).scalar() or 0)


def _settle(work: Work) -> None:
    """Note the fold, last of all, and have the clock look at everything again."""
    watch_all_again(work)
    work.connection.execute(
        update(Site).where(Site.id == work.site_id).values(fold_version=FOLD_VERSION)
    )


def _link_again(site_id: str, now: str, of: int, told: Told) -> None:
    """Link every event to what this version takes it to be about; no link is taken away.

    A link too many does no harm: a fold asks each event what it is about.
    """
    after = 0
    for done in range(0, of, EVENTS_AT_ONCE):

        def act(work: Work, after: int = after) -> int:
            query = (
                select(Event.__table__)
                .where(Event.site_id == site_id, Event.position > after)
                .order_by(Event.position)
                .limit(EVENTS_AT_ONCE)
            )
            rows = [dict(row) for row in work.connection.execute(query).mappings()]
            Log(work, [event_of(row) for row in rows]).write_links()
            return int(rows[-1]["position"]) if rows else after

        after = writing(site_id, now, act)
        told("events", done, of)


def _paged(
    site_id: str,
    now: str,
    named: tuple[str, list[Any], int],
    fold_page: Callable[..., int],
    told: Told,
) -> int:
    """Fold subjects page by page; return how many rows changed."""
    what, subjects, size = named
    changed = 0
    for done in range(0, len(subjects), size):
        page = subjects[done : done + size]
        changed += writing(site_id, now, partial(fold_page, ids=page))
        told(what, done, len(subjects))
    return changed


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
        events = record.events_about(kind, subject)
        # What ships, and a phone that nothing was said of, is not from the log.
        if not events or (kind == "phone" and data is None):
            continue
        fresh = (
            fold_row(work.site_id, (kind, subject), data, events)
            if kind == "phone"
            else row_from_log(record, kind, subject, data, work.now)
        )
        if fresh is not None:
            rows.append(plain_row(kind, subject, {**fresh, "id": subject}, None, 0))
    return _write(work, rows, kept)


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
