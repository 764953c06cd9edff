"""Who is on duty: of all the processes on one database, one does what is done by the clock."""

import logging
import threading
from collections.abc import Callable
from typing import Protocol

from flask import Flask

from lathhouse.store.hold import Hold
from lathhouse.store.models import db

TRY_EVERY_SECONDS = 2.0

log = logging.getLogger(__name__)


class Chore(Protocol):
    """Something that goes on by itself until it is stopped."""

    def start(self) -> None:
        """Begin."""

    def stop(self) -> None:
        """End, after what is under way."""


class Duty:
    """A thread that begins the chores when this process comes on duty, and ends them after.

    When the process on duty dies, another one's next try has it.
    """

    def __init__(self, app: Flask, site_id: str, chores: Callable[[], list[Chore]]) -> None:
        """Take what makes the chores: each is begun at most once."""
        with app.app_context():
            self.hold = Hold(db.engine, f"duty {site_id}")
        self.app, self.chores = app, chores
        self.running: list[Chore] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="duty", daemon=True)

    @property
    def is_on(self) -> bool:
        """Say whether this process is on duty."""
        return bool(self.running)

    def start(self) -> None:
        """Begin to try."""
        self._thread.start()

    def stop(self) -> None:
        """End the chores and let another process have them."""
        self._stop.set()
        self._thread.join(timeout=TRY_EVERY_SECONDS + 1)
        self._off()
        self.hold.let_go()

    def _run(self) -> None:
        while True:
            if self.hold.take():
                self._on()
            else:
                self._off()
            if self._stop.wait(TRY_EVERY_SECONDS):
                return

    def _on(self) -> None:
        if not self.running:
            log.info("this process is on duty: clock, messages, backups")
            self.running = self.chores()
            for chore in self.running:
                chore.start()

    def _off(self) -> None:
        ending, self.running = self.running, []
        enders = [threading.Thread(target=chore.stop) for chore in ending]
        for ender in enders:
            ender.start()
        for ender in enders:
            ender.join()
