"""What a changed watch would have raised on this nursery's own records. Nothing is written."""

import json
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from sqlalchemy import select

from lathhouse.domain import facts
from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.phone_replay import live_phone, rests_on_contacts, rests_on_numbers
from lathhouse.domain.rows import ROW_KINDS, about
from lathhouse.domain.tender import weather_entry
from lathhouse.domain.watch_replay import (
    REPLAYED,
    Beside,
    Trial,
    counted,
    live_lot,
    not_replayed,
    rests_on_neighbours,
)
from lathhouse.domain.watches import load_rules
from lathhouse.domain.weather_facts import FROST_WATCH, frost_said
from lathhouse.domain.yard_replay import (
    Yard,
    live_yard,
    rests_on_weather,
    steps_of,
    with_backups,
    with_forecasts,
)
from lathhouse.store import config, long_rows, phone_past
from lathhouse.store.log import Log
from lathhouse.store.lots import inherited
from lathhouse.store.models import Backup, Subject
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
T = TypeVar("T")
# A person waits for this: what was not reached by then is said, and the figures are those of the
# rest. Ours.
SECONDS_MAX = 20.0
LOTS_MAX = 2000
LOTS_AT_ONCE = 100
LISTED_MAX = 200
# A dip is told of for a day (`dip.told_until`), and its bucket must be known for that.
DIPS_TOLD_MS = 2 * DAY_MS


def preview(
    site_id: str, rule: Data, days: int, now: str, clock: Callable[[], float] = time.monotonic
) -> Data:
    """Return what the rule as it stands, and the rule as proposed, would have raised.

    {now, then: {raised, standing_before, weeks}, alerts: what it would raise, the latest first;
    gone: what stands on record as raised and would not be; looked_at, of, whole, not_replayed;
    stopped: in what time ran out, and up to when of its past}.
    """

    def read(work: Work) -> Data:
        return Preview(work, rule, days, clock).run()

    return looking(site_id, now, read)


class OutOfTime(Exception):
    """There is no more time for this preview."""


