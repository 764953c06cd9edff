"""How many new alerts each person has on each of their working days, and what they are."""

import statistics
from collections import Counter
from dataclasses import dataclass

from tests.simulation.calendar import HOUR_MS
from tests.simulation.people import WORKS
from tests.simulation.rings import Board, Ring, told
from tests.simulation.run import Run

AIM = 6
# ISA-18.2 and IEC 62682 name about 5, 15 and 80 percent for the upper, middle and lower priority.
SHARES = {1: 5, 2: 15, 3: 80}


@dataclass
class Load:
    """New alerts of one person on their ordinary working days, and on the others."""

    who: str
    ordinary: list[int]
    others: list[int]


def loads(run: Run, board: Board) -> list[Load]:
    """Return each person's load, were everybody told of everything on a board."""
    found = []
    for who, weekdays in WORKS.items():
        days = [day for day in range(run.days) if run.calendar.weekday(day) in weekdays]
        news = told(board.rings, days, run.calendar)
        ordinary = [len(news[day]) for day in days if day not in run.out_of_order]
        others = [len(news[day]) for day in days if day in run.out_of_order]
        found.append(Load(who, ordinary, others))
    return found


def percentile(values: list[int], percent: int) -> float:
    """Return a percentile, nearest rank: 0 of nothing."""
    ordered = sorted(values)
    rank = -(-percent * len(ordered) // 100)
    return ordered[max(0, rank - 1)] if ordered else 0


def figures(values: list[int]) -> tuple[float, float, int]:
    """Return median, 95th percentile and most."""
    middle = statistics.median(values) if values else 0
    return middle, percentile(values, 95), max(values, default=0)


def shares(board: Board) -> dict[int, float]:
    """Return the percentage of rings of each priority (3 stands for 3 and 4)."""
    counted = Counter(min(3, ring.priority) for ring in board.rings)
    whole = sum(counted.values()) or 1
    return {priority: 100 * counted[priority] / whole for priority in (1, 2, 3)}


def by_watch(board: Board) -> Counter[str]:
    """Return how often each watch was new on a board."""
    return Counter(ring.watch for ring in board.rings)


def longest_unanswered(run: Run) -> tuple[float, str]:
    """Return the most hours that a ring stood before anybody acted on it or took it on."""
    worst = (0.0, "none")
    for ring in run.mirror.ringing.rings:
        end = ring.until or run.clock.ms
        hours = (min([end, *_answers(run, ring)]) - ring.at) / HOUR_MS
        worst = max(worst, (hours, ring.watch))
    return worst


def _answers(run: Run, ring: Ring) -> list[int]:
    acts = [at for key in ring.keys for at in run.world.acted.get(key.subject, [])]
    acts += [at for key in ring.keys for at in run.mirror.answered.get(key, [])]
    return [at for at in acts if at >= ring.at]
