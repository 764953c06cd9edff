"""The past of a phone: when it was in touch, which records came, which were missing. Pure.

What it is called and whose it is stands as it is today; the rest is lived through again.
"""

import json
from collections.abc import Callable, Iterable
from typing import Any

from lathhouse.domain.instants import to_ms
from lathhouse.domain.phone_numbers import Numbers
from lathhouse.domain.rows import ROW_KINDS, go_on
from lathhouse.domain.watch_replay import Trial

Data = dict[str, Any]
# (instant, what it is, the event, number or name itself)
Step = tuple[str, str, Any]
# What of a phone's row changes as it is lived through.
AS_NEW: Data = {
    "last_sync_at": None, "contiguous": 0, "beyond": [], "gap_since": None, "refused_since": None,
    "cut_off_at": None, "moved_to": None, "left_behind_at": None, "answers": {},
}  # fmt: skip


def rests_on_numbers(rule: Data) -> bool:
    """Say whether a rule looks at which of a phone's records came."""
    return '"amiss_since"' in json.dumps(rule)


def rests_on_contacts(rule: Data) -> bool:
    """Say whether a rule looks at when a phone was in touch."""
    return '"last_sync_at"' in json.dumps(rule)


class Past:
    """A phone at one moment of its past."""

    def __init__(self, row: Data) -> None:
        """Take its row as it is today."""
        self.row: Data = {**row, **AS_NEW}
        self.numbers = Numbers(self.row)
        self.open: dict[str, str] = {}

    def take(self, step: Step) -> None:
        """Go on with one step."""
        at, what, told = step
        if what == "heard":
            self.row["last_sync_at"] = at
        elif what == "came":
            self.numbers.count([told], at)
        elif what == "brought":
            self.numbers.set_aside(told, at)
        elif what == "refused":
            self.open[told] = at
        elif what == "mended":
            self.open.pop(told, None)
        elif told["kind"] in ROW_KINDS:
            self.row |= told.get("data") or {}
        else:
            self.row = go_on(self.row, [told])
        self.row["gap_since"] = self.numbers.gap_since
        if what in ("refused", "mended"):
            self.row["refused_since"] = min(self.open.values(), default=None)


def live_phone(
    row: Data,
    steps: Iterable[Step],
    facts_of: Callable[[Data], Data],
    trials: list[Trial],
    until_ms: int,
    late: Callable[[], bool] = bool,
) -> int | None:
    """Live through a phone's past with each trial; return at which instant time ran out, or None.

    Args:
        row: as it is today.
        steps: in any order; of those at one instant the earlier ones count first.
        facts_of: makes facts of the row as it is after a step.
    """
    past, ordered = Past(row), sorted(steps, key=lambda step: step[0])
    known, since = None, 0
    for index, step in enumerate(ordered):
        at_ms = to_ms(step[0])
        if late():
            return at_ms
        past.take(step)
        if index + 1 < len(ordered) and ordered[index + 1][0] == step[0]:
            continue
        facts = facts_of(past.row)
        if facts == known:
            continue
        if known is not None:
            _live(trials, known, since, at_ms)
        known, since = facts, at_ms
    if known is not None:
        _live(trials, known, since, until_ms + 1)
    return None


def _live(trials: list[Trial], facts: Data, from_ms: int, to_before_ms: int) -> None:
    for trial in trials:
        trial.live(facts, from_ms, to_before_ms)
