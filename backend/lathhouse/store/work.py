"""The unit of work: one transaction that locks what it touches, and raises the revision last."""

import hashlib
import json
from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from flask import current_app
from sqlalchemy import Connection, delete, insert, select, text, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError, IntegrityError

from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.errors import AnotherFold, Refusal
from lathhouse.store.engine import begun, is_sqlite, reading
from lathhouse.store.models import Base, Site, db
from lathhouse.store.walls import enter

T = TypeVar("T")
Row = dict[str, Any]
TRIES = 6
# Deadlock, serialization failure, unique violation by a concurrent twin of this work.
RETRIED_STATES = {"40P01", "40001", "23505"}
CHUNK = 500
COMPACT = json.JSONEncoder(separators=(",", ":"))


def dumps(value: Any) -> str:
    """Return compact JSON text for storing; the order of keys is kept."""
    return COMPACT.encode(value)


def chunks(items: Iterable[Any]) -> list[list[Any]]:
    """Cut a list into pieces that any database takes in one statement."""
    whole = list(items)
    return [whole[start : start + CHUNK] for start in range(0, len(whole), CHUNK)]


class Work:
    """A transaction under way on one site, which the database holds it to."""

    def __init__(self, connection: Connection, site_id: str, now: str) -> None:
        enter(connection, site_id)
        self.connection = connection
        self.site_id = site_id
        self.now = now
        self.revision: int | None = None
        # Whose records changed what, by (kind, id), and whose was the last; nobody's in a tick.
        self.who: dict[tuple[str, str], dict[str, Any]] = {}
        self.who_last: dict[str, Any] = {"by": None}
        # (when, who has it) of each "I have it" that is said for somebody else, on another's phone.
        self.given: set[tuple[str, str]] = set()
        # Whether records are being added, which is what changes subjects then.
        self.records = False

    def acting(self, at: tuple[str, str]) -> dict[str, Any]:
        """Return whose record changes a subject: its own last one, else the last of them all.

        {by}, and `by_said` where that is only what was said.
        """
        return self.who.get(at, self.who_last)

    def lock(self, keys: Iterable[str], *, wait: bool = True) -> set[str]:
        """Lock subjects (`lot:ID`) in one order for everybody; return those that were got.

        On SQLite the transaction holds the whole database already.
        """
        wanted = sorted(set(keys), key=lambda key: (self._lock_number(key), key))
        if is_sqlite(self.connection):
            return set(wanted)
        if wait:
            for key in wanted:
                self._advisory("pg_advisory_xact_lock", key)
            return set(wanted)
        return {key for key in wanted if self._advisory("pg_try_advisory_xact_lock", key)}

    def _advisory(self, function: str, key: str) -> Any:
        number = self._lock_number(key)
        return self.connection.execute(text(f"SELECT {function}({number})")).scalar()

    def _lock_number(self, key: str) -> int:
        digest = hashlib.blake2b(f"{self.site_id}/{key}".encode(), digest_size=8).digest()
        return int.from_bytes(digest, "big", signed=True)

    def hold_site(self) -> None:
        """Lock the site's row, after any subjects: no other work writes from now until the end.

        Whoever decides by what it reads takes it first, or a change that is just being committed
        is overwritten. It is the lock of raising the revision; SQLite has it already.
        """
        query = select(Site.fold_version).where(Site.id == self.site_id)
        found = self.connection.execute(query.with_for_update(key_share=True))
        check_fold(found.scalar())

    def see_fold(self) -> None:
        """See that the record's rows are those of this program's fold, locking nothing.

        Raises:
            AnotherFold: they are not.
        """
        query = select(Site.fold_version).where(Site.id == self.site_id)
        check_fold(self.connection.scalar(query))

    def raise_revision(self, new_events: int = 0) -> tuple[int, int]:
        """Raise the site's counters, last of all; return (revision, first new log position).

        The site's row stays locked until the commit, so revisions appear in order.

        Raises:
            AnotherFold: another version of the program has folded the record since.
        """
        if self.revision is not None:
            raise RuntimeError("the revision is raised once, last")
        statement = (
            update(Site)
            .where(Site.id == self.site_id)
            .values(revision=Site.revision + 1, log_position=Site.log_position + new_events)
            .returning(Site.revision, Site.log_position, Site.fold_version)
        )
        revision, position, fold = self.connection.execute(statement).one()
        check_fold(fold)
        self.revision = revision
        return revision, position - new_events + 1

    def rows(self, table: type[Base], *conditions: Any) -> list[Row]:
        """Return a table's rows of this site as plain dictionaries."""
        query = select(table.__table__).where(table.site_id == self.site_id, *conditions)  # type: ignore[attr-defined]
        return [dict(row) for row in self.connection.execute(query).mappings()]

    def rows_in(
        self, table: type[Base], column: Any, values: Iterable[Any], *conditions: Any
    ) -> list[Row]:
        """Return the rows whose column is among these values, however many they are."""
        parts = chunks(values)
        return [row for part in parts for row in self.rows(table, *conditions, column.in_(part))]

    def insert(self, table: type[Base], rows: list[Row]) -> None:
        """Add rows of this site."""
        if rows:
            self.connection.execute(
                insert(table), [{"site_id": self.site_id, **row} for row in rows]
            )

    def upsert(self, table: type[Base], rows: list[Row], keys: tuple[str, ...]) -> None:
        """Add rows of this site, or replace those that have the same keys."""
        if not rows:
            return
        dialect: Any = sqlite if is_sqlite(self.connection) else postgresql
        statement = dialect.insert(table)
        changed = {name: statement.excluded[name] for name in rows[0] if name not in keys}
        whole = ("site_id", *keys)
        if changed:
            statement = statement.on_conflict_do_update(index_elements=whole, set_=changed)
        else:
            statement = statement.on_conflict_do_nothing(index_elements=whole)
        self.connection.execute(statement, [{"site_id": self.site_id, **row} for row in rows])

    def delete(self, table: type[Base], *conditions: Any) -> None:
        """Take away derived rows (never events)."""
        where = table.site_id == self.site_id  # type: ignore[attr-defined]
        self.connection.execute(delete(table).where(where, *conditions))


