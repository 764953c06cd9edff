"""Runs of readings that lie past a limit, and for how long the last of them speaks.

Three hours is what a reading speaks for (ours).
"""

from dataclasses import dataclass

from tests.simulation.calendar import HOUR_MS
from tests.simulation.episodes import Span

STANDS_MS = 3 * HOUR_MS


@dataclass
class Run:
    """Readings of one place that all lie past a limit: since one was extreme, and the last."""

    extreme_at: int | None
    at: int


def go_on(runs: dict[str, Run], place: str, at: int, holds: bool, is_extreme: bool) -> None:
    """Let a place's run go on with one more reading, begin or end."""
    run = runs.pop(place, None)
    # What was read longer ago than a reading speaks for is no part of what is read now.
    before = run.extreme_at if run and at - run.at <= STANDS_MS else None
    if holds:
        runs[place] = Run(before if before is not None else at if is_extreme else None, at)


def speaks(run: Run | None) -> Span | None:
    """Return from when until when a run of readings speaks, where one of them was extreme."""
    if run is None or run.extreme_at is None:
        return None
    return run.extreme_at, run.at + STANDS_MS
