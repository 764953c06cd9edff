"""Several processes on one port, and the one that looks after them."""

import contextlib
import logging
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

# A process that ends sooner than this was not well when it began; so many of them in a row, and
# beginning once more would not help.
WELL_AFTER_SECONDS = 5.0
UNWELL_MAX = 5

log = logging.getLogger(__name__)


def _unasked(code: int) -> int:
    """Return how a process ended, and 0 where the signal to stop met it before it was at work.

    Whoever listens hears the signal; whoever dies of it had not accepted anything yet.
    """
    return 0 if code == -signal.SIGTERM else code


class Workers:
    """Keeps so many processes at work until it is told to stop.

    SIGTERM and SIGINT are passed on: the first asks them to finish, the second ends them.
    """

    def __init__(
        self, count: int, work: Callable[[], None], listening: list[socket.socket]
    ) -> None:
        """Take what each process does until a signal ends it, and what they listen on."""
        self.count, self.work, self.listening = count, work, listening
        self.began: dict[int, float] = {}
        self.stopping = False
        self.unwell = 0
        # Its other end closes when this process dies, however it does.
        self.alive, self.held = os.pipe()

    def run(self) -> int:
        """Return the exit status: 0 where all ended as they were asked to."""
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, self._pass_on)
        for _ in range(self.count):
            self._begin()
        status = 0
        while self.began:
            pid, how = os.wait()
            began = self.began.pop(pid, 0.0)
            code = os.waitstatus_to_exitcode(how)
            if self.stopping:
                status = status or _unasked(code)
            elif self._may_begin_again(pid, code, time.monotonic() - began):
                self._begin()
            else:
                status = 1
                self._pass_on(signal.SIGTERM, None)
        return 1 if status else 0

    def _may_begin_again(self, pid: int, code: int, lasted_seconds: float) -> bool:
        self.unwell = 0 if lasted_seconds > WELL_AFTER_SECONDS else self.unwell + 1
        log.error("process %d ended by itself (%d); another takes its place", pid, code)
        return self.unwell < UNWELL_MAX

    def _begin(self) -> None:
        sys.stdout.flush()
        sys.stderr.flush()
        pid = os.fork()
        if pid == 0:
            self._be_one()
        self.began[pid] = time.monotonic()
        if self.stopping:
            os.kill(pid, signal.SIGTERM)

    def _be_one(self) -> None:
        """Work in this new process, and never come back from it."""
        code = 1
        try:
            for name in (signal.SIGTERM, signal.SIGINT):
                signal.signal(name, signal.SIG_DFL)
            os.close(self.held)
            # A key pressed in the terminal is heard once, by way of the parent.
            os.setpgid(0, 0)
            threading.Thread(target=self._end_with_parent, daemon=True).start()
            self.work()
            code = 0
        except SystemExit as asked:
            code = asked.code if isinstance(asked.code, int) else 1
        except BaseException:
            log.exception("a process could not work")
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)

    def _end_with_parent(self) -> None:
        """Leave the port when nobody looks after it any more."""
        os.read(self.alive, 1)
        os.kill(os.getpid(), signal.SIGTERM)

    def _pass_on(self, number: int, _frame: Any) -> None:
        self.stopping = True
        # Else whoever comes now would wait at a door that nobody opens any more.
        for one in self.listening:
            one.close()
        for pid in list(self.began):
            # One that has just ended needs no telling.
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, number)
