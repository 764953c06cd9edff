"""Evaluating the watches on stored subjects, and writing what comes of it."""

import json
from typing import Any

from sqlalchemy import func, select

from lathhouse.domain import facts
from lathhouse.domain.instants import DAY_MS, later, to_ms, to_text
from lathhouse.domain.spells import last_spell
from lathhouse.domain.watches import evaluate
from lathhouse.domain.weather_facts import frost_said
from lathhouse.store import alerts, config, weather
from lathhouse.store.models import Subject
from lathhouse.store.work import Row, Work

Data = dict[str, Any]
AtSubject = tuple[str, str]
# A dip in a bucket past its life is told for a day (`dip.told_until`); older ones are not read.
DIPS_TOLD_MS = 2 * DAY_MS
WATCHED = ("lot", "place", "phone", "nursery", "solution")


class Watcher:
    """Everything that evaluating needs besides the subject: rules, crops, places, the site."""

    def __init__(self, work: Work, changed: dict[AtSubject, Data] | None = None) -> None:
        self.work = work
        changed = self.changed = changed or {}
        self.dips_since = to_text(to_ms(work.now) - DIPS_TOLD_MS)

        def rows(kind: str) -> dict[str, Data]:
            fresh = {subject: row for (found, subject), row in changed.items() if found == kind}
            return {**config.rows_of_kind(work, kind), **fresh}

        self.rules = sorted(rows("watch").values(), key=lambda rule: str(rule["id"]))
        self.crops = rows("protocol")
        self.places = rows("place")
        nursery = rows("nursery")[work.site_id]
        self.home = {**nursery, **frost_said(self.rules)}
        names = ("offsets", "working_days", "hemisphere", "season_starts")
        self.site: Data = {name: nursery.get(name) for name in names}
        self._spreading: dict[str, list[Any]] | None = None

    def facts_of(self, kind: str, data: Data) -> Data:
        """Return the facts of a subject's row."""
        if kind == "lot":
            crop = self.crops.get(data["crop"])
            place = self.places.get(data["place"] or "")
            spreading = self.spreading().get(data["place"] or "")
            bucket = self._bucket_of(data)
            return facts.lot_facts(data, crop, place, bucket, spreading, self.home)
        if kind == "place":
            stock = weather.stock_of_place(self.work, data, self.home)
            return facts.place_facts(data, self.standing(data["id"], data), stock)
        if kind == "nursery":
            stock = weather.stock_of_nursery(self.work, data, self)
            return facts.nursery_facts(data, self.standing(None), stock)
        if kind == "solution":
            return facts.solution_facts(data)
        owner = config.data_of(self.work, "person", data["person"]) if data["person"] else None
        fresh = self.changed.get(("person", data["person"])) or owner or {}
        return facts.phone_facts({**data, "works": fresh.get("works")})

    def spreading(self) -> dict[str, list[Any]]:
        """Return {place: [lot, since]} of the lots in which mould is spreading: few, read once."""
        if self._spreading is None:
            columns = (Subject.place_id, Subject.id, Subject.spreading_at)
            where = (Subject.site_id == self.work.site_id, Subject.spreading_at.is_not(None))
            self._spreading = {}
            for place, lot, since in self.work.connection.execute(select(*columns).where(*where)):
                self._spreading.setdefault(str(place), []).append([lot, since])
        return self._spreading

    def suppose_spreading(self, spreading: dict[str, list[Any]]) -> None:
        """Take another moment's mould for today's."""
        self._spreading = spreading

    def _bucket_of(self, lot: Data) -> Data | None:
        """Return the bucket of a lot's last dip, while it may still be told of."""
        dip = last_spell(lot, "sanitise")
        if not dip or not dip.get("solution") or dip["started_at"] < self.dips_since:
            return None
        fresh = self.changed.get(("solution", dip["solution"]))
        return fresh or config.data_of(self.work, "solution", dip["solution"])

    def standing(self, place: str | None, row: Data | None = None) -> Data:
        """Return how many live lots a place holds (or the nursery), and when they were seen.

        Args:
            row: the place's, where visits matter: lots that are closed, or were taken out of a
                place that is closed after a treatment, tell of them too.
        """
        seen, live = Subject.seen_at, Subject.live
        lots = (Subject.site_id == self.work.site_id, Subject.kind == "lot", seen.is_not(None))
        query = select(func.count(), func.min(seen), func.max(seen)).where(*lots, live)
        if place is not None:
            query = query.where(Subject.place_id == place)
        count, oldest, newest = self.work.connection.execute(query).one()
        found = {"live_lots": count, "oldest_seen_at": oldest, "newest_seen_at": newest}
        if row is None or (row.get("enter_after") or "") <= self.work.now:
            return {**found, "newest_visit_at": newest}
        over = select(func.max(seen)).where(*lots, ~live, Subject.place_id == place)
        others = self.work.connection.execute(over).scalar(), self._left_at(row)
        return {**found, "newest_visit_at": later(newest, *others)}

    def _left_at(self, place: Data) -> str | None:
        """Return when a lot was last taken out of a place that is closed, since it was closed."""
        told = place.get("treatments") or []
        closed = [one for one in told if (one["enter_after"] or "") > self.work.now]
        since = min(one["ended_at"] for one in closed)
        query = select(Subject.data).where(
            Subject.site_id == self.work.site_id, Subject.kind == "lot", Subject.left_at > since
        )
        rows = self.work.connection.execute(query).scalars()
        return facts.leavings(json.loads(row) for row in rows).get(place["id"])

    def evaluate(self, kind: str, data: Data) -> Data:
        """Return {findings, notices, next_deadline} of a subject's row now."""
        return evaluate(self.rules, kind, self.facts_of(kind, data), self.work.now, self.site)


def watch_rows(
    work: Work, watcher: Watcher, rows: dict[AtSubject, Data]
) -> tuple[dict[AtSubject, str | None], list[Row]]:
    """Return ({subject: next deadline}, alert rows to write) of these subjects' rows."""
    deadlines: dict[AtSubject, str | None] = {}
    findings: dict[AtSubject, list[Data]] = {}
    for (kind, subject), data in rows.items():
        found = (
            {"findings": [], "next_deadline": None}
            if kind not in WATCHED or data.get("gone")
            else watcher.evaluate(kind, data)
        )
        deadlines[(kind, subject)] = found["next_deadline"]
        if kind in WATCHED:
            findings[(kind, subject)] = found["findings"]
    return deadlines, alerts.settle(work, findings)


def stored_rows(work: Work, subjects: set[AtSubject]) -> dict[AtSubject, Data]:
    """Return the stored rows of some subjects, parsed."""
    rows: dict[AtSubject, Data] = {}
    for kind in sorted({kind for kind, _ in subjects}):
        wanted = {subject for found, subject in subjects if found == kind}
        for row in work.rows_in(Subject, Subject.id, wanted, Subject.kind == kind):
            rows[(kind, row["id"])] = json.loads(row["data"])
    return rows
