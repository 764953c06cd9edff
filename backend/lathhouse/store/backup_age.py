"""When the record was last backed up: what the nursery is watched by."""

from lathhouse.store import record
from lathhouse.store.config import data_of
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Work, writing


def note_backup(site_id: str, at: str) -> None:
    """Note that a good backup of a site was made at an instant (canonical text).

    Until the first one the time runs from the first start (`opened_at`).
    """
    writing(site_id, at, lambda work: note(work, at))


def note(work: Work, at: str) -> None:
    """Do as `note_backup` does, in a transaction that is under way."""
    work.lock([f"nursery:{work.site_id}"])
    row = data_of(work, "nursery", work.site_id)
    if row is None or (row.get("last_backup_at") or "") >= at:
        return
    changed = {("nursery", work.site_id): {**row, "last_backup_at": at}}
    revision, _ = work.raise_revision()
    record.write_rows(work, Watcher(work, changed), changed, set(changed), revision)
