"""Figures about the running record, for those who look after the server: few, and cheap to ask."""

from typing import Any

from sqlalchemy import func, select

from lathhouse.domain.instants import to_ms
from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.store import photos
from lathhouse.store.archive import schema_version
from lathhouse.store.backup import last_backup
from lathhouse.store.deliveries import QUEUED
from lathhouse.store.models import Alert, Delivery, RefusedEvent, Site, Subject
from lathhouse.store.work import Work, looking

Figures = dict[str, Any]


def figures(site_id: str, now: str) -> Figures:
    """Return {events, refused, refused_waiting, queue, due, clock_lag_seconds,
    backup_age_seconds, alerts, photos, photo_bytes}.

    `queue` counts messages by state, `alerts` what stands by state.

    Without a backup its age is None.
    """

    def read(work: Work) -> Figures:
        def count(table: Any, *conditions: Any) -> int:
            query = select(func.count()).select_from(table).where(table.site_id == site_id)
            return int(work.connection.scalar(query.where(*conditions)) or 0)

        def by(column: Any, *conditions: Any) -> dict[str, int]:
            mine = column.class_.site_id == site_id
            query = select(column, func.count()).where(mine, *conditions).group_by(column)
            return {str(name): number for name, number in work.connection.execute(query)}

        due = Subject.next_deadline <= now
        oldest = select(func.min(Subject.next_deadline)).where(Subject.site_id == site_id, due)
        events = select(Site.log_position).where(Site.id == site_id)
        newest = last_backup(work)
        photos_kept, photo_bytes = photos.kept(work)
        return {
            "events": int(work.connection.scalar(events) or 0),
            "refused": count(RefusedEvent),
            "refused_waiting": count(RefusedEvent, RefusedEvent.mended_by.is_(None)),
            "queue": dict.fromkeys(QUEUED, 0) | by(Delivery.state, Delivery.state.in_(QUEUED)),
            "due": count(Subject, due),
            "clock_lag_seconds": _seconds(work.connection.scalar(oldest), now) or 0.0,
            "backup_age_seconds": _seconds(newest["at"] if newest else None, now),
            "alerts": by(Alert.state, Alert.standing),
            "photos": photos_kept,
            "photo_bytes": photo_bytes,
        }

    return looking(site_id, now, read)


def _seconds(since: str | None, now: str) -> float | None:
    """Return how long ago an instant was; one made up long ago, to be due at once, says nothing."""
    if since is None or since.startswith("1970"):
        return None
    return max(to_ms(now) - to_ms(since), 0) / 1000


def state_of_database(site_id: str, now: str) -> dict[str, Any]:
    """Return {version, clock_until, fold}: its last migration, how long its clock is sure to tick,
    and whether its rows are those of this program's fold.
    """

    def read(work: Work) -> dict[str, Any]:
        query = select(Site.clock_until, Site.fold_version).where(Site.id == site_id)
        until, fold = work.connection.execute(query).one()
        version = schema_version(work.connection)
        return {"version": version, "clock_until": until, "fold": fold == FOLD_VERSION}

    return looking(site_id, now, read)
