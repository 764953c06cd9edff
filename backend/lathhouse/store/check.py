"""Does the stored record say what its own log says? Everything is folded again from nothing."""

import json
from typing import Any

from sqlalchemy import select

from lathhouse.domain.overlay import overlay
from lathhouse.store.log import Log
from lathhouse.store.lots import derive_lot
from lathhouse.store.models import Alert, Event, EventLink, Subject
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Work, looking

Data = dict[str, Any]


def check(site_id: str, now: str) -> Data:
    """Return {events, lots, differences}: each difference says in words what does not agree."""

    def act(work: Work) -> Data:
        ids = set(work.connection.execute(_lot_ids(Event.lot_id, site_id)).scalars())
        ids |= set(work.connection.execute(_linked_lots(site_id)).scalars())
        stored = {
            row["id"]: row for row in work.rows(Subject, Subject.kind == "lot") if row["data"]
        }
        differences: list[str] = []
        log, watcher = Log(work, []), Watcher(work)
        for lot_id in sorted(i for i in ids if i):
            fresh = derive_lot(log, lot_id, None)["lot"]
            differences += _compare(work, watcher, lot_id, fresh, stored.get(lot_id))
        events = work.rows(Event)
        return {"events": len(events), "lots": len(ids), "differences": differences}

    return looking(site_id, now, act)


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
    expected = {f["watch"] for f in watcher.evaluate("lot", fresh)["findings"]}
    standing = work.rows(Alert, Alert.subject_id == lot_id, Alert.standing)
    if row["next_deadline"] and row["next_deadline"] <= work.now:
        return found  # due this moment: the clock has not come by yet
    for watch in sorted(expected ^ {alert["watch"] for alert in standing}):
        found.append(f"lot {lot_id}: the alert {watch} does not stand as its events say")
    return found


def _plain(value: Any) -> Any:
    return json.loads(json.dumps(value))
