"""Pull: every row changed since a cursor, in pages that never lose or split one."""

import base64
import json
from typing import Any

from sqlalchemy import and_, or_, select

from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.domain.phone_numbers import next_seq
from lathhouse.domain.protocols import progress
from lathhouse.errors import BadCursor
from lathhouse.store import phones
from lathhouse.store.models import Alert, Site, Subject
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
At = tuple[int, str, str]
PAGE_MAX = 1000
REVISION_MAX = 2**63 - 1
# A lot closed longer ago than this is left to the server; the phone asks for it when wanted.
CLOSED_KEPT_DAYS = 90
NAMES = {
    "lot": "lots",
    "place": "places",
    "person": "people",
    "protocol": "protocols",
    "watch": "watches",
    "alert": "alerts",
    "phone": "phones",
    "nursery": "nursery",
    "solution": "solutions",
}


def pull(
    site_id: str,
    after: str,
    limit: int,
    now_ms: int,
    device: str | None = None,
    *,
    all_people: bool = False,
) -> Data:
    """Return {rows, gone, cursor, revision, more, epoch, server_time} since a cursor.

    The cursor is opaque; `0` begins. It can stand inside a revision. Of the device that asks it
    says `next_seq` too: one with nothing to send has no other way to learn what was forgotten.

    Args:
        all_people: send the row of everybody with it, changed or not.

    Raises:
        BadCursor: it is not one that this server hands out.
    """
    start = read_cursor(after)
    most = max(1, min(limit, PAGE_MAX))
    now = to_text(now_ms)

    def act(work: Work) -> Data:
        site = work.connection.execute(
            select(Site.epoch, Site.revision).where(Site.id == site_id)
        ).one()
        found = changed_since(work, start, most + 1)
        page, more = found[:most], len(found) > most
        rows: dict[str, list[Data]] = {name: [] for name in NAMES.values()}
        gone: list[Data] = []
        for (_, kind, subject), data in page:
            if _is_gone(kind, data, now):
                gone.append({"kind": kind, "id": subject})
            else:
                rows[NAMES[kind]].append(data)
        _add_days(rows, now)
        if all_people:
            everybody = (_row(row) for row in work.rows(Subject, Subject.kind == "person"))
            rows["people"] = [row for row in everybody if not _is_gone("person", row, now)]
        last = page[-1][0] if page else start
        known = {"next_seq": next_seq(phones.phone_of(work, device))} if device else {}
        return {
            **known,
            "rows": rows,
            "gone": gone if start != read_cursor("0") else [],
            "cursor": write_cursor(last),
            "revision": site.revision,
            "more": more,
            "epoch": site.epoch,
            "server_time": now,
        }

    return looking(site_id, now, act)


def changed_since(work: Work, start: At, most: int) -> list[tuple[At, Data]]:
    """Return up to `most` rows after a place in the order (revision, kind, id)."""
    revision, kind, subject = start
    after_subject = or_(
        Subject.revision > revision,
        and_(Subject.revision == revision, Subject.kind > kind),
        and_(Subject.revision == revision, Subject.kind == kind, Subject.id > subject),
    )
    subjects = (
        select(Subject.__table__)
        .where(Subject.site_id == work.site_id, Subject.revision >= revision, after_subject)
        .order_by(Subject.revision, Subject.kind, Subject.id)
        .limit(most)
    )
    same = Alert.revision == revision
    after_alert = [Alert.revision > revision]
    if kind < "alert":
        after_alert.append(same)
    elif kind == "alert":
        after_alert.append(and_(same, Alert.id > subject))
    found_alerts = (
        select(Alert.revision, Alert.id, Alert.data)
        .where(Alert.site_id == work.site_id, Alert.revision >= revision, or_(*after_alert))
        .order_by(Alert.revision, Alert.id)
        .limit(most)
    )
    # A first pull needs no alert that is over.
    if start == (0, "", ""):
        found_alerts = found_alerts.where(Alert.standing)
    rows = [
        ((row["revision"], row["kind"], row["id"]), _row(dict(row)))
        for row in work.connection.execute(subjects).mappings()
    ]
    rows += [
        ((row.revision, "alert", row.id), {**json.loads(row.data), "revision": row.revision})
        for row in work.connection.execute(found_alerts)
    ]
    return sorted(rows, key=lambda row: row[0])[:most]


def _row(row: Data) -> Data:
    data: Data = json.loads(row["data"])
    data["revision"] = row["revision"]
    if row["kind"] == "lot" and row["checkpoint"]:
        data["checkpoint"] = json.loads(row["checkpoint"])
        data["checkpoint_at"] = row["checkpoint_at"]
        data["tail"] = json.loads(row["tail"])
        data["next_deadline"] = row["next_deadline"]
    return data


def _is_gone(kind: str, data: Data, now: str) -> bool:
    if data.get("gone"):
        return True
    if kind != "lot" or data["closed_at"] is None:
        return False
    return to_ms(now) - to_ms(data["closed_at"]) > CLOSED_KEPT_DAYS * DAY_MS


def _add_days(rows: dict[str, list[Data]], now: str) -> None:
    for lot in rows["lots"]:
        lot["day"] = progress(lot, None, now)["day"]


def write_cursor(at: At) -> str:
    """Return an opaque, URL-safe cursor for a place in the order of changes."""
    text = json.dumps(at, separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_cursor(cursor: str) -> At:
    """Return the place in the order of changes that a cursor stands for.

    Raises:
        BadCursor: it is not one of ours.
    """
    if cursor in ("", "0"):
        return (0, "", "")
    try:
        text = base64.urlsafe_b64decode((cursor + "=" * (-len(cursor) % 4)).encode())
        revision, kind, subject = json.loads(text)
        if not (isinstance(kind, str) and isinstance(subject, str)) or "\0" in kind + subject:
            raise ValueError(text)
        (kind + subject).encode()
        if type(revision) is not int or not 0 <= revision <= REVISION_MAX:
            raise ValueError(text)
    except (ValueError, TypeError, UnicodeError) as error:
        raise BadCursor("Begin with `0`, or send back the cursor as it came.") from error
    return (revision, kind, subject)
