"""What is done each night: a backup that was proved; old ones, and old messages, cleared away."""

import logging
import os
import threading
from collections.abc import Callable
from pathlib import Path

from flask import Flask

from lathhouse.domain.instants import DAY_MS, local_date, local_instant, to_ms, to_text
from lathhouse.store import delivery_log
from lathhouse.store.backup import back_up, clear_old, last_backup
from lathhouse.store.config import data_of
from lathhouse.store.work import Work, looking

EVERY_SECONDS = 60.0
# After the last look of the day and before the first, whatever the season. Our own choice.
NIGHT_AT = "02:00"
RETRY_MS = 60 * 60_000

log = logging.getLogger(__name__)


def backup_due(site_id: str, now_ms: int) -> bool:
    """Say whether the night's backup is still to be made: none since the last 02:00 local time.

    A server that was off at night makes it when it is started.
    """

    def act(work: Work) -> bool:
        nursery = data_of(work, "nursery", site_id)
        if nursery is None:
            return False
        newest = last_backup(work)
        night = local_instant(local_date(now_ms, nursery["offsets"]), NIGHT_AT, nursery["offsets"])
        if night > now_ms:
            yesterday = local_date(now_ms - DAY_MS, nursery["offsets"])
            night = local_instant(yesterday, NIGHT_AT, nursery["offsets"])
        return newest is None or to_ms(newest["at"]) < night

    return looking(site_id, to_text(now_ms), act)


class Nightly:
    """A thread that makes the night's backup; one that fails is tried again in an hour."""

    def __init__(self, app: Flask, site_id: str, folder: Path, now_ms: Callable[[], int]) -> None:
        self.app, self.site_id, self.folder, self.now_ms = app, site_id, folder, now_ms
        self.not_before_ms = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="nightly", daemon=True)

    def start(self) -> None:
        """Begin to wait for the night."""
        self._thread.start()

    def stop(self) -> None:
        """Stop; a backup under way is left to end, or leaves nothing."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=30)

    def look(self) -> Path | None:
        """Make the night's backup if it is due, and then clear the log; return its file."""
        now_ms = self.now_ms()
        # A wait that is longer than it ever is was set by a clock that ran ahead.
        waits = 0 < self.not_before_ms - now_ms <= RETRY_MS
        if waits or not backup_due(self.site_id, now_ms):
            return None
        self.not_before_ms = now_ms + RETRY_MS
        recipient = os.environ.get("LATHHOUSE_BACKUP_KEY") or None
        made = back_up(
            self.site_id, self.folder, to_text(now_ms), recipient, self.app.config["LATHHOUSE"].data
        )
        gone = clear_old(self.folder)
        log.info("backup made and compared: %s (%d old ones cleared)", made.name, len(gone))
        # Only now: what is taken out of the log is in the backup.
        forgotten = delivery_log.clear_old(self.site_id, to_text(now_ms))
        log.info("%d messages of more than %d days ago are no more in the log",
                 forgotten, delivery_log.KEPT_DAYS)  # fmt: skip
        return made

    def _run(self) -> None:
        while not self._stop.wait(EVERY_SECONDS):
            with self.app.app_context():
                try:
                    self.look()
                except Exception:
                    # A night without a backup is told by the watch `backup-old`; here is why.
                    log.exception("the backup could not be made")
