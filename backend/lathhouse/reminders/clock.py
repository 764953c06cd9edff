"""The alert clock: looks again at what has come due, and at nothing else."""

import logging
import threading
import uuid
from collections.abc import Callable

from flask import Flask
from sqlalchemy import select

from lathhouse.domain.instants import to_text
from lathhouse.errors import AnotherFold
from lathhouse.store import alerts, weather
from lathhouse.store.leases import take_lease
from lathhouse.store.models import Subject
from lathhouse.store.record import set_deadlines
from lathhouse.store.site_clock import certain_ms
from lathhouse.store.watching import Watcher, stored_rows, watch_rows
from lathhouse.store.work import Work, writing

PAGE = 200
EVERY_SECONDS = 5.0

log = logging.getLogger(__name__)


def tick(site_id: str, now_ms: int, limit: int = PAGE) -> int:
    """Evaluate up to `limit` subjects whose deadline has come; return how many there were.

    It reads an index of deadlines and the rows that are due, never the log, so that a tick costs
    what is due and not what exists. A subject that another transaction holds is left for the next
    tick.
    """
    now = to_text(now_ms)

    def act(work: Work) -> int:
        query = (
            select(Subject.kind, Subject.id, Subject.next_deadline)
            .where(Subject.site_id == site_id, Subject.next_deadline <= now)
            .order_by(Subject.next_deadline)
            .limit(limit)
        )
        found = work.connection.execute(query)
        due: dict[tuple[str, str], str | None] = {(kind, at): when for kind, at, when in found}
        if not due:
            return 0
        got = work.lock((f"{kind}:{subject}" for kind, subject in due), wait=False)
        mine = {at for at in due if f"{at[0]}:{at[1]}" in got}
        work.hold_site()
        rows = stored_rows(work, mine)
        watcher = Watcher(work)
        deadlines, changed = watch_rows(work, watcher, rows)
        if changed:
            revision, _ = work.raise_revision()
            alerts.write(work, changed, revision)
        set_deadlines(work, deadlines, due)
        weather.renew(work, rows, watcher.crops)
        return len(mine)

    return writing(site_id, now, act)


def catch_up(site_id: str, now_ms: int, pages: int = 500) -> int:
    """Tick until nothing is due any more (or a bound is met); return how many were looked at."""
    total = 0
    for _ in range(pages):
        done = tick(site_id, now_ms)
        total += done
        if done == 0:
            break
    return total


class Clock:
    """A thread that ticks; of all the clocks on one database only the lease's holder does."""

    def __init__(self, app: Flask, site_id: str, now_ms: Callable[[], int]) -> None:
        self.app, self.site_id, self.now_ms = app, site_id, now_ms
        self.owner = str(uuid.uuid4())
        self.resting = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="alert-clock", daemon=True)

    def start(self) -> None:
        """Begin ticking."""
        self._thread.start()

    def stop(self) -> None:
        """Stop ticking, after the tick under way."""
        self._stop.set()
        self._thread.join(timeout=30)

    def _run(self) -> None:
        # At once: until somebody has the lease, the server is not ready.
        while not self._stop.is_set():
            with self.app.app_context():
                try:
                    now_ms, certain = self.now_ms(), certain_ms(self.now_ms)
                    if take_lease(self.site_id, self.owner, now_ms, certain):
                        catch_up(self.site_id, self.now_ms())
                except AnotherFold as refusal:
                    self._rest(refusal)
                except Exception:
                    # A tick that failed is a tick that comes again; the reason is in the log.
                    log.exception("the alert clock could not tick")
            self._stop.wait(EVERY_SECONDS)

    def _rest(self, refusal: AnotherFold) -> None:
        """Say once why nothing is looked at here any more."""
        if not self.resting:
            log.error("the alert clock rests: %s", refusal)
        self.resting = True
