"""Many schedules in one process; another process finds this by its name, as it could no main."""

import logging
import tempfile
from collections import Counter
from pathlib import Path

from tests.faults.search import Found, as_lines, clock, search, smaller
from tests.faults.world import World
from tests.memory import in_memory

TELL_EVERY = 100


def run(chromium: str, schedules: int, seed: int) -> tuple[Found, Counter[str]]:
    """Run schedules in the world of one browser; return what was found and made."""
    # A server that is meant to fail says so at length.
    logging.disable(logging.CRITICAL)
    passed, found = clock(), Found()
    with tempfile.TemporaryDirectory(prefix="lathhouse-faults-", dir=in_memory()) as folder:
        world = World(chromium, Path(folder))

        def told(wrong: bool) -> None:
            if wrong:
                schedule, first = found.wrong[-1]
                least, says = smaller(schedule, world.run)
                again = says or [*first, "(went right when run again)"]
                print(as_lines(least), *again, sep="\n")
            if wrong or found.tried % TELL_EVERY == 0:
                print(f"seed {seed}: {found.tried} schedules in {passed():.0f} s", flush=True)

        try:
            search(world.run, schedules, seed, found, told)
        except KeyboardInterrupt:
            print("ended before its time")
        world.close()
    return found, found.steps + world.made
