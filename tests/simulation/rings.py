"""What people are told of: the server's alerts, grouped as lists are, against working hours."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select

from lathhouse.domain import reaching
from lathhouse.domain.grouping import group
from lathhouse.store.models import Alert, db
from tests.server import Nursery
from tests.simulation.calendar import ENDS, STARTS, Calendar
from tests.simulation.episodes import Key, Span

Data = dict[str, Any]


@dataclass
class Ring:
    """One thing that people are told of: a watch in a place, from when until when."""

    watch: str
    where: str
    priority: int
    at: int
    until: int | None = None
    keys: set[Key] = field(default_factory=set)


class Board:
    """Groups of alerts as they come and go: one for a watch in a place, whatever joins it."""

    def __init__(self, takes: Callable[[Data], bool]) -> None:
        self.takes = takes
        self.rings: list[Ring] = []
        self.standing: dict[str, Ring] = {}

    def show(self, rows: list[Data], now: int) -> None:
        """Take what stands now: begin what is new, end what is gone."""
        groups = {one["key"]: one for one in group([row for row in rows if self.takes(row)])}
        for key, one in groups.items():
            if key not in self.standing:
                where = one["place"] or one["findings"][0]["subject"]["id"]
                self.standing[key] = Ring(one["watch"], where, one["priority"], now)
                self.rings.append(self.standing[key])
            self.standing[key].keys |= {key_of(row) for row in one["findings"]}
        for key in [key for key in self.standing if key not in groups]:
            self.standing.pop(key).until = now


class Mirror:
    """The server's alerts as they change, and the rings that come of them."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.revision = nursery, 0
        self.rows: dict[str, Data] = {}
        self.stood: dict[Key, list[Span]] = {}
        self._since: dict[Key, int] = {}
        self.answered: dict[Key, list[int]] = {}
        self.listed, self.ringing = Board(is_listed), Board(is_ringing)

    def look(self) -> None:
        """Take up what has changed on the server since the last look."""
        with self.nursery.app.app_context(), db.engine.connect() as connection:
            query = select(Alert.revision, Alert.data).where(Alert.revision > self.revision)
            changed = connection.execute(query).all()
        for revision, text in changed:
            self.revision = max(self.revision, revision)
            self._changed(json.loads(text))
        if changed:
            shown = self.standing()
            for board in (self.listed, self.ringing):
                board.show(shown, self.nursery.clock.ms)

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


def is_listed(row: Data) -> bool:
    """Say whether an alert is something that people are shown as new, and no seasonal list."""
    return row.get("rings") is not False


def is_ringing(row: Data) -> bool:
    """Say whether an alert, at its level, rings; the rest are entries of a list."""
    return reaching.rings(row)


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
