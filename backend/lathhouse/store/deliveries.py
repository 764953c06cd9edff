"""The queue of messages, which is their log too: planned with the alert, taken once, never deleted.

A row is written in the transaction that changes the alert, so that neither is there without the
other. Its key is the alert's state and who is told by what: planning it again adds nothing.
"""

import hashlib
import json
import os
from collections.abc import Iterable
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.dialects import postgresql, sqlite

from lathhouse.domain import reaching
from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import MINUTE_MS, local_date, to_ms, to_text
from lathhouse.domain.working_time import hours_of, is_at_work
from lathhouse.errors import BadCursor
from lathhouse.store import config, subscriptions
from lathhouse.store.engine import is_sqlite
from lathhouse.store.models import Alert, Delivery
from lathhouse.store.work import Row, Work, dumps, looking, writing

Data = dict[str, Any]
ONCE = ("site_id", "alert_id", "step", "channel", "recipient")
WAITING, SENDING, TAKEN, FAILED, NOT_SENT = "waiting", "sending", "taken", "failed", "not_sent"
QUEUED = (WAITING, SENDING)
# A message under way that nobody says more of (the server was killed) is sent again after this.
LEASE_MS = 2 * MINUTE_MS
# Waits between tries; after the last the message is given up. Our own choice.
RETRY_AFTER_MS = tuple(minutes * MINUTE_MS for minutes in (1, 5, 15, 60, 180))
IN_ONE_MESSAGE_MAX = 60
PAGE_MAX = 200
MORNING, TEST = "morning", "test"


def plan(work: Work, alerts: Iterable[Row]) -> None:
    """Queue what is to be told of alert rows that are being written, in their own transaction."""
    changed = [json.loads(row["data"]) for row in alerts if row["standing"]]
    told = [alert for alert in changed if reaching.must_plan(alert, work.now)]
    people = subscriptions.reachable(work) if told else []
    if not people:
        return
    nursery = config.data_of(work, "nursery", work.site_id) or config.NEW_NURSERY
    nursery = {"offsets": [], **nursery}
    now_ms, hours = to_ms(work.now), hours_of(nursery)
    rows: list[Row] = []
    for alert in told:
        for one in reaching.plan(alert, people, nursery, now_ms):
            about = {
                "alert_id": alert["id"],
                "step": reaching.step_of(alert),
                "kind": one["kind"],
                "group_key": reaching.group_of(alert, one["at_ms"], hours),
                "due_at": reaching.collected(one["at_ms"], now_ms),
                "data": snapshot(alert),
            }
            rows += [new_row(work, one["person"]["recipient"], by, about) for by in _by(one, alert)]
    add(work, rows)


def _by(one: Data, alert: Data) -> list[str]:
    """Return by which ways a person hears; what is not urgent is in the morning list already."""
    channels: list[str] = one["person"]["channels"]
    urgent = alert["priority"] <= reaching.URGENT_MAX
    return [by for by in channels if urgent or by != "mail"]


def snapshot(alert: Data) -> str:
    """Return what the log keeps of an alert: what was said, and of what."""
    names = (
        "watch",
        "level",
        "priority",
        "says",
        "next_action",
        "since",
        "subject",
        "lot",
        "place",
    )
    return dumps({name: alert.get(name) for name in names})


def new_row(work: Work, recipient: str, channel: str, about: Row) -> Row:
    """Return a queue row that waits for its time."""
    return {
        "id": uuid7(to_ms(work.now), os.urandom(10)),
        "recipient": recipient,
        "channel": channel,
        "state": WAITING,
        "why": None,
        "made_at": work.now,
        "ended_at": None,
        "message_id": None,
        "attempts": 0,
        **about,
    }


def add(work: Work, rows: list[Row]) -> None:
    """Queue rows; one whose state was told to the same person by the same way is there already."""
    if not rows:
        return
    # In the log those of one moment keep the order in which they were planned.
    names = sorted(row["id"] for row in rows)
    rows = [{**row, "id": name} for row, name in zip(rows, names, strict=True)]
    dialect: Any = sqlite if is_sqlite(work.connection) else postgresql
    statement = dialect.insert(Delivery).on_conflict_do_nothing(index_elements=ONCE)
    work.connection.execute(statement, [{"site_id": work.site_id, **row} for row in rows])


