"""What a watch would have raised: its subjects' past lived through again, step by step. Pure.

Nothing is sampled. After each record a subject is looked at, and again at each instant at which the
rule itself says that it may come to something else, until the next record. The past is the one that
the record holds now, corrections included; crops, places and other rules are as they stand today.
"""

import json
from collections.abc import Callable, Iterable
from typing import Any

from lathhouse.domain.corrections import effective
from lathhouse.domain.facts import is_live, standing
from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.lot import apply, new_lot, stage_of, started_first
from lathhouse.domain.rows import go_on
from lathhouse.domain.watches import evaluate

Data = dict[str, Any]
Event = dict[str, Any]

WEEK_MS = 7 * DAY_MS
# A rule changes its mind a few times between two records; more than this is a rule gone wrong.
LOOKS_MAX = 60
# Long lists of a place's readings, which no watch looks at; copying them at each reading is slow.
NOT_WATCHED = ("temps", "hours")


# Whose past is on record; of phones and their silence nothing is kept but the last contact.
REPLAYED = ("lot", "place", "nursery", "solution")
# Facts that rest on what stood beside something, or on more than the log, by who is looked at.
RESTS_ON = {
    "lot": {"beside.": "neighbours"},
    "place": {"cold.": "weather", "cover.": "weather", "entry.": "neighbours"},
    "nursery": {"cold.": "weather", "last_backup_at": "server"},
}


def not_replayed(rule: Data) -> list[str]:
    """Return why a rule's past cannot be lived through again; empty where it can.

    A subject's kind, or `weather`, `neighbours`, `server`: what the facts it names rest on.
    """
    found = [kind for kind in rule["subjects"] if kind not in REPLAYED]
    if "each" in rule:
        found.append("weather")
    named = json.dumps([rule.get(part) for part in ("when", "clock", "until", "cases")])
    for kind in rule["subjects"]:
        found += [why for name, why in RESTS_ON.get(kind, {}).items() if f'"{name}' in named]
    return sorted(set(found))


class Trial:
    """One rule at one subject: what it raised, between two instants."""

    def __init__(self, rule: Data, subject: str, site: Data, since_ms: int, until_ms: int) -> None:
        self.rule, self.subject, self.site = rule, subject, site
        self.since_ms, self.until_ms = since_ms, until_ms
        self.raised: list[Data] = []
        self.standing: Data | None = None

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
        if finding is None:
            if self.standing is not None:
                self.standing["cleared_at"] = now
                self.standing = None
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
    facts_of: Callable[[Data], Data],
    trials: list[Trial],
    until_ms: int,
) -> list[Data]:
    """Live through a lot's log; return when it stood where: {at, lot, place, live, seen_at} each.

    Args:
        events: about the lot, in any order, corrections among them.
        facts_of: makes facts of the lot as it is at a step; they are read before the next one.
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
        stood.append({"at": at, "lot": lot_id, "place": lot["place"], "live": is_live(lot)})
        stood[-1] |= {"seen_at": lot["seen_at"], "closed_at": None, "quantity": lot["quantity"]}
        if trials and ends > trials[0].since_ms:
            facts = facts_of(lot)
            for trial in trials:
                trial.live(facts, at, ends)
    return stood


def live_place(
    row: Data,
    events: Iterable[Event],
    stood: list[Data],
    facts_of: Callable[[Data, Data], Data],
    trials: list[Trial],
    until_ms: int,
    *,
    everywhere: bool = False,
) -> None:
    """Live through what was recorded of a place, or of the nursery, and the lots that stood in it.

    Args:
        row: the place as it was set up, of which nothing has been said yet.
        events: readings, closed rounds and the like, in any order.
        stood: what `live_lot` said of the lots that were ever here.
        everywhere: it is the nursery itself, in which every lot stands.
    """  # fmt: skip
    told = [(to_ms(event["at"]), event) for event in effective(events)]
    steps: list[tuple[int, Data | None, Data | None]] = [(at, event, None) for at, event in told]
    steps += [(move["at"], None, move) for move in stood]
    steps.sort(key=lambda step: step[0])
    here: dict[str, Data] = {}
    for index, (at, event, move) in enumerate(steps):
        if event is not None:
            row = {name: value for name, value in go_on(row, [event]).items() if _watched(name)}
        if move is not None:
            in_it = everywhere or move["place"] == row["id"]
            here.pop(move["lot"], None)
            if in_it and move["live"]:
                here[move["lot"]] = move
        ends = steps[index + 1][0] if index + 1 < len(steps) else until_ms + 1
        if trials and ends > max(at, trials[0].since_ms):
            facts = facts_of(row, standing(list(here.values())))
            for trial in trials:
                trial.live(facts, at, ends)


def _watched(name: str) -> bool:
    return name not in NOT_WATCHED


def counted(raised: list[Data], since_ms: int, until_ms: int) -> Data:
    """Return {raised, standing_before, weeks}: what was raised anew, in all and week by week."""
    weeks = [0] * -(-(until_ms - since_ms) // WEEK_MS)
    anew = [one for one in raised if not one["before"]]
    for one in anew:
        at = (to_ms(one["raised_at"]) - since_ms) // WEEK_MS
        weeks[min(at, len(weeks) - 1)] += 1
    return {"raised": len(anew), "standing_before": len(raised) - len(anew), "weeks": weeks}
