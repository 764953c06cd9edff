"""One holder at a time among all the processes on one database."""

import hashlib
import logging
import os

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import SQLAlchemyError

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
        except SQLAlchemyError as error:
            log.warning("the database does not answer: %s", type(error).__name__)
            self.let_go()
            return False

    def let_go(self) -> None:
        """Give it up: the end of its line, not its return to the others, is what does that."""
        line, self.line = self.line, None
        if line is not None:
            line.invalidate()
            line.close()

    def _still_ours(self) -> bool:
        return self.line is not None and self.line.scalar(text("SELECT 1")) == 1

    def _taken(self) -> bool:
        self.line = self.engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        asked = text("SELECT pg_try_advisory_lock(:number)")
        if self.line.scalar(asked, {"number": self.number}):
            # Whoever looks into the database sees which process it is.
            named = f"SET application_name = 'lathhouse {self.name[:20]} {os.getpid()}'"
            self.line.execute(text(named))
            return True
        line, self.line = self.line, None
        line.close()
        return False