def plan_morning(site_id: str, now: str) -> None:
    """Queue the morning list of everyone who gets mail and is at work now: once a day each."""

    def wanted(work: Work) -> list[Row]:
        nursery = config.data_of(work, "nursery", work.site_id)
        day = local_date(to_ms(now), nursery["offsets"]) if nursery else ""
        about = {"alert_id": f"{MORNING}:{day}", "step": MORNING, "kind": MORNING,
                 "group_key": f"{MORNING}:{day}", "due_at": now, "data": "{}"}  # fmt: skip
        by_mail = [one for one in subscriptions.reachable(work) if "mail" in one["channels"]]
        at_work = [one for one in by_mail if is_at_work(to_ms(now), hours_of(nursery or {}, one))]
        queued = work.rows(Delivery, Delivery.alert_id == about["alert_id"]) if at_work else []
        known = {row["recipient"] for row in queued}
        fresh = [one["recipient"] for one in at_work if one["recipient"] not in known]
        return [new_row(work, recipient, "mail", about) for recipient in fresh]

    # Looked at first, so that a turn with nothing to do locks nothing.
    if looking(site_id, now, wanted):
        writing(site_id, now, lambda work: add(work, wanted(work)))


def add_test(site_id: str, recipient: str, channel: str, now: str) -> str:
    """Queue a message that a person asks for to see that one comes; return its id."""

    def act(work: Work) -> str:
        name = uuid7(to_ms(now), os.urandom(10))
        about = {"alert_id": f"{TEST}:{name}", "step": TEST, "kind": TEST,
                 "group_key": f"{TEST}:{name}", "due_at": now, "data": "{}"}  # fmt: skip
        row = new_row(work, recipient, channel, about)
        add(work, [row])
        return str(row["id"])

    return writing(site_id, now, act)


def claim(site_id: str, now: str) -> Data | None:
    """Take the next due message; return {id, recipient, channel, rows, alerts}, or None.

    `rows` may be empty: what was due need not be told any more, and the log says why. The lease is
    the row's own `due_at`: if we die now, the same message is due again after it, under the same
    id, so that a browser or a mail reader that got it puts the second in the place of the first.
    """
    if not looking(site_id, now, _due_together):
        return None

    def act(work: Work) -> Data | None:
        if not work.lock(["deliveries"], wait=False):
            return None
        rows = _due_together(work)
        if not rows:
            return None
        alerts = {
            row["id"]: json.loads(row["data"])
            for row in work.rows_in(Alert, Alert.id, {row["alert_id"] for row in rows})
        }
        still = [row for row in rows if _still(work, row, alerts)]
        message = rows[0]["message_id"] or _message_id(still or rows)
        for row in still:
            lease = to_text(to_ms(now) + LEASE_MS)
            claimed = {"state": SENDING, "message_id": message, "due_at": lease}
            _set(work, row["id"], **claimed, attempts=row["attempts"] + 1)
        found = {"id": message, "recipient": rows[0]["recipient"], "channel": rows[0]["channel"]}
        return {**found, "rows": still, "alerts": alerts}

    return writing(site_id, now, act)


def _due_together(work: Work) -> list[Row]:
    """Return the rows of one message: the first that is due, and what goes with it."""
    due = (Delivery.state.in_(QUEUED), Delivery.due_at <= work.now)
    query = (
        select(Delivery.__table__)
        .where(Delivery.site_id == work.site_id, *due)
        .order_by(Delivery.due_at, Delivery.id)
        .limit(1)
    )
    first = work.connection.execute(query).mappings().first()
    if first is None:
        return []
    if first["message_id"]:
        same = (Delivery.message_id == first["message_id"], Delivery.state.in_(QUEUED))
        return sorted(work.rows(Delivery, *same), key=lambda row: str(row["id"]))
    alike = [
        getattr(Delivery, name) == first[name] for name in ("recipient", "channel", "group_key")
    ]
    rows = work.rows(Delivery, *due, *alike, Delivery.message_id.is_(None))
    return sorted(rows, key=lambda row: str(row["id"]))[:IN_ONE_MESSAGE_MAX]


def _still(work: Work, row: Row, alerts: dict[str, Data]) -> bool:
    """Say whether a row is still to be told; end it in the log where it is not."""
    if row["kind"] in (MORNING, TEST):
        return True
    why = reaching.still_due(row, alerts.get(row["alert_id"]), work.now)
    if why is not None:
        _set(work, row["id"], state=NOT_SENT, why=why, ended_at=work.now)
    return why is None


def _message_id(rows: list[Row]) -> str:
    named = "\n".join(f"{row['alert_id']}|{row['step']}|{row['recipient']}" for row in rows)
    return hashlib.sha256(f"{rows[0]['channel']}\n{named}".encode()).hexdigest()[:32]


def _set(work: Work, row_id: str, **values: Any) -> None:
    work.connection.execute(
        update(Delivery)
        .where(Delivery.site_id == work.site_id, Delivery.id == row_id)
        .values(**values)
    )


