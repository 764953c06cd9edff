"""What a watch would have raised: its subjects' past lived through again, step by step. Pure.

Nothing is sampled. After each record a subject is looked at, and again at each instant at which the
rule itself says that it may come to something else, until the next record. The past is the one that
the record holds now, corrections included; crops, places and other rules are as they stand today.
"""

import json
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.lot import apply, new_lot, stage_of, started_first
from lathhouse.domain.neighbours import Spreading, spreading_since
from lathhouse.domain.occurrences import is_another
from lathhouse.domain.watches import evaluate

Data = dict[str, Any]
Event = dict[str, Any]

WEEK_MS = 7 * DAY_MS
# A rule changes its mind a few times between two records; more than this is a rule gone wrong.
LOOKS_MAX = 60
# What places and the nursery are told of a lot, at each step of its life.
KEPT = ("place", "seen_at", "closed_at", "quantity")
# Whose past is on record.
REPLAYED = ("lot", "place", "nursery", "solution", "phone")


def not_replayed(rule: Data) -> list[str]:
    """Return the kinds of subject whose past cannot be lived through again."""
    return sorted({kind for kind in rule["subjects"] if kind not in REPLAYED})


def rests_on_neighbours(rule: Data) -> bool:
    """Say whether a rule looks at what stands beside a lot."""
    named = json.dumps([rule.get(part) for part in ("when", "clock", "until", "cases")])
    return '"beside.' in named


class Beside:
    """In which lots of each place mould spread, at any instant of the past."""

    def __init__(self, stood: Iterable[Data]) -> None:
        """Take what `live_lot` said of every lot, one lot after another."""
        self.changes: dict[str, list[tuple[int, str, str | None]]] = {}
        was: dict[str, tuple[str, str] | None] = {}
        for move in stood:
            lot, since = move["lot"], move["spreading_at"]
            now = (move["place"], since) if since else None
            before = was.get(lot)
            if now == before:
                continue
            if before:
                self.changes.setdefault(before[0], []).append((move["at"], lot, None))
            if now:
                self.changes.setdefault(now[0], []).append((move["at"], lot, since))
            was[lot] = now
        for changes in self.changes.values():
            changes.sort(key=lambda change: change[0])

    def at(self, place: str | None, at_ms: int) -> list[Spreading]:
        """Return [lot, since] of the lots of a place in which it spread at an instant."""
        found: dict[str, str] = {}
        for at, lot, since in self.changes.get(place or "", []):
            if at > at_ms:
                break
            found.pop(lot, None)
            if since:
                found[lot] = since
        return [[lot, since] for lot, since in found.items()]

    def turns(self, place: str | None, from_ms: int, to_before_ms: int) -> list[int]:
        """Return the instants between two at which that changed, after the first."""
        changes = self.changes.get(place or "", [])
        return sorted({at for at, _, _ in changes if from_ms < at < to_before_ms})


class Trial:
    """One rule at one subject: what it raised, between two instants."""

    def __init__(self, rule: Data, subject: str, site: Data, since_ms: int, until_ms: int) -> None:
        self.rule, self.subject, self.site = rule, subject, site
        self.since_ms, self.until_ms = since_ms, until_ms
        self.raised: list[Data] = []
        self.standing: Data | None = None
        self.found: Data | None = None

    def live(self, facts: Data, from_ms: int, to_before_ms: int) -> None:
        """Live through a stretch in which nothing is recorded; its end belongs to the next one."""
        at, ends = max(from_ms, self.since_ms), min(to_before_ms, self.until_ms + 1)
        for _ in range(LOOKS_MAX):
            if at >= ends:
                return
            found = evaluate([self.rule], self.subject, facts, to_text(at), self.site)
            self._see(at, found["findings"][0] if found["findings"] else None)
            if found["next_deadline"] is None:
                return
            at = to_ms(found["next_deadline"])

    def _see(self, at_ms: int, finding: Data | None) -> None:
        now = to_text(at_ms)
        stood, self.found = self.found, finding
        over = finding is None or (stood is not None and is_another(stood, finding))
        if over and self.standing is not None:
            self.standing["cleared_at"] = now
            self.standing = None
        if finding is None:
            return
        step = {"level": finding["level"], "at": now}
        if self.standing is None:
            before = at_ms == self.since_ms and to_ms(finding["since"]) < self.since_ms
            self.standing = {"subject": finding["subject"], "says": finding["says"]}
            self.standing |= {"raised_at": now, "cleared_at": None, "levels": [step]}
            self.standing["before"] = before
            self.raised.append(self.standing)
        elif self.standing["levels"][-1]["level"] != finding["level"]:
            self.standing["levels"].append(step)
            self.standing["says"] = finding["says"]


def live_lot(
    lot_id: str,
    events: Iterable[Event],
    inherited: Data,
    facts_of: Callable[[Data, int], Data],
    entry_of: Callable[[Data], Data | None],
    trials: list[Trial],
    until_ms: int,
    beside: Beside | None = None,
) -> list[Data]:
    """Live through a lot's log; return when it stood where, and how, as `yard_replay` reads it.

    Args:
        events: about the lot, in any order, corrections among them.
        facts_of: makes facts of the lot as it is at a step; they are read before the next one.
        entry_of: makes what frost and heat ask of it, where the rule looks at that.
        beside: what else spread in its place, where the rule looks at that.
    """  # fmt: skip
    ordered = started_first(lot_id, effective(events))
    lot = new_lot(lot_id, inherited)
    at, stood = 0, []
    for index, event in enumerate(ordered):
        apply(lot, event)
        if not lot["started_at"]:
            continue
        lot["stage"], lot["stage_since"] = stage_of(lot)
        at = max(at, to_ms(event["at"]))
        last = index + 1 == len(ordered)
        ends = until_ms + 1 if last else to_ms(ordered[index + 1]["at"])
        stood.append({"at": at, "lot": lot_id, **{name: lot[name] for name in KEPT}})
        stood[-1] |= {"spreading_at": spreading_since(lot), "entry": entry_of(lot)}
        if not trials or ends <= trials[0].since_ms:
            continue
        turns = beside.turns(lot["place"], at, ends) if beside else []
        for begin, end in pairwise([at, *turns, ends]):
            facts = facts_of(lot, begin)
            for trial in trials:
                trial.live(facts, begin, end)
    return stood


def counted(raised: list[Data], since_ms: int, until_ms: int) -> Data:
    """Return {raised, standing_before, weeks}: what was raised anew, in all and week by week."""
    weeks = [0] * -(-(until_ms - since_ms) // WEEK_MS)
    anew = [one for one in raised if not one["before"]]
    for one in anew:
        at = (to_ms(one["raised_at"]) - since_ms) // WEEK_MS
        weeks[min(at, len(weeks) - 1)] += 1
    return {"raised": len(anew), "standing_before": len(raised) - len(anew), "weeks": weeks}