class Preview:
    """One preview under way: both rules live through every subject's past, one after another."""

    def __init__(self, work: Work, rule: Data, days: int, clock: Callable[[], float]) -> None:
        self.work, self.clock, self.ends = work, clock, clock() + SECONDS_MAX
        self.until_ms = to_ms(work.now)
        self.since_ms = self.until_ms - days * DAY_MS
        self.standing_rule = config.data_of(work, "watch", rule["id"]) or rule
        self.rules = (self.standing_rule, rule)
        solutions = config.rows_of_kind(work, "solution")
        buckets = {("solution", name): row for name, row in solutions.items()}
        self.watcher = Watcher(work, buckets)
        self.watcher.dips_since = to_text(self.since_ms - DIPS_TOLD_MS)
        self.log = Log(work, [])
        self.why_not = not_replayed(rule)
        self.wanted = [kind for kind in REPLAYED if kind in rule["subjects"]]
        self.weather = any(rests_on_weather(one) for one in self.rules)
        self.raised: tuple[list[Data], list[Data]] = ([], [])
        self.looked_at = self.of = 0
        self.stopped: Data | None = None
        self.home: tuple[Data, list[Data]] | None = None

    def run(self) -> Data:
        """Return the answer, of as much as there was time for."""
        stood = self._lots() if {"lot", "place", "nursery"} & set(self.wanted) else []
        for kind in ("place", "nursery"):
            if kind in self.wanted:
                self._places(kind, stood)
        if "solution" in self.wanted:
            self._solutions()
        if "phone" in self.wanted:
            self._phones()
        return self._answer()

    def _late(self) -> bool:
        return self.clock() > self.ends

    def _trials(self, kind: str) -> list[Trial]:
        span = (self.since_ms, self.until_ms)
        return [Trial(rule, kind, self.watcher.site, *span) for rule in self.rules]

    def _keep(self, trials: list[Trial], label: str) -> None:
        self.looked_at += 1
        for kept, trial in zip(self.raised, trials, strict=True):
            kept += [{**one, "label": label} for one in trial.raised]

    def _lots(self) -> list[Data]:
        """Live through the lots; return when each stood where."""
        asked = "lot" in self.wanted
        beside = None
        if asked and any(rests_on_neighbours(rule) for rule in self.rules):
            # What spread beside a lot is known once all of them have been lived through.
            moves = self._moves()
            if moves is None:
                return []
            beside = Beside(moves)
        stood: list[Data] = []
        for lot_id, label in self._lot_ids():
            if self._late():
                self._stopped(label, None)
                break
            trials = self._trials("lot") if asked else []
            stood += self._life(lot_id, trials, beside)
            if asked:
                self._keep(trials, label)
        return stood

    def _moves(self) -> list[Data] | None:
        """Return when each lot stood where, or None where there was no time for all of them."""
        moves: list[Data] = []
        for lot_id, label in self._lot_ids():
            if self._late():
                self._stopped(label, None)
                return None
            moves += self._life(lot_id, [])
        return moves

    def _stopped(self, label: str, at_ms: int | None) -> None:
        """Note in what time ran out first, and how far its own past had been lived through."""
        at = to_text(at_ms) if at_ms is not None and at_ms >= self.since_ms else None
        self.stopped = self.stopped or {"label": label, "at": at}

    def _life(self, lot_id: str, trials: list[Trial], beside: Beside | None = None) -> list[Data]:
        events = self.log.events_about("lot", lot_id)

        def facts_of(lot: Data, at_ms: int) -> Data:
            if beside:
                place = lot["place"] or ""
                self.watcher.suppose_spreading({place: beside.at(place, at_ms)})
            return self.watcher.facts_of("lot", lot)

        def entry_of(lot: Data) -> Data | None:
            live = self.weather and facts.is_live(lot)
            crop = self.watcher.crops.get(lot["crop"])
            return weather_entry(lot, crop, facts.phase(lot)) if live else None

        past = inherited(self.log, lot_id, events)
        stood = live_lot(
            lot_id, events, past, facts_of, entry_of, trials, self.until_ms, beside=beside
        )
        self.log.stored.pop(("lot", lot_id), None)
        return stood

    def _lot_ids(self) -> Iterator[tuple[str, str]]:
        """Yield the lots that were there in that time, the last changed first, read ahead."""
        query = (
            select(Subject.id, Subject.data)
            .where(Subject.site_id == self.work.site_id, Subject.kind == "lot")
            .order_by(Subject.revision.desc(), Subject.id)
        )
        since = to_text(self.since_ms)
        lots = [(lot_id, json.loads(text)) for lot_id, text in self.work.connection.execute(query)]
        there = [(lot_id, lot) for lot_id, lot in lots if _was_there(lot, since)]
        self.of = len(there) if "lot" in self.wanted else 0
        for first in range(0, min(len(there), LOTS_MAX), LOTS_AT_ONCE):
            several = there[first : first + LOTS_AT_ONCE]
            self.log.read_ahead("lot", [lot_id for lot_id, _ in several])
            yield from ((lot_id, lot["label"]) for lot_id, lot in several)

    def _places(self, kind: str, stood: list[Data]) -> None:
        rows = config.rows_of_kind(self.work, kind)
        self.of += len(rows)
        for name, row in rows.items():
            label, trials = str(row.get("name") or ""), self._trials(kind)
            try:
                at = self._live_place(kind, name, stood, trials)
            except OutOfTime:
                at = self.since_ms
            if at is not None:
                self._stopped(label, at)
                return
            self._keep(trials, label)

    def _live_place(
        self, kind: str, name: str, stood: list[Data], trials: list[Trial]
    ) -> int | None:
        """Live through one place or the nursery; return when time ran out in it, if it did.

        Raises:
            OutOfTime: it ran out before there was anything to live through.
        """
        whole = kind == "nursery"
        first, told, begin = self._said(kind, name)
        places, events = {name: first}, {name: told}
        if whole:
            # What is covered where is a matter of the nursery's own frost; readings there are not.
            asked = config.rows_of_kind(self.work, "place") if self.weather else {}
            said = {place: self._said("place", place, but="read")[:2] for place in asked}
            places = {place: row for place, (row, _) in said.items()}
            events |= {place: of_it for place, (_, of_it) in said.items()}
        lots = {move["lot"] for move in stood if whole or move["place"] == name}
        steps = steps_of(name, events, [move for move in stood if move["lot"] in lots])
        if whole:
            steps = with_backups(steps, self._backups())
        home, nights = self._home() if self.weather and not whole else ({}, [])
        home = {**home, **self.watcher.site, **frost_said(load_rules())}
        yard = Yard(first, places, list(self.rules), home)
        if yard.covers:
            steps = with_forecasts(steps, nights, self._frost_limits())
        facts_of = facts.nursery_facts if whole else facts.place_facts
        return live_yard(yard, steps, facts_of, trials, self.until_ms, self._late, begin)

    def _frost_limits(self) -> list[tuple[str, Data]]:
        """Return from when on the nursery's own watch of frost said what, after what ships."""
        told = effective(self.log.events_about("watch", FROST_WATCH))
        changed = [one for one in told if one["kind"] == "watch_changed"]
        shipped = config.shipped_row(self.work, "watch", FROST_WATCH)
        rows = [(one["at"], config.set_up("watch", shipped, [one]) or {}) for one in changed]
        return [(at, frost_said([{"id": FROST_WATCH, **row}])) for at, row in rows]

    def _home(self) -> tuple[Data, list[Data]]:
        """Return the nursery's row as it is set up, and what was said of it; read once."""
        if self.home is None:
            self.home = self._said("nursery", self.work.site_id)[:2]
        return self.home

    def _said(
        self, kind: str, name: str, but: str | None = None
    ) -> tuple[Data, list[Data], int | None]:
        """Return a row, what was said of it since, and since when it is as given.

        It is as it was set up, nothing said of it yet, or a place as it was kept before the time
        that is lived through: years of readings before that say nothing of it.

        Args:
            but: a kind of event to be left out.
        """
        was = None if kind == "nursery" or but else self._as_it_was(name)
        if was is not None:
            since = effective(self.log.since(kind, name, was.until))
            later = [one for one in since if one["at"] > was.until]
            told = about(kind, name, self._in_time(later), self.work.site_id)
            return json.loads(was.data), told, to_ms(was.until)
        before = config.shipped_row(self.work, kind, name)
        own = long_rows.told(self.log, kind, name, config.SETS_UP[kind])
        first = config.set_up(kind, before, list(own)) or {}
        if kind == "nursery":
            first = config.with_offsets(first, self.work.now)
        said = self._in_time(long_rows.told(self.log, kind, name))
        told = [one for one in said if one["kind"] not in ROW_KINDS and one["kind"] != but]
        return {**first, "id": name}, told, None

    def _as_it_was(self, place: str) -> Any:
        return long_rows.as_it_was(self.work, "place", place, to_text(self.since_ms))

    def _in_time(self, events: Iterable[T]) -> Iterator[T]:
        for event in events:
            if self._late():
                raise OutOfTime
            yield event

    def _backups(self) -> list[str]:
        """Return when good backups were made; the nursery's row may know of a later one."""
        nursery = config.data_of(self.work, "nursery", self.work.site_id) or {}
        made = {row["at"] for row in self.work.rows(Backup)} | {nursery.get("last_backup_at")}
        return sorted(at for at in made if at)

    def _solutions(self) -> None:
        """Each bucket as it is now: what ends it has its own instant, and is looked back from."""
        rows = config.rows_of_kind(self.work, "solution")
        self.of += len(rows)
        for row in rows.values():
            trials, known = self._trials("solution"), facts.solution_facts(row)
            if self._late():
                self._stopped(known["label"], None)
                return
            thrown = row.get("discarded_at")
            ends = min(self.until_ms + 1, to_ms(thrown) if thrown else self.until_ms + 1)
            for trial in trials:
                if row.get("mixed_at"):
                    trial.live({**known, "offered": True}, to_ms(row["mixed_at"]), ends)
                if thrown:
                    trial.live({**known, "offered": False}, ends, self.until_ms + 1)
            self._keep(trials, known["label"])

    def _phones(self) -> None:
        rows = config.rows_of_kind(self.work, "phone")
        self.of += len(rows)
        numbers = any(rests_on_numbers(rule) for rule in self.rules)
        contacts = any(rests_on_contacts(rule) for rule in self.rules)
        for row in rows.values():
            label, trials = str(row.get("name") or ""), self._trials("phone")
            told = phone_past.steps_of(self.log, row, numbers=numbers, contacts=contacts)
            try:
                steps = list(self._in_time(told))
            except OutOfTime:
                self._stopped(label, None)
                return
            at = live_phone(row, steps, self._phone_facts, trials, self.until_ms, self._late)
            if at is not None:
                self._stopped(label, at)
                return
            self._keep(trials, label)

    def _phone_facts(self, row: Data) -> Data:
        return self.watcher.facts_of("phone", row)

    def _answer(self) -> Data:
        now, then = (counted(each, self.since_ms, self.until_ms) for each in self.raised)
        listed = sorted(self.raised[1], key=_raised_at, reverse=True)
        gone = [one for one in self.raised[0] if not any(_overlap(one, kept) for kept in listed)]
        return {
            "since": to_text(self.since_ms),
            "until": self.work.now,
            "now": now,
            "then": then,
            "alerts": listed[:LISTED_MAX],
            "gone": sorted(gone, key=_raised_at, reverse=True)[:LISTED_MAX],
            "looked_at": self.looked_at,
            "of": self.of,
            "whole": self.looked_at == self.of,
            "stopped": self.stopped,
            "not_replayed": self.why_not,
        }


def _was_there(lot: Data, since: str) -> bool:
    started = lot.get("started_at") and not lot.get("gone")
    return bool(started and (lot.get("closed_at") or since) >= since)


def _overlap(one: Data, other: Data) -> bool:
    """Say whether two alerts stood on the same subject at the same time."""
    ends, other_ends = one["cleared_at"] or "9", other["cleared_at"] or "9"
    same = one["subject"] == other["subject"]
    return bool(same and one["raised_at"] < other_ends and other["raised_at"] < ends)


def _raised_at(one: Data) -> tuple[str, str]:
    return one["raised_at"], one["subject"]["id"]
