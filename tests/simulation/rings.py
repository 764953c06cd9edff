"""What rings for whom: the alerts of the server, grouped, against the hours in which people work."""

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select

from lathhouse.store.models import Alert, db
from tests.server import Nursery
from tests.simulation.calendar import ENDS, STARTS, Calendar
from tests.simulation.episodes import Key, Span

import json  # isort: skip

Data = dict[str, Any]
Group = tuple[str, str]
# A lot's looks that are due are told by the round of their place, while that itself is missing.
LOOKS = ("look-due", "moisture-unread", "cold-look")


@dataclass
class Ring:
    """One thing that people are told of: a watch in a place, from when until when."""

    watch: str
    where: str
    priority: int
    at: int
    until: int | None = None
    keys: set[Key] = field(default_factory=set)


class Mirror:
    """The server's alerts as they change, and the rings that come of them."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.revision = nursery, 0
        self.rows: dict[str, Data] = {}
        self.stood: dict[Key, list[Span]] = {}
        self._since: dict[Key, int] = {}
        self.answered: dict[Key, list[int]] = {}
        self.rings: list[Ring] = []
        self.sounding: dict[Group, Ring] = {}

    def look(self) -> None:
        """Take up what has changed on the server since the last look."""
        with self.nursery.app.app_context(), db.engine.connect() as connection:
            query = select(Alert.revision, Alert.data).where(Alert.revision > self.revision)
            changed = connection.execute(query).all()
        for revision, text in changed:
            self.revision = max(self.revision, revision)
            self._changed(json.loads(text))
        if changed:
            self._group()

    def _changed(self, row: Data) -> None:
        now = self.nursery.clock.ms
        key = key_of(row)
        self.rows[row["id"]] = row
        if row["state"] == "cleared":
            since = self._since.pop(key, None)
            if since is not None:
                self.stood.setdefault(key, []).append((since, now))
            return
        self._since.setdefault(key, now)
        if row["state"] != "open":
            self.answered.setdefault(key, []).append(now)

    def standing(self) -> list[Data]:
        """Return what stands and no higher finding hides, the most pressing first."""
        found = [row for row in self.rows.values() if visible(row)]
        return sorted(found, key=lambda row: (row["priority"], row["since"], row["watch"]))

    def _group(self) -> None:
        """Begin a ring for each watch and place that has something new, end those that have none.

        One place rings once for a watch, however many of its lots join while it stands.
        """
        groups: dict[Group, list[Data]] = {}
        shown = self.standing()
        unwalked = {row["place"] for row in shown if row["watch"] == "round-missing"}
        for row in shown:
            if row["watch"] in LOOKS and row["place"] in unwalked:
                continue
            groups.setdefault((row["watch"], row["place"] or row["subject"]["id"]), []).append(row)
        for group, rows in groups.items():
            self._ring(group, rows)
        for group in [group for group in self.sounding if group not in groups]:
            self.sounding.pop(group).until = self.nursery.clock.ms

    def _ring(self, group: Group, rows: list[Data]) -> None:
        ring = self.sounding.get(group)
        priority = min(row["priority"] for row in rows)
        if ring is None:
            ring = Ring(*group, priority, self.nursery.clock.ms)
            self.sounding[group] = ring
            self.rings.append(ring)
        ring.keys |= {key_of(row) for row in rows}

    def finish(self) -> None:
        """Close what still stands."""
        for key, since in self._since.items():
            self.stood.setdefault(key, []).append((since, self.nursery.clock.ms))


def key_of(row: Data) -> Key:
    """Return the watch and subject of an alert."""
    return Key(row["watch"], row["subject"]["kind"], row["subject"]["id"])


def visible(row: Data) -> bool:
    """Say whether an alert is on people's lists as something to do."""
    return row["state"] in ("open", "acknowledged") and row["hidden_by"] is None


def told(rings: list[Ring], at_work: list[int], calendar: Calendar) -> dict[int, list[Ring]]:
    """Return {day: rings that are new to a person} for each of that person's days at work.

    Outside their hours nothing is new; what has come and gone meanwhile never is.
    """
    hours = [(day, calendar.at(day, STARTS), calendar.at(day, ENDS)) for day in at_work]
    found: dict[int, list[Ring]] = {day: [] for day in at_work}
    for ring in rings:
        day = next((day for day, _, end in hours if ring.at < end), None)
        if day is not None and (ring.until is None or ring.until > calendar.at(day, STARTS)):
            found[day].append(ring)
    return found
