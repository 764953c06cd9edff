"""How often an address may fail: guessing is slowed, and nobody is locked out by a stranger."""

import threading

from flask import current_app

from lathhouse.domain.instants import MINUTE_MS
from lathhouse.errors import TooOften

# A pairing secret is 192 random bits: no rate would find one. The bound keeps guessing from
# costing the server anything.
TRIES_MAX = 20
WITHIN_MS = 10 * MINUTE_MS
ADDRESSES_MAX = 10_000


class FailedTries:
    """The failed tries of the last minutes, for each address, in this process."""

    def __init__(self) -> None:
        self._at: dict[str, list[int]] = {}
        self._turn = threading.Lock()

    def count(self, address: str, now_ms: int) -> None:
        """Count a failed try.

        Raises:
            TooOften: there were too many from there.
        """
        with self._turn:
            recent = [at for at in self._at.pop(address, []) if at > now_ms - WITHIN_MS]
            full = len(recent) >= TRIES_MAX
            recent += [] if full else [now_ms]
            # Put last, so that the longest quiet address is the one that is forgotten.
            self._at[address] = recent
            while len(self._at) > ADDRESSES_MAX:
                self._at.pop(next(iter(self._at)))
        if full:
            wait_ms = max(recent[0] + WITHIN_MS - now_ms, 1)
            says = f"Wait {-(-wait_ms // MINUTE_MS)} minutes, or open a fresh link from the owner."
            raise TooOften(says, retry_after_s=-(-wait_ms // 1000))


def failed_tries() -> FailedTries:
    """Return this application's count of failed tries."""
    found: FailedTries = current_app.extensions.setdefault("failed_tries", FailedTries())
    return found
