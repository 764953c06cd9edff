"""Run the simulated nursery and print what rang, what should have, and how much each person had."""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.simulation.report import lines
from tests.simulation.run import Run

EVERY_DAYS = 20


def main() -> int:
    """Run it; return how many aims were missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--away", choices=("shed", "mele", "orla"), default="shed")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lathhouse-simulation-") as folder:
        run = Run(Path(folder), asked.days, asked.seed, asked.away).go(progress)
    said, missed = lines(run)
    print("\n".join(said))
    return missed


def progress(day: int, days: int) -> None:
    """Say on standard error how far it is."""
    if day % EVERY_DAYS == 0:
        print(f"day {day} of {days}, {time.process_time():.0f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
