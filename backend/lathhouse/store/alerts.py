"""Alerts: one row for each finding, from raised to cleared, with who did what and when."""

import json
from collections.abc import Iterable
from typing import Any

from sqlalchemy import select

from lathhouse.domain.ids import alert_id
from lathhouse.domain.occurrences import is_another
from lathhouse.errors import BadCursor
from lathhouse.store import deliveries
from lathhouse.store.models import Alert
from lathhouse.store.work import Row, Work, dumps, looking

Data = dict[str, Any]
AtSubject = tuple[str, str]
HISTORY_MAX = 60
# What people answer, in a row: gone with the answer. These stand in every row.
ANSWERED = ("acknowledged_", "shelved_", "given_back_")
ALWAYS = ("acknowledged_at", "acknowledged_by", "shelved_until", "shelved_why")
PAGE_MAX = 1000
STATES = ("open", "acknowledged", "shelved", "standing", "cleared", "all")


def settle(work: Work, findings: dict[AtSubject, list[Data]]) -> list[Row]:
    """Return the alert rows that must be written so that alerts say what these findings say.

    A standing alert of the same watch and subject goes on as the same row, whatever its level or
    start is now, while it is the same occurrence; another one ends it and has a row of its own, so
    that it is told. What is found no more is cleared; nothing is raised twice.

    Args:
        findings: for each subject that was evaluated, all of its findings.
    """
    stored = _standing(work, findings.keys())
    over = [_end_former(at, found, stored.get(at, {})) for at, found in findings.items()]
    raised = [
        _name(at, finding)
        for at, found in findings.items()
        for finding in found
        if finding["watch"] not in stored.get(at, {})
    ]
    earlier = {row["id"]: row for row in work.rows_in(Alert, Alert.id, raised)}
    changed = [_cleared(work, row) for rows in over for row in rows]
    for at, found in findings.items():
        standing = stored.get(at, {})
        for finding in found:
            written = _raised(work, at, finding, standing.pop(finding["watch"], None), earlier)
            changed += [written] if written else []
        changed += [_cleared(work, row) for row in standing.values()]
    return changed


def _end_former(at: AtSubject, found: list[Data], standing: dict[str, Row]) -> list[Row]:
    """Take out of what stands what is over, since another occurrence of it is found; return it."""
    over = []
    for finding in found:
        row = standing.get(finding["watch"])
        if row is None or row["id"] == _name(at, finding):
            continue
        if is_another(json.loads(row["data"]), finding):
            over.append(standing.pop(finding["watch"]))
    return over


def _name(at: AtSubject, finding: Data) -> str:
    return alert_id(at[1], finding["watch"], finding["since"])


def _standing(work: Work, subjects: Iterable[AtSubject]) -> dict[AtSubject, dict[str, Row]]:
    """Return {watch: row} of the alerts that stand, for each of these subjects that has any."""
    stored: dict[AtSubject, dict[str, Row]] = {}
    wanted: dict[str, list[str]] = {}
    for kind, subject in subjects:
        wanted.setdefault(kind, []).append(subject)
    for kind, ids in wanted.items():
        these = (Alert.subject_kind == kind, Alert.standing)
        for row in work.rows_in(Alert, Alert.subject_id, ids, *these):
            stored.setdefault((kind, row["subject_id"]), {})[row["watch"]] = row
    return stored


def _raised(
    work: Work, at: AtSubject, finding: Data, row: Row | None, earlier: dict[str, Row]
) -> Row | None:
    if row is None:
        name = _name(at, finding)
        data = json.loads(earlier[name]["data"]) if name in earlier else {"id": name, "history": []}
        data |= {"raised_at": work.now, "cleared_at": None}
        data["history"] = _noted(data, "raised", work.now, work.acting(at), finding)
    else:
        data = json.loads(row["data"])
        if data["level"] != finding["level"] or finding["priority"] < data["priority"]:
            who = work.acting(at)
            data["history"] = _noted(data, finding["level"], work.now, who, finding)
    # Answered on a phone before this server ever heard of it, perhaps.
    for how in ("acknowledged", "shelved", "given_back"):
        done = finding.get(f"{how}_at")
        if done and (how, done) not in _answers(data):
            who = {name: finding.get(f"{how}_{name}") for name in ("by", "by_said")}
            data["history"] = _noted(data, how, done, who, None)
    kept = {name: value for name, value in data.items() if not name.startswith(ANSWERED)}
    after = {**kept, **dict.fromkeys(ALWAYS), **finding}
    if row is not None and after == json.loads(row["data"]):
        return None
    return _row(at, after, standing=True)


def _answers(data: Data) -> set[tuple[str, str]]:
    """Return (what, at) of each step of an alert's history."""
    return {(step["what"], step["at"]) for step in data["history"]}


def _cleared(work: Work, row: Row) -> Row:
    data = json.loads(row["data"])
    at = (row["subject_kind"], row["subject_id"])
    data |= {"state": "cleared", "cleared_at": work.now}
    data["history"] = _noted(data, "cleared", work.now, work.acting(at), None)
    # A record cleared it, or else the hour or a changed limit did.
    data["history"][-1]["how"] = "record" if work.records else "time"
    return _row(at, data, standing=False)


def _noted(data: Data, what: str, at: str, who: Data, finding: Data | None) -> list[Data]:
    step = {"what": what, "at": at, "by": who["by"], "level": finding["level"] if finding else None}
    step |= {"by_said": True} if who.get("by_said") else {}
    # How urgent it was then: a state may become more urgent at the same level.
    step |= {"priority": finding["priority"]} if finding else {}
    return [*data["history"], step][-HISTORY_MAX:]


def _row(at: AtSubject, data: Data, *, standing: bool) -> Row:
    return {
        "id": data["id"],
        "watch": data["watch"],
        "subject_kind": at[0],
        "subject_id": at[1],
        "standing": standing,
        "state": data["state"],
        "data": dumps(data),
    }


def write(work: Work, rows: Iterable[Row], revision: int) -> None:
    """Write alert rows with the revision of this work, and queue what is to be told of them."""
    rows = list(rows)
    deliveries.plan(work, rows)
    work.upsert(Alert, [{**row, "revision": revision} for row in rows], ("id",))


def list_alerts(
    site_id: str, state: str, limit: int, after: str | None, now: str
) -> dict[str, Any]:
    """Return {alerts, more}: a page by id. `standing` is all whose condition holds.

    Raises:
        BadCursor: `after` is not an alert's id, or no such state.
    """
    if state not in STATES:
        raise BadCursor(f"There is no state {state!r}; the states are {', '.join(STATES)}.")

    def read(work: Work) -> dict[str, Any]:
        most = max(1, min(limit, PAGE_MAX))
        query = select(Alert.data).where(Alert.site_id == site_id)
        if state == "standing":
            query = query.where(Alert.standing)
        elif state != "all":
            query = query.where(Alert.state == state)
        if after:
            query = query.where(Alert.id > after)
        rows = work.connection.execute(query.order_by(Alert.id).limit(most + 1)).scalars().all()
        return {"alerts": [json.loads(row) for row in rows[:most]], "more": len(rows) > most}

    return looking(site_id, now, read)


def find(site_id: str, alert: str, now: str) -> Data | None:
    """Return one alert's row, or None."""

    def read(work: Work) -> Data | None:
        rows = work.rows(Alert, Alert.id == alert)
        return json.loads(rows[0]["data"]) if rows else None

    return looking(site_id, now, read)
