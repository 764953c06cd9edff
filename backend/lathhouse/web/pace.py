"""How often each caller asks, in this process: no script holds the server to itself."""

import time
from threading import Lock

from lathhouse.errors import TooOften

WINDOW_SECONDS = 60
CALLERS_MAX = 10_000


class Pace:
    """The requests of this minute, by the hash of the token or session that they came with."""

    def __init__(self, most: int) -> None:
        """Take how many each caller may send in a minute."""
        self.most = most
        self._turn, self._window = Lock(), 0
        self._counts: dict[str, int] = {}

    def count(self, caller: str, at_seconds: float | None = None) -> None:
        """Count one more.

        Raises:
            TooOften: there were too many in this minute.
        """
        # Not the server's own time, which may be set: minutes as they pass.
        at = time.monotonic() if at_seconds is None else at_seconds
        window = int(at // WINDOW_SECONDS)
        with self._turn:
            if window != self._window or len(self._counts) >= CALLERS_MAX:
                self._window, self._counts = window, {}
            count = self._counts[caller] = self._counts.get(caller, 0) + 1
        if count > self.most:
            wait = max(1, int((window + 1) * WINDOW_SECONDS - at))
            says = f"At most {self.most} requests a minute. Go on in {wait} seconds."
            raise TooOften(says, retry_after_s=wait)
