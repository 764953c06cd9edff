"""Does the stored record say what its own log says? Everything is folded again from nothing."""

import json
from typing import Any

from sqlalchemy import func, select

from lathhouse.domain.neighbours import spreading_since
from lathhouse.domain.overlay import overlay
from lathhouse.store import chains, photos
from lathhouse.store.config import fold_row, shipped_row
from lathhouse.store.log import Log
from lathhouse.store.lots import derive_lot
from lathhouse.store.models import Alert, Event, EventLink, Subject
from lathhouse.store.watching import WATCHED, Watcher
from lathhouse.store.weather import entry_text
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
FOLDED_ROWS = ("place", "person", "protocol", "watch", "nursery", "solution")


def check(site_id: str, now: str) -> Data:
    """Return {events, lots, photos, differences, awaited}, each of the last two in words.

    A difference is what does not agree; awaited are the pictures that no phone has sent yet.
    """

    def act(work: Work) -> Data:
        ids = set(work.connection.execute(_lot_ids(Event.lot_id, site_id)).scalars())
        ids |= set(work.connection.execute(_linked_lots(site_id)).scalars())
        ids.discard(None)  # what is about no lot
        stored = {
            row["id"]: row for row in work.rows(Subject, Subject.kind == "lot") if row["data"]
        }
        differences: list[str] = []
        log, watcher = Log(work, []), Watcher(work)
        for lot_id in sorted(ids):
            fresh = derive_lot(log, lot_id, None)["lot"]
            differences += _compare(work, watcher, lot_id, fresh, stored.get(lot_id))
        differences += _compare_rows(work, log, watcher)
        differences += chains.check_chains(work)
        differences += photos.differences(work)
        events = work.connection.execute(_count(site_id)).scalar()
        return {
            "events": events,
            "lots": len(ids),
            "photos": photos.kept(work)[0],
            "differences": differences,
            "awaited": list(photos.awaited(work, log)),
        }

    return looking(site_id, now, act)


def _count(site_id: str) -> Any:
    return select(func.count()).select_from(Event).where(Event.site_id == site_id)


def _lot_ids(column: Any, site_id: str) -> Any:
    return select(column).where(Event.site_id == site_id).distinct()


def _linked_lots(site_id: str) -> Any:
    return (
        select(EventLink.subject_id)
        .where(EventLink.site_id == site_id, EventLink.subject_kind == "lot")
        .distinct()
    )


def _compare(
    work: Work, watcher: Watcher, lot_id: str, fresh: Data | None, row: Data | None
) -> list[str]:
    kept = json.loads(row["data"]) if row else None
    if kept is not None and kept.get("gone"):
        kept = None
    if _plain(kept) != _plain(fresh):
        return [f"lot {lot_id}: the stored lot is not what its events say"]
    if fresh is None or row is None:
        return []
    found = []
    small = {
        "checkpoint": json.loads(row["checkpoint"]),
        "checkpoint_at": row["checkpoint_at"],
        "tail": json.loads(row["tail"]),
    }
    if _plain(overlay(small, [])["lot"]) != _plain(fresh):
        found.append(f"lot {lot_id}: its checkpoint and tail are not what its events say")
    if row["weather"] != entry_text(fresh, watcher.crops):
        found.append(f"lot {lot_id}: what frost asks of it is not what its events say")
    if row["spreading_at"] != spreading_since(fresh):
        found.append(f"lot {lot_id}: where mould spreads is not what its events say")
    return found + _compare_alerts(work, watcher, ("lot", lot_id), fresh, row)


def _compare_rows(work: Work, log: Log, watcher: Watcher) -> list[str]:
    """Compare the rows that people change whole, and their alerts, with a fold from nothing."""
    found = []
    for kind in FOLDED_ROWS:
        rows = work.rows(Subject, Subject.kind == kind)
        log.read_ahead(kind, [row["id"] for row in rows])
        for row in rows:
            kept, subject = json.loads(row["data"]), row["id"]
            events = log.events_about(kind, subject)
            fresh = fold_row(
                work.site_id, (kind, subject), shipped_row(work, kind, subject), events
            )
            if events and fresh is not None:
                wanted = {**fresh, "id": subject}
                if any(_plain(kept.get(name)) != _plain(wanted[name]) for name in wanted):
                    found.append(f"{kind} {subject}: the stored row is not what its events say")
            if kind in WATCHED:
                found += _compare_alerts(work, watcher, (kind, subject), kept, row)
    return found


def _compare_alerts(
    work: Work, watcher: Watcher, at: tuple[str, str], data: Data, row: Data
) -> list[str]:
    """Compare what stands with what is found: watch, level, since when, and what was answered."""
    if row["next_deadline"] and row["next_deadline"] <= work.now:
        return []  # due this moment: the clock has not come by yet
    kind, subject = at
    expected = {_said(finding) for finding in watcher.evaluate(kind, data)["findings"]}
    where = (Alert.subject_kind == kind, Alert.subject_id == subject)
    standing = {
        _said(json.loads(alert["data"])) for alert in work.rows(Alert, *where, Alert.standing)
    }
    watches = sorted({watch for watch, *_ in expected ^ standing})
    says = "does not stand as its events say"
    return [f"{kind} {subject}: the alert {watch} {says}" for watch in watches]


def _said(alert: Data) -> tuple[str, ...]:
    return tuple(str(alert[name]) for name in ("watch", "level", "since", "state"))


def _plain(value: Any) -> Any:
    return json.loads(json.dumps(value))
