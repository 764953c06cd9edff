"""The server's time: the wall clock, watched by a clock that nobody sets (FAULTS F12).

A cheap computer begins after a power cut with the time of its last hour, or of 1970, and a bad
source of time sets it on by a month. What the record is dated by must not follow. So the last time
that was trusted is kept in the record, the time since then is counted, and a phone of somebody's,
which has its time from elsewhere, says which of the two is right. All limits are ours.
"""

import logging
import threading
import time
from collections.abc import Callable

from sqlalchemy import Connection, func, select

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.store.models import Site

# Nobody corrects a clock that runs well by more than this.
JUMP_MS = HOUR_MS
# A server that was off for longer asks a phone whether its clock is right.
OFF_MS = DAY_MS
# So far a clock that began in the past may be set on, by its own source of time.
SET_ON_MS = 400 * DAY_MS
# Two clocks that agree as well as this have the time from elsewhere.
AGREES_MS = 2 * MINUTE_MS
# So far out may a phone be that answers for a start far ahead. Well within an hour: a hardware
# clock in local time, or without summer time, is out by an hour or more, and is not believed.
DAYS_AGREE_MS = 30 * MINUTE_MS
# From here on, a server that no phone agreed with since its start rather believes the phone.
DIFFERS_MS = DAY_MS
USUAL = (-JUMP_MS, JUMP_MS)

log = logging.getLogger(__name__)


def steady_ms() -> int:
    """Return the time since some moment, which no setting of the clock changes.

    Where the system has such a clock, it counts while the machine sleeps.
    """
    which = getattr(time, "CLOCK_BOOTTIME", None)
    return int((time.monotonic() if which is None else time.clock_gettime(which)) * 1000)


def last_trusted_ms(connection: Connection) -> int | None:
    """Return the last time that a clock on this record was trusted at, if one ever was."""
    found = connection.scalar(select(func.max(Site.trusted_at)))
    return to_ms(found) if found else None


class SiteClock:
    """What the server takes for now: the wall clock, or in doubt what the steady one counted."""

    def __init__(self, wall_ms: Callable[[], int], steady: Callable[[], int] = steady_ms) -> None:
        self._wall_ms, self._steady_ms = wall_ms, steady
        self._lock = threading.Lock()
        self._at = (wall_ms(), steady())
        # When it surely was some time, and what the steady clock said then.
        self._certain = self._at
        # How far from the time that was counted the wall clock may be, to be believed.
        self._believed = USUAL
        self._agreed = False
        self.doubt: str | None = None

    def begin(self, trusted_ms: int | None) -> None:
        """Begin to serve a record, with the last time that was trusted there."""
        with self._lock:
            wall = self._wall_ms()
            if trusted_ms is None or -JUMP_MS <= wall - trusted_ms <= OFF_MS:
                return
            behind = wall < trusted_ms
            since, most = (trusted_ms, SET_ON_MS) if behind else (wall, trusted_ms + OFF_MS - wall)
            self._at = (since, self._steady_ms())
            self._certain = (trusted_ms, self._at[1])
            self._believed = (trusted_ms - JUMP_MS - since, most)
            self._begin_doubt("behind" if behind else "ahead", wall, trusted_ms)

    def __call__(self) -> int:
        """Return what the server takes for now."""
        with self._lock:
            return self._now()

    def certain_ms(self) -> int:
        """Return the time that it is at least: the last one trusted, and what was counted since."""
        with self._lock:
            now = self._now()
            return min(now, self._certain[0] + self._steady_ms() - self._certain[1])

    def hear(self, sent_ms: int | None) -> bool:
        """Hear of a phone's own time; say whether a skew against ours says anything.

        A phone that agrees with the wall clock ends any doubt of it. Of a start far ahead the doubt
        is of days, and such a start is followed: there a phone answers it that is out by
        minutes, or a nursery whose phones are all ten minutes out stays in doubt.
        """
        with self._lock:
            now, wall = self._now(), self._wall_ms()
            agrees_ms = DAYS_AGREE_MS if self.doubt == "ahead" else AGREES_MS
            if sent_ms is not None and abs(sent_ms - wall) <= agrees_ms:
                self._agreed = True
                self._believe(wall)
            if self.doubt:
                return False
            return self._agreed or sent_ms is None or abs(sent_ms - now) <= DIFFERS_MS

    def _now(self) -> int:
        wall = self._wall_ms()
        counted = self._at[0] + self._steady_ms() - self._at[1]
        if self._believed[0] <= wall - counted <= self._believed[1]:
            self._believe(wall)
            return wall
        if not self.doubt:
            self._begin_doubt("jumped", wall, counted)
        return counted

    def _believe(self, wall: int) -> None:
        if self.doubt:
            log.warning("the server's clock is believed again: %s", to_text(wall))
        self._at, self._believed, self.doubt = (wall, self._steady_ms()), USUAL, None
        self._certain = self._at

    def _begin_doubt(self, why: str, wall: int, counted: int) -> None:
        self.doubt = why
        says = "the server's clock says %s, and by what was counted it is %s or later (%s): set it"
        log.error(says, to_text(wall), to_text(counted), why)


def certain_ms(now_ms: Callable[[], int]) -> int:
    """Return the time that it is at least by a clock; one that is not watched is believed."""
    return now_ms.certain_ms() if isinstance(now_ms, SiteClock) else now_ms()


def is_sure(now_ms: Callable[[], int]) -> bool:
    """Say whether a clock is in no doubt; one that is not watched never is."""
    return not (isinstance(now_ms, SiteClock) and now_ms.doubt)
