"""The past of a place, or of the nursery: what was said of it, and the lots that stood in it. Pure.

Frost, covers and heat rest on what stood where and under what, which is lived through with them.
"""

import json
from collections.abc import Callable, Iterable
from typing import Any

from lathhouse.domain.corrections import effective
from lathhouse.domain.facts import standing
from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.rows import go_on
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.watch_replay import Trial
from lathhouse.domain.weather_facts import HOUSE, NO_STOCK
from lathhouse.domain.weather_rows import FORECASTS

Data = dict[str, Any]
# (instant, what it is, of which place if any, the event, move or time itself)
Step = tuple[int, str, str | None, Any]

# Long lists of a place's readings, which no watch looks at; copying them at each reading is slow.
NOT_WATCHED = ("temps", "hours")
WEATHER = ('"night.', '"day.', '"cold.', '"cover', '"heat')
# What is covered somewhere, a place is asked about by the night to come.
COVERS = '"cover'
# What others' covers and rounds change of a night or a hot day; readings elsewhere change nothing.
FELT = ("covered", "uncovered", "round_closed")


def rests_on_weather(rule: Data) -> bool:
    """Say whether a rule looks at frost, covers or heat, at a place or at the nursery."""
    if not {"place", "nursery"} & set(rule["subjects"]):
        return False
    named = json.dumps([rule.get(part) for part in ("each", "when", "clock", "until", "cases")])
    return any(name in named for name in WEATHER)


def steps_of(row: str, places: dict[str, list[Data]], stood: list[Data]) -> list[Step]:
    """Return what happened, in order: `places` are the events of each place, `row`'s its own."""
    steps: list[Step] = [
        (to_ms(event["at"]), "row" if name == row else "place", name, event)
        for name, events in places.items()
        for event in effective(events)
    ]
    steps += [(move["at"], "move", None, move) for move in stood]
    return sorted(steps, key=lambda step: step[0])


def with_forecasts(
    steps: list[Step], told: Iterable[Data], limits: Iterable[tuple[str, Data]]
) -> list[Step]:
    """Return the steps of a place with what was said of the nursery's nights, at their times.

    Args:
        limits: from when on the nursery's own watch of frost said what (`frost_said`).
    """
    known: list[Step] = [
        (to_ms(event["at"]), "home", None, event)
        for event in told
        if (event.get("data") or {}).get("quantity_kind") in FORECASTS
    ]
    known += [(to_ms(at), "limit", None, said) for at, said in limits]
    return sorted([*steps, *known], key=lambda step: step[0])


def with_backups(steps: list[Step], backups: Iterable[str]) -> list[Step]:
    """Return the steps with the good backups, which are no records, at their times."""
    made: list[Step] = [(to_ms(at), "backup", None, at) for at in backups]
    return sorted([*steps, *made], key=lambda step: step[0])


