"""Rows that people change whole: places, people, protocols, watches, the nursery itself."""

import json
from functools import lru_cache
from typing import Any

from lathhouse.domain import chambers, chill
from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import DAY_MS, later, offsets_of, to_ms
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import load_rules
from lathhouse.store.log import ANSWERS, PLACE_KINDS, ROW_KINDS, Log
from lathhouse.store.models import Subject
from lathhouse.store.work import Row, Work, dumps

Data = dict[str, Any]
PAST_DAYS, AHEAD_DAYS = 366, 731
ANSWERABLE = ("place", "phone", "nursery")
NEW_NURSERY: Data = {
    "name": "",
    "timezone": "UTC",
    "hemisphere": "south",
    "latitude_deg": None,
    "working_days": [1, 2, 3, 4, 5, 6],
    "units": "metric",
    "currency": "",
}


@lru_cache(maxsize=64)
def offset_table(zone: str, day: int) -> str:
    """Return the JSON of a zone's offsets from a year before this day to two years after it."""
    return dumps(offsets_of(zone, (day - PAST_DAYS) * DAY_MS, (day + AHEAD_DAYS) * DAY_MS))


def with_offsets(nursery: Data, now: str) -> Data:
    """Return the nursery's row with its table of clock changes, renewed month by month."""
    day = to_ms(now) // DAY_MS // 30 * 30
    return {**nursery, "offsets": json.loads(offset_table(nursery["timezone"], day))}


def row_of(work: Work, kind: str, subject: str) -> Row | None:
    """Return a subject's stored row."""
    found = work.rows(Subject, Subject.kind == kind, Subject.id == subject)
    return found[0] if found else None


def data_of(work: Work, kind: str, subject: str) -> Data | None:
    """Return the JSON of a subject's stored row."""
    row = row_of(work, kind, subject)
    return json.loads(row["data"]) if row else None


def rows_of_kind(work: Work, kind: str) -> dict[str, Data]:
    """Return every row of a kind, by id."""
    return {row["id"]: json.loads(row["data"]) for row in work.rows(Subject, Subject.kind == kind)}


def fold_row(kind: str, before: Data | None, events: list[Data]) -> Data | None:
    """Return a subject's row as its events leave it, or None where it has none.

    The row's own changes come first, so that a reading older than its place still counts. `before`
    gives what is not from the log: the shipped rule or crop, a phone's own counters.
    """
    ordered = effective(events)
    row = dict(before) if before else None
    if row is not None and kind in ANSWERABLE:
        row |= {"answers": {}, "closed_at": None}
    for event in ordered:
        if ROW_KINDS.get(event["kind"]) == kind:
            row = {**(before or {}), **(event.get("data") or {}), "shipped": False}
    return go_on(kind, row, ordered) if row is not None else None


def go_on(kind: str, row: Data, ordered: list[Data]) -> Data:
    """Return a row after more events, in fold order, that do not replace it."""
    for event in ordered:
        _apply(kind, row, event, event.get("data") or {})
        row["folded_at"] = later(row.get("folded_at"), event["at"])
    return row


def newer_only(row: Data | None, added: list[Data]) -> bool:
    """Say whether a stored row can simply go on with these events, without its whole log."""
    if row is None or not row.get("folded_at"):
        return False
    simple = (*PLACE_KINDS, *ANSWERS)
    return all(e["kind"] in simple and e["at"] > row["folded_at"] for e in added)


def _apply(kind: str, row: Data, event: Data, data: Data) -> None:
    if event["kind"] == "round_closed":
        row["closed_at"] = later(row.get("closed_at"), event["at"])
        row["closed_skipped"], row["closed_by"] = data.get("skipped") or [], event.get("by")
    elif event["kind"] in ANSWERS and isinstance(data.get("watch"), str):
        how = "deferred" if event["kind"] == "decided" else event["kind"]
        answer = {"at": event["at"], "by": event.get("by")}
        answer |= {"until": data.get("until"), "why": data.get("why")}
        answers = row.setdefault("answers", {})
        answers[data["watch"]] = {**answers.get(data["watch"], {}), how: answer}
    elif event["kind"] in ("covered", "uncovered"):
        covered = event["kind"] == "covered"
        row["covered"] = {"at": event["at"], "until": data.get("until")} if covered else None
    elif event["kind"] == "read":
        _read(row, event, data)


def _read(row: Data, event: Data, data: Data) -> None:
    """Keep the last value of each quantity, and run the chamber's clocks on its temperature."""
    row["last_read"] = {
        **(row.get("last_read") or {}),
        data["quantity_kind"]: {
            "value": data["value"],
            "at": event["at"],
            "for_night_of": data.get("for_night_of"),
        },
    }
    if row.get("kind") == "chamber" and data["quantity_kind"] == "temp_c":
        state = row.get("chamber_state") or chambers.new_state()
        settings = chambers.settings_of(row.get("chamber"))
        row["chamber_state"] = chambers.read(state, event["at"], data["value"], settings)
        row["temps"] = chill.keep(row.get("temps"), event["at"], data["value"], settings["by_hand"])


def derive_rows(log: Log, now: str) -> dict[tuple[str, str], Data]:
    """Return {(kind, id): row} of the places, people, … that the added events change."""
    found: dict[tuple[str, str], Data] = {}
    for kind in (*ROW_KINDS.values(), "solution"):
        for subject in sorted(log.subjects(kind)):
            added = log.added_about(kind, subject)
            stored = data_of(log.work, kind, subject) if kind in ("place", "nursery") else None
            if stored is not None and newer_only(stored, added):
                found[(kind, subject)] = go_on(kind, stored, effective(added))
                continue
            events = log.events_about(kind, subject)
            if kind == "solution":
                found[(kind, subject)] = fold_solution(subject, events)
                continue
            row = fold_row(kind, shipped_row(log.work, kind, subject), events)
            if row is not None:
                row = {**row, "id": subject}
                found[(kind, subject)] = with_offsets(row, now) if kind == "nursery" else row
    return found


def shipped_row(work: Work, kind: str, subject: str) -> Data | None:
    """Return what there is of a row before any event: a shipped rule or crop, the new nursery."""
    if kind == "watch":
        return next((dict(rule) for rule in load_rules() if rule["id"] == subject), None)
    if kind == "protocol":
        return load_crops().get(subject)
    if kind == "nursery":
        return {"id": work.site_id, **NEW_NURSERY}
    return None


def fold_solution(solution: str, events: list[Data]) -> Data:
    """Return a mixed solution: what it is, since when, and whether it is thrown away."""
    row: Data = {"id": solution, "mixed_at": None, "discarded_at": None, "used_for": []}
    for event in effective(events):
        if event["kind"] == "solution_mixed":
            row |= {**(event.get("data") or {}), "mixed_at": event["at"], "by": event.get("by")}
        elif event["kind"] == "solution_discarded":
            row["discarded_at"] = event["at"]
        elif event["kind"] == "sanitise_started":
            row["used_for"] = sorted({*row["used_for"], event["lot"]})
        else:
            _apply("solution", row, event, event.get("data") or {})
    return row