def check_fold(found: int | None) -> None:
    """See that the record's rows are those of this program's fold.

    A process of an older version, left running while a newer one has folded the record again, would
    go on from rows that it does not know, and leave rows that the newer one takes for its own.

    Raises:
        AnotherFold: they are not.
    """
    if found != FOLD_VERSION:
        raise AnotherFold(
            f"The record was folded by another version of the program ({found}; this process is of "
            f"{FOLD_VERSION}). End this process, or bring it to that version: nothing is lost, "
            "phones send it again."
        )


# Puts on record what an act came to, in the act's own transaction.
Then = Callable[[Work, Any], Any]


def writing(
    site_id: str,
    now: str,
    act: Callable[[Work], T],
    then: Then | None = None,
    *,
    hurried: bool = False,
) -> T:
    """Run `act` in one writing transaction and return what it returns.

    A deadlock, or a twin of the same work that came first, is tried again a few times.

    Args:
        then: is given what `act` returns, unless that is nothing, in the same transaction.
        hurried: it fails at once where others are writing.
    """
    engine = db.engine
    for attempt in range(TRIES):
        try:
            with begun(engine, hurried=hurried) as connection:
                work = Work(connection, site_id, now)
                found = act(work)
                if then and found:
                    then(work, found)
                return found
        except (DBAPIError, IntegrityError) as error:
            state = getattr(error.orig, "sqlstate", None)
            if state not in RETRIED_STATES or attempt == TRIES - 1:
                raise
            current_app.logger.info("writing again after %s", state)
    raise AssertionError("unreachable")


def by_the_way(site_id: str, now: str, act: Callable[[Work], object]) -> None:
    """Write what a reader leaves behind, where that is possible at once.

    What can be read is read, also where nothing can be written; the next reader tries again.
    """
    try:
        writing(site_id, now, act, hurried=True)
    except (Refusal, DBAPIError) as error:
        current_app.logger.warning("what a reader leaves behind could not be written: %s", error)


def looking(site_id: str, now: str, act: Callable[[Work], T]) -> T:
    """Run `act` on one consistent state, for reading only."""
    with reading(db.engine) as connection:
        return act(Work(connection, site_id, now))
