"""Run many schedules, print what was found and how often each fault was made."""

import argparse
import logging
import multiprocessing
import signal
import sys
import tempfile
from collections import Counter
from pathlib import Path

from playwright.sync_api import Playwright, sync_playwright

from tests.browser import find_chromium
from tests.faults.handsets import lightest
from tests.faults.killing import Killing
from tests.faults.many import run
from tests.faults.search import clock
from tests.memory import in_memory


def run_all(chromium: str, schedules: int, seed: int, processes: int) -> int:
    """Run schedules in several processes, each with a seed and a world of its own."""
    passed = clock()
    shares = [schedules // processes + (n < schedules % processes) for n in range(processes)]
    work = [(chromium, share, seed + n) for n, share in enumerate(shares) if share]
    if len(work) == 1:
        results = [run(*work[0])]
    else:
        with multiprocessing.get_context("spawn").Pool(len(work)) as pool:
            results = pool.starmap(run, work, chunksize=1)
    tried, wrong = (
        sum(each) for each in zip(*((f.tried, len(f.wrong)) for f, _ in results), strict=True)
    )
    print(f"\n{tried} schedules in {passed():.0f} s, {wrong} wrong")
    tell(sum((made for _, made in results), Counter()))
    return wrong


def kill(playwright: Playwright, count: int, seed: int) -> int:
    """Run schedules in which browsers and the server are really killed."""
    made, wrong = Counter[str](), 0
    for number in range(seed, seed + count):
        with tempfile.TemporaryDirectory(prefix="lathhouse-killing-", dir=in_memory()) as folder:
            killing = Killing(playwright, find_chromium(playwright), Path(folder))
            found = killing.run(number)
        made.update(killing.made)
        wrong += bool(found)
        print(f"seed {number}: {'; '.join(found) or 'all kept'}", flush=True)
    print(f"\n{count} schedules with real kills, {wrong} wrong")
    tell(made)
    return wrong


def tell(made: Counter[str]) -> None:
    """Print how often each fault was made."""
    for name, count in sorted(made.items()):
        print(f"{count:8}  {name}")


def main() -> int:
    """Run what is asked for; return how much of it went wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--schedules", type=int, default=0)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=1, help="each draws from its own seed")
    asked = parser.parse_args()
    # Whoever ends it early is told what was found so far.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    # A server that is meant to fail says so at length.
    logging.disable(logging.CRITICAL)
    wrong = 0
    with sync_playwright() as playwright:
        chromium = find_chromium(playwright)
        if asked.kills:
            wrong += kill(playwright, asked.kills, asked.seed)
    if asked.schedules:
        wrong += run_all(lightest(chromium), asked.schedules, asked.seed, asked.processes)
    return wrong


if __name__ == "__main__":
    sys.exit(main())
