"""Schedule after schedule, from a seed; what fails is made as small as it can be."""

import json
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded

from tests.faults.schedule import Step, schedules

Schedule = list[Step]
Judge = Callable[[Schedule], list[str]]
# Tries for making one failing schedule smaller.
SMALLER_TRIES = 60


class Found:
    """What a search has found."""

    def __init__(self) -> None:
        self.tried = 0
        self.steps: Counter[str] = Counter()
        self.wrong: list[tuple[Schedule, list[str]]] = []


def search(
    run: Judge, count: int, seed: int, found: Found, told: Callable[[bool], None] = lambda _: None
) -> None:
    """Run so many schedules; a failing one is noted and the search goes on.

    Args:
        told: is told after each whether it went wrong.
    """

    @seeded(seed)
    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(schedules)
    def one(schedule: Schedule) -> None:
        wrong = run(schedule)
        found.tried += 1
        found.steps.update(f"step: {step['do']}" for step in schedule)
        if wrong:
            found.wrong.append((schedule, wrong))
        told(bool(wrong))

    one()


def smaller(schedule: Schedule, run: Judge) -> tuple[Schedule, list[str]]:
    """Return a schedule with whatever can be left out of it and still goes wrong."""
    wrong, tries = run(schedule), 0
    changed = bool(wrong)
    while changed and tries < SMALLER_TRIES:
        changed = False
        for less in simpler(schedule):
            tries += 1
            found = run(less)
            if found:
                schedule, wrong, changed = less, found, True
                break
            if tries >= SMALLER_TRIES:
                break
    return schedule, wrong


def simpler(schedule: Schedule) -> Iterator[Schedule]:
    """Yield schedules with one thing less: half of it, a step, a fault, a death."""
    half = len(schedule) // 2
    if half > 2:
        yield schedule[:half]
        yield schedule[half:]
    for place in reversed(range(len(schedule))):
        yield schedule[:place] + schedule[place + 1 :]
    for place, step in enumerate(schedule):
        calmer: list[dict[str, Any]] = []
        if step.get("net"):
            calmer += [{**step, "net": []}, {**step, "net": step["net"][:-1]}]
        if step.get("die_at"):
            calmer.append({**step, "die_at": 0})
        for less in calmer:
            yield [*schedule[:place], less, *schedule[place + 1 :]]


def as_lines(schedule: Schedule) -> str:
    """Return a schedule as people read it, a step a line."""
    return "[\n" + ",\n".join(f"  {json.dumps(step)}" for step in schedule) + "\n]"


def clock() -> Callable[[], float]:
    """Return a function that says how many seconds have passed."""
    began = time.monotonic()
    return lambda: time.monotonic() - began
