"""What is said of places, solutions, phones and the nursery: a row after one more event. Pure."""

from bisect import bisect_left
from collections.abc import Iterable
from itertools import groupby
from typing import Any

from lathhouse.domain import chambers, chill, series
from lathhouse.domain.answers import with_answer
from lathhouse.domain.attribution import said_by
from lathhouse.domain.instants import HOUR_MS, later, to_ms, to_text
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.solutions import SOLUTION_KINDS, with_solution
from lathhouse.domain.treatments import with_treatment
from lathhouse.domain.weather_rows import with_weather

Event = dict[str, Any]
Row = dict[str, Any]

ANSWERS = ("acknowledged", "shelved", "given_back", "deferred", "decided")
ANSWERABLE = ("place", "phone", "nursery", "solution")
PLACE_KINDS = ("round_closed", "read", "covered", "uncovered")
# A row is kept as it was six hours ago, twelve, a day, … four months ago. Ours.
MARK_MS, MARKS = 6 * HOUR_MS, 10
ROW_KINDS = {
    "place_changed": "place",
    "person_changed": "person",
    "protocol_changed": "protocol",
    "watch_changed": "watch",
    "nursery_changed": "nursery",
    "phone_changed": "phone",
}


def aims(event: Event, home: str) -> list[tuple[str, Any]]:
    """Return (kind, id) of each row that an event says something of.

    Of an effective event these are the rows that take it: a correction may have moved it from one
    bucket or place to another.

    Args:
        home: the nursery's own id.
    """
    kind, data = event["kind"], event.get("data") or {}
    if kind in ROW_KINDS:
        return [(ROW_KINDS[kind], data.get("id"))]
    if kind in SOLUTION_KINDS:
        return [("solution", data.get("solution"))]
    if kind == "treated":
        return [("place", place) for place in data.get("places") or []]
    if kind in PLACE_KINDS and data.get("place"):
        return [("place", data["place"])]
    if kind in ("round_closed", "read"):
        return [] if event["lot"] else [("nursery", home)]
    if kind in ANSWERS and not event["lot"]:
        return [(name, data.get(name)) for name in ANSWERABLE]
    return []


def about(kind: str, subject: str, ordered: Iterable[Event], home: str) -> list[Event]:
    """Return those of a row's effective events that are still about it."""
    return [event for event in ordered if (kind, subject) in aims(event, home)]


def go_on(row: Row, ordered: Iterable[Event]) -> Row:
    """Return a row after more events, in fold order, that do not replace it."""
    row = _own(row)
    for event in ordered:
        row = _said(row, event)
        row["folded_at"] = later(row.get("folded_at"), event["at"])
    return row


def marks(newest: str) -> list[str]:
    """Return the instants, oldest first, at which a row with a long log is kept as it was.

    Each lies twice as far back as the one after it: a record that comes late costs about twice the
    time since, and never more than what lies between.
    """
    return [to_text(to_ms(newest) - MARK_MS * 2**power) for power in reversed(range(MARKS))]


def go_on_marking(
    row: Row, ordered: Iterable[Event], at: list[str]
) -> tuple[Row, list[tuple[str, Row]]]:
    """Do as `go_on`; return also (until when, the row) as it was at each of these instants.

    Such a row holds every event up to its instant and none that is later. The events may come one
    by one from a log of any length.
    """
    kept: dict[str, Row] = {}
    for number, part in groupby(ordered, key=lambda event: bisect_left(at, event["at"])):
        row = go_on(row, part)
        if number < len(at):
            kept[row["folded_at"]] = row
    return row, sorted(kept.items(), key=lambda one: one[0])


def said(row: Row, event: Event) -> Row:
    """Return a row after one event that says something of it."""
    return _said(_own(row), event)


def _own(row: Row) -> Row:
    """Return a row whose long lists are its own: folding a year of readings copies them once."""
    row = {**row}
    if row.get("temps"):
        temps = row["temps"]
        row["temps"] = {"days": [[*day] for day in temps["days"]], "recent": [*temps["recent"]]}
    if row.get("hours"):
        row["hours"] = [*row["hours"]]
    return row


def _said(row: Row, event: Event) -> Row:
    kind, data = event["kind"], event.get("data") or {}
    if kind == "round_closed":
        closed_at = later(row.get("closed_at"), event["at"])
        skipped = data.get("skipped") or []
        return {**row, "closed_at": closed_at, "closed_skipped": skipped, "closed_by": _by(event)}
    if kind in ("covered", "uncovered"):
        row = _entered(row, event)
        if kind == "covered":
            return {**row, "covered": cover_said(event, row.get("covered"))}
        return {**row, "covered": None, "bared_at": event["at"]}
    if kind == "read":
        row = _entered(row, event) if _by_hand(event) else row
        return _read(row, event["at"], _by(event), data)
    if kind == "treated":
        return with_treatment(row, event)
    if kind in SOLUTION_KINDS:
        return with_solution(row, event)
    if kind in ANSWERS and isinstance(data.get("watch"), str):
        return _answered(row, event, data)
    return row


def cover_said(event: Event, before: Row | None) -> Row | None:
    """Return a cover as a record says it: since when, by whom, until when, for how cold a night.

    One that only stays on (`stays`) is the one that was there before, with another end; what has
    none over it gets none by that. Another over the first is a cover of its own, and `since` says
    from when on something has been over it.
    """
    data = event.get("data") or {}
    if data.get("stays") is True:
        return {**before, "until": data.get("until")} if before else None
    said = {name: data.get(name) for name in ("until", "for_low_c")}
    since = {"since": before.get("since") or before["at"]} if before else {}
    return {"at": event["at"], **since, **said_by(event), **said}


def _entered(row: Row, event: Event) -> Row:
    """Note that somebody was at the place itself."""
    return {**row, "entered_at": later(row.get("entered_at"), event["at"])}


def _by_hand(event: Event) -> bool:
    return _by(event) is not None and (event.get("data") or {}).get("by_sensor") is None


def _by(event: Event) -> str | None:
    return event.get("by")


def _answered(row: Row, event: Event, data: dict[str, Any]) -> Row:
    how = "deferred" if event["kind"] == "decided" else event["kind"]
    answer = {"at": event["at"], **said_by(event)}
    answer |= {"until": data.get("until"), "why": data.get("why")}
    answers = row.get("answers") or {}
    watch = with_answer(answers.get(data["watch"], {}), how, answer)
    return {**row, "answers": {**answers, data["watch"]: watch}}


def _read(row: Row, at: str, by: str | None, data: dict[str, Any]) -> Row:
    """Keep the last value of each quantity, and run the chamber's clocks on its temperature."""
    kind: Any = data.get("quantity_kind")
    value: Any = data.get("value")
    if not isinstance(kind, str) or not is_number(value):
        return row  # a correction has left no reading of it
    reading = {"value": value, "at": at, "for_night_of": data.get("for_night_of")}
    row = {**row, "last_read": {**(row.get("last_read") or {}), kind: reading}}
    row = with_weather(row, at, by, data)
    if row.get("kind") != "chamber" or kind != "temp_c":
        return row
    settings = chambers.settings_kept(row.get("chamber"))
    state = row.get("chamber_state") or chambers.new_state()
    return {
        **row,
        "chamber_state": chambers.read(state, at, value, settings),
        "temps": chill.add(row.get("temps") or chill.new_temps(), at, value, settings["by_hand"]),
        "hours": series.add(row.get("hours") or [], at, value),
    }
