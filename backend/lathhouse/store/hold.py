"""One holder at a time among all the processes on one database."""

import hashlib
import logging
import os

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError

log = logging.getLogger(__name__)


class Hold:
    """A lock that a process holds as long as it lives and its line to PostgreSQL does.

    It is the session's own advisory lock, on a line of its own: when the process dies, however, the
    database lets go of it at once. (A pooler that shares lines between transactions breaks that.)
    SQLite is for one process: there it is always held.
    """

    def __init__(self, engine: Engine, name: str) -> None:
        self.engine, self.name = engine, name
        digest = hashlib.blake2b(name.encode(), digest_size=8).digest()
        self.number = int.from_bytes(digest, "big", signed=True)
        self.line: Connection | None = None

    @property
    def is_shared(self) -> bool:
        """Say whether several processes may want it."""
        return self.engine.dialect.name != "sqlite"

    def take(self) -> bool:
        """Take it where it is free, and say whether it is ours."""
        if not self.is_shared:
            return True
        try:
            return self._still_ours() or self._taken()
        except DBAPIError as error:
            log.warning("the database does not answer: %s", type(error.orig).__name__)
            self._drop()
            return False

    def let_go(self) -> None:
        """Give it up."""
        self._drop()

    def _still_ours(self) -> bool:
        return self.line is not None and self.line.scalar(text("SELECT 1")) == 1

    def _taken(self) -> bool:
        line = self.engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        asked = text("SELECT pg_try_advisory_lock(:number)")
        if not line.scalar(asked, {"number": self.number}):
            line.close()
            return False
        # Whoever looks into the database sees which process it is.
        line.execute(text(f"SET application_name = 'lathhouse {self.name[:20]} {os.getpid()}'"))
        self.line = line
        return True

    def _drop(self) -> None:
        line, self.line = self.line, None
        if line is not None:
            # Its end, not its return to the others, is what lets go of the lock.
            line.invalidate()
            line.close()