class Yard:
    """A place or the nursery at one moment of its past, with all that stands in it."""

    def __init__(self, row: Data, places: dict[str, Data], rules: list[Data], home: Data) -> None:
        """Take rows as they were set up; `places` are all that its lots can stand in, `home` the
        nursery's own row, before anything was forecast."""
        self.row, self.places, self.home = row, places, home
        self.everywhere = row["id"] not in places
        self.weather = any(rests_on_weather(rule) for rule in rules)
        self.covers = any(COVERS in json.dumps(rule) for rule in rules)
        self.seen_matters = any('"day.' in json.dumps(rule) for rule in rules)
        self.limits = [forecast_limits(rule) for rule in rules]
        self.here: dict[str, Data] = {}
        self.left_at: str | None = None

    def feels(self, step: Step) -> bool:
        """Say whether a step can change what is looked at."""
        _, what, _, told = step
        if what in ("row", "backup"):
            return True
        if what in ("home", "limit"):
            return self.covers
        if what == "place":
            return told["kind"] in FELT
        return not self.weather or self._matters(told) != self._matters(self.here.get(told["lot"]))

    def _matters(self, move: Data | None) -> Any:
        if move is None or not self._holds(move):
            return None
        told = [move["entry"], move["place"]]
        return [*told, move["seen_at"], move["closed_at"]] if self.seen_matters else told

    def _holds(self, move: Data) -> bool:
        return self.everywhere or bool(move["place"] == self.row["id"])

    def take(self, step: Step) -> None:
        """Go on with one step."""
        _, what, place, told = step
        if what == "backup":
            self.row = {**self.row, "last_backup_at": told}
        elif what == "home":
            self.home = _bare(go_on(self.home, [told]))
        elif what == "limit":
            self.home = {**self.home, **told}
        elif what == "move":
            self._move(told)
        elif what == "row":
            self.row = _bare(go_on(self.row, [told]))
            self.places |= {} if self.everywhere else {self.row["id"]: self.row}
        elif place in self.places:
            self.places = {**self.places, place: _bare(go_on(self.places[place], [told]))}

    def _move(self, move: Data) -> None:
        was = self.here.pop(move["lot"], None)
        if self._holds(move):
            self.here[move["lot"]] = move
        elif was is not None:
            self.left_at = max(self.left_at or "", to_text(move["at"]))

    def stock(self) -> Data:
        """Return what frost and heat ask of the lots (`weather_facts.py`)."""
        if not self.weather:
            return NO_STOCK
        moves = sorted((one for one in self.here.values() if one["entry"]), key=_lot)
        names = ("place", "seen_at")
        entries = [
            {**one["entry"], "id": one["lot"], **{name: one[name] for name in names}}
            for one in moves
        ]
        houses = [name for name, place in self.places.items() if place.get("kind") == HOUSE]
        lots = {name: [m for m in self.here.values() if m["place"] == name] for name in houses}
        return {
            "entries": entries,
            "places": self.places,
            "houses": {name: standing(those) for name, those in lots.items()},
            "offsets": self.home["offsets"],
            "home": self.home,
        }

    def told(self) -> Data:
        """Return the row as it is now, without forecasts that no rule here would speak of."""
        forecasts = self.row.get("forecasts")
        if not forecasts:
            return self.row
        return {**self.row, "forecasts": [one for one in forecasts if self._speaks(one)]}

    def _speaks(self, forecast: Data) -> bool:
        value: Any = forecast["value"]
        for low_c, high_c in self.limits:
            if forecast["which"] == "low" and (low_c is None or value <= low_c):
                return True
            if forecast["which"] == "high" and (high_c is None or value >= high_c):
                return True
        return False

    def standing(self) -> Data:
        """Return the `standing` of the lots in it."""
        return standing(list(self.here.values()), self.left_at)


def live_yard(
    yard: Yard,
    steps: list[Step],
    facts_of: Callable[[Data, Data, Data], Data],
    trials: list[Trial],
    until_ms: int,
    late: Callable[[], bool] = bool,
    begin: int | None = None,
) -> int | None:
    """Live through the steps; return at which instant time ran out, or None where it did not.

    Args:
        facts_of: makes facts of the row, the `standing` of its lots, and its stock.
        begin: since when the row is as it was given.
    """
    for step in [*steps, (until_ms + 1, "row", None, None)]:
        at = step[0]
        if late():
            return at
        if step[3] is not None and not yard.feels(step):
            yard.take(step)
            continue
        if begin is not None and trials and at > max(begin, trials[0].since_ms):
            facts = facts_of(yard.told(), yard.standing(), yard.stock())
            for trial in trials:
                trial.live(facts, begin, at)
        begin = at
        if step[3] is not None:
            yard.take(step)
    return None


def forecast_limits(rule: Data) -> tuple[float | None, float | None]:
    """Return (the highest low, the lowest high) that a rule speaks of; None where it may be any."""
    found: dict[str, float | None] = {}
    for wanted, relation in (("night.low_c", "at_most"), ("day.high_c", "at_least")):
        limits = [term[2] for term in rule.get("when") or [] if [*term[:2]] == [wanted, relation]]
        found[wanted] = limits[0] if limits and is_number(limits[0]) else None
    changed = rule.get("crops") or rule.get("places")
    return (None, None) if changed else (found["night.low_c"], found["day.high_c"])


def _bare(row: Data) -> Data:
    return {name: value for name, value in row.items() if name not in NOT_WATCHED}


def _lot(move: Data) -> str:
    return str(move["lot"])
