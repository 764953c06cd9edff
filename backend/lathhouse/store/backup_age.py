"""When the record was last backed up: what the nursery is watched by."""

from sqlalchemy import func, select

from lathhouse.store import record
from lathhouse.store.config import data_of
from lathhouse.store.models import Backup
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Row, Work, writing


def note_backup(site_id: str, at: str) -> None:
    """Note that a good backup of a site was made at an instant (canonical text).

    Until the first one the time runs from the first start (`opened_at`).
    """
    writing(site_id, at, lambda work: note(work, at))


def note(work: Work, at: str) -> None:
    """Do as `note_backup` does, in a transaction that is under way."""
    work.lock([f"nursery:{work.site_id}"])
    row = data_of(work, "nursery", work.site_id)
    known = (row or {}).get("last_backup_at") or ""
    # One that lies ahead of now was made by a clock that ran ahead.
    if row is None or at <= known <= work.now:
        return
    _write(work, {**row, "last_backup_at": at})


def forget_ahead(work: Work) -> None:
    """Say anew since when the record has no backup, where a clock that ran ahead has said it.

    Or the watch `backup-old` would be silent until that day has come.
    """
    work.lock([f"nursery:{work.site_id}"])
    row = data_of(work, "nursery", work.site_id)
    if row is None:
        return
    query = select(func.max(Backup.at)).where(Backup.site_id == work.site_id, Backup.at <= work.now)
    fresh = dict(row)
    if (row.get("last_backup_at") or "") > work.now:
        fresh["last_backup_at"] = work.connection.scalar(query)
    if (row.get("opened_at") or "") > work.now:
        fresh["opened_at"] = work.now
    if fresh != row:
        _write(work, fresh)


def _write(work: Work, row: Row) -> None:
    changed = {("nursery", work.site_id): row}
    revision, _ = work.raise_revision()
    record.write_rows(work, Watcher(work, changed), changed, set(changed), revision)
