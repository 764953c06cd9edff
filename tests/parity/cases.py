"""Cases for both cores, made from seeds: lives of lots and histories of other subjects."""

import random
from typing import Any

from lathhouse.domain.corrections import fold_order
from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_ms, to_text
from lathhouse.domain.treatments import with_treatment
from tests.parity.logs import CHILD, LOT, PARENTS, START
from tests.parity.stories import STORIES, make_log, two_springs
from tests.parity.subjects import random_history
from tests.parity.twins import SITES

Case = dict[str, Any]


def random_cases(seeds: range) -> list[Case]:
    """Return a life of a lot for every seed, and another subject's history for every second."""
    histories = [history(seed) for seed in seeds if seed % 2 == 0]
    return [*(life(seed) for seed in seeds), *histories]


def life(seed: int) -> Case:
    """Return the case of one lot's log, with what the parents bring and where it is looked at."""
    pick = random.Random(f"life {seed}")
    events, end = make_log(seed)
    ordered = sorted(events, key=fold_order)
    ending = [event["id"] for event in ordered].index(end)
    end_event = ordered[ending]
    split = pick.randint(0, len(events))
    if pick.random() < 0.5:
        # What the server has folded is mostly older than what a phone has yet to send.
        older, newer = ordered[:split], ordered[split:]
        pick.shuffle(older)
        pick.shuffle(newer)
        events = older + newer
    else:
        pick.shuffle(events)
    many = pick.choice([0, 0, 0, 1, 2])
    whole: Case = {
        "kind": "life",
        "seed": seed,
        "site": pick.randrange(len(SITES)),
        "lot": LOT,
        "child": CHILD,
        "events": events,
        "split": split,
        "parents": {name: make_log(seed + 7_000_001, name)[0] for name in PARENTS[:many]},
        "home": {"hemisphere": pick.choice(["south", "north"]), "latitude_deg": None},
        "spreading": spreading(pick, [to_ms(event["at"]) for event in ordered]),
        "place": {"name": "Bench", "treatments": treatments(pick, to_ms(end_event["at"]))},
        "stops": stops([to_ms(event["at"]) for event in ordered], {ending}, pick, first=1),
    }
    if STORIES[seed % len(STORIES)] is not two_springs:
        del whole["home"]
    return whole


def spreading(pick: random.Random, times: list[int]) -> list[list[str]]:
    """Return [lot, since] of lots beside it in which mould spreads: mostly none."""
    beside = pick.choice([[], [], ["x"], ["x", "y", LOT]])
    least = min(max(times), max(times[0], START))
    return [[lot, to_text(pick.choice([least, *times[-2:]]) + HOUR_MS)] for lot in beside]


def treatments(pick: random.Random, around: int) -> list[Case]:
    """Return how the whole place was treated, mostly not at all."""
    ended = around - pick.choice([0, 1, 5, 30]) * DAY_MS
    row = {"id": "p1"}
    for number in range(pick.choice([0, 0, 0, 0, 1, 2])):
        said = {"ended_at": to_text(ended), "rei_hours": 12, "sale_hold_days": 3 + 7 * number}
        event = {"id": f"t{number}", "lot": pick.choice([None, LOT]), "at": to_text(around)}
        row = with_treatment(row, {**event, "data": {**said, "product": "soap"}})
    kept: list[Case] = row.get("treatments", [])
    return kept


def history(seed: int) -> Case:
    """Return the case of a place, a chamber, the nursery or a phone."""
    pick = random.Random(f"history {seed}")
    kind, rows = random_history(seed)
    seen = stops([at for at, _ in rows], set(range(len(rows))), pick, first=0)
    return {
        "kind": kind,
        "seed": seed,
        "site": pick.choice([0, 0, 0, *range(len(SITES))]),
        "rows": [row for _, row in rows],
        "stops": seen,
    }


def stops(
    times: list[int], changes: set[int], pick: random.Random, *, first: int
) -> list[list[Any]]:
    """Return [how much has happened, now, whether to look around the deadline that follows].

    These changes and another one are looked at before and when they happen, and the end is.

    Args:
        times: when things happened, in order.
        first: what `how much` counts from.
    """
    found: list[list[Any]] = []
    for index in sorted({*changes, pick.randrange(len(times))} - {0}):
        gap = times[index] - times[index - 1]
        for before in sorted([pick.randint(0, gap), min(gap, pick.choice([1, 60_000]))])[::-1]:
            found.append([index - 1 + first, to_text(times[index] - before), False])
        found.append([index + first, to_text(times[index]), pick.random() < 0.5])
    end = times[-1] + pick.choice([0, 1, 2, 7, 30, 60]) * DAY_MS + pick.choice([0, 1, 3_600_000])
    return [*found, [len(times) - 1 + first, to_text(end), True]]