def finish(site_id: str, message: Data, state: str, why: str | None, now: str) -> None:
    """Note how a message ended; say in an alert's history that the next person was told of it."""

    def act(work: Work) -> None:
        for row in message["rows"]:
            alert = message["alerts"].get(row["alert_id"])
            kept = {"data": snapshot(alert)} if alert else {}
            _set(work, row["id"], state=state, why=why, ended_at=now, **kept)
        if state == TAKEN:
            handed = [row for row in message["rows"] if row["kind"] == "next"]
            _note_handed_on(work, handed, message["recipient"])

    writing(site_id, now, act)


def try_again(site_id: str, message: Data, why: str, after_ms: int | None, now: str) -> str:
    """Put a message back for a later try, or give it up after the last; return its state.

    Args:
        after_ms: how long the other side asks us to wait, if it does.
    """
    tries = max(row["attempts"] for row in message["rows"])
    if tries >= len(RETRY_AFTER_MS):
        finish(site_id, message, FAILED, why, now)
        return FAILED
    wait_ms = max(RETRY_AFTER_MS[tries], min(after_ms or 0, RETRY_AFTER_MS[-1]))

    def act(work: Work) -> None:
        for row in message["rows"]:
            _set(work, row["id"], state=WAITING, why=why, due_at=to_text(to_ms(now) + wait_ms))

    writing(site_id, now, act)
    return WAITING


def _note_handed_on(work: Work, rows: list[Row], recipient: str) -> None:
    """Write into the alerts' histories whom they went on to."""
    names = {row["alert_id"] for row in rows}
    if not names:
        return
    found = work.rows_in(Alert, Alert.id, names)
    work.lock(f"{row['subject_kind']}:{row['subject_id']}" for row in found)
    # Read again: somebody may have changed it before the lock was ours.
    found = work.rows_in(Alert, Alert.id, names)
    revision, _ = work.raise_revision()
    step = {"what": "handed_on", "at": work.now, "by": None, "level": None}
    step["to"] = recipient.partition(":")[2]
    for row in found:
        data = json.loads(row["data"])
        data["history"] = [*data["history"], step]
        data["handed_on"] = {"at": work.now, "to": step["to"]}
        values = {"data": dumps(data), "revision": revision}
        work.connection.execute(
            update(Alert).where(Alert.site_id == work.site_id, Alert.id == row["id"]).values(values)
        )


def standing(site_id: str, now: str) -> list[Data]:
    """Return every standing alert that no other hides, for the morning list."""

    def read(work: Work) -> list[Data]:
        rows = [json.loads(row["data"]) for row in work.rows(Alert, Alert.standing)]
        return [one for one in rows if not one.get("hidden_by") and one["state"] != "shelved"]

    return looking(site_id, now, read)


def list_deliveries(
    site_id: str, recipient: str | None, limit: int, after: str | None, now: str
) -> Data:
    """Return {deliveries, more}, the newest first; of one recipient, or of all.

    Raises:
        BadCursor: `after` is not a delivery's id.
    """
    if after and "\0" in after:
        raise BadCursor("Begin without `after`, or send the last delivery's id.")

    def read(work: Work) -> Data:
        most = max(1, min(limit, PAGE_MAX))
        query = select(Delivery.__table__).where(Delivery.site_id == site_id)
        query = query.where(Delivery.recipient == recipient) if recipient else query
        query = query.where(Delivery.id < after) if after else query
        rows = work.connection.execute(query.order_by(Delivery.id.desc()).limit(most + 1))
        found = [dict(row) for row in rows.mappings()]
        names = names_of(work)
        return {
            "deliveries": [shown(row, names) for row in found[:most]],
            "more": len(found) > most,
        }

    return looking(site_id, now, read)


def names_of(work: Work) -> dict[str, str | None]:
    """Return {recipient: name} of the people and the phones."""
    people = config.rows_of_kind(work, "person")
    phones = config.rows_of_kind(work, "phone")
    found = {f"person:{name}": row.get("name") for name, row in people.items()}
    return found | {f"device:{name}": row.get("name") for name, row in phones.items()}


def shown(row: Row, names: dict[str, str | None]) -> Data:
    """Return a queue row as the log shows it: to whom, by what, what of, when, and what came."""
    own = ("id", "channel", "kind", "state", "why", "due_at", "made_at", "ended_at", "attempts")
    about = json.loads(row["data"])
    seen = {name: row[name] for name in own}
    seen |= {"to": row["recipient"], "to_name": names.get(row["recipient"])}
    seen |= {
        "message": row["message_id"],
        "alert": None if row["kind"] in (MORNING, TEST) else row["alert_id"],
    }
    return {**seen, "about": about or None}
