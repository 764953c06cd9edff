"""Taking messages out of the queue to be sent, and noting what came of them.

Between planning and sending hours may pass: whether it is still to be told, to this person, and at
this hour, is asked again for each message as it leaves.
"""

import hashlib
import json
from typing import Any

from sqlalchemy import select, update

from lathhouse.domain import reaching
from lathhouse.domain.instants import MINUTE_MS, local_date, to_ms, to_text
from lathhouse.domain.working_time import hours_of
from lathhouse.store import config, subscriptions
from lathhouse.store.deliveries import (
    FAILED,
    MORNING,
    NOT_SENT,
    QUEUED,
    SENDING,
    TAKEN,
    TEST,
    WAITING,
    snapshot,
)
from lathhouse.store.models import Alert, Delivery
from lathhouse.store.work import Row, Work, dumps, looking, writing

Data = dict[str, Any]
# A message under way that nobody says more of (the server was killed) is sent again after this.
LEASE_MS = 2 * MINUTE_MS
# Waits between tries; after the last the message is given up. Our own choice.
RETRY_AFTER_MS = tuple(minutes * MINUTE_MS for minutes in (1, 5, 15, 60, 180))
TRIES_MAX = len(RETRY_AFTER_MS) + 1
FAULT = "fault"
IN_ONE_MESSAGE_MAX = 60


def claim(site_id: str, now: str) -> Data | None:
    """Take the next due message; return {id, recipient, channel, rows, alerts}, or None.

    `rows` may be empty: what was due need not be told any more, or not at this hour, and the log
    says so. The lease is the row's own `due_at`: if we die now, the same message is due again after
    it, under the same id, so that a browser or a mail reader that got it puts the second in the
    place of the first.
    """
    if not looking(site_id, now, _due_together):
        return None

    def act(work: Work) -> Data | None:
        # Who may not note what came of a message does not send it either.
        work.see_fold()
        if not work.lock(["deliveries"], wait=False):
            return None
        rows, alerts = _held_fast(work)
        if not rows:
            return None
        house = _house(work)
        still = [row for row in rows if _goes(work, row, alerts, house)]
        message = rows[0]["message_id"] or _message_id(still or rows)
        for row in still:
            lease = to_text(to_ms(now) + LEASE_MS)
            claimed = {"state": SENDING, "message_id": message, "due_at": lease}
            _set(work, row["id"], **claimed, attempts=row["attempts"] + 1)
        found = {"id": message, "recipient": rows[0]["recipient"], "channel": rows[0]["channel"]}
        return {**found, "rows": still, "alerts": alerts}

    return writing(site_id, now, act)


def _held_fast(work: Work) -> tuple[list[Row], dict[str, Data]]:
    """Return the rows of the next message, and their alerts, which nobody changes meanwhile.

    Or a row that ends here, by an alert as it was, would not wait again as that alert is now.
    """
    names = {row["alert_id"] for row in _due_together(work)}
    found = work.rows_in(Alert, Alert.id, names)
    work.lock(f"{row['subject_kind']}:{row['subject_id']}" for row in found)
    rows = [row for row in _due_together(work) if row["alert_id"] in names]
    found = work.rows_in(Alert, Alert.id, {row["alert_id"] for row in rows})
    return rows, {row["id"]: json.loads(row["data"]) for row in found}


def _due_together(work: Work) -> list[Row]:
    """Return the rows of one message: the most urgent that is due, and what goes with it.

    After a server was off much is due at once: what is of priority 1 goes before what has waited
    longer, and what somebody asked for as a test after everything else.
    """
    due = (Delivery.state.in_(QUEUED), Delivery.due_at <= work.now)
    query = (
        select(Delivery.__table__)
        .where(Delivery.site_id == work.site_id, *due)
        .order_by(Delivery.kind == TEST, ~_urgent(), Delivery.due_at, Delivery.id)
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


def _urgent() -> Any:
    """Return the condition that a row is of priority 1, which has groups of its own."""
    lesser = Delivery.group_key.startswith(reaching.DAY, autoescape=True)
    return Delivery.kind.not_in((MORNING, TEST)) & ~lesser


def _house(work: Work) -> Data:
    """Return {nursery, people}: whose hours hold, and who can be reached, by recipient."""
    nursery = config.data_of(work, "nursery", work.site_id) or config.NEW_NURSERY
    people = {one["recipient"]: one for one in subscriptions.reachable(work)}
    return {"nursery": {"offsets": [], **nursery}, "people": people}


def _goes(work: Work, row: Row, alerts: dict[str, Data], house: Data) -> bool:
    """Say whether a row is to be told now; end it in the log, or hold it back, where it is not."""
    alert = alerts.get(row["alert_id"])
    why = _why_not(work, row, alert, house)
    if why is not None:
        _end(work, row, why)
        return False
    if row["attempts"] >= TRIES_MAX:
        # Each try ended with the process, or so that nothing could be noted of it.
        _end(work, row, FAULT, FAILED)
        return False
    if alert is None:
        return True
    person, nursery, now_ms = house["people"][row["recipient"]], house["nursery"], to_ms(work.now)
    at_ms = reaching.goes_at(row["kind"], alert, person, now_ms, nursery)
    if at_ms <= now_ms:
        return True
    if TAKEN in phones_of(row).values():
        # One of their phones has it: in quiet hours, or after work, that is enough.
        _end(work, row, None)
        return False
    group = reaching.group_of(alert, at_ms, hours_of(nursery))
    held = {"state": WAITING, "message_id": None, "group_key": group}
    _set(work, row["id"], **held, due_at=to_text(at_ms))
    return False


def _why_not(work: Work, row: Row, alert: Data | None, house: Data) -> str | None:
    """Return why a row is not to be told at all any more, or None."""
    if row["kind"] == TEST:
        return None
    if row["kind"] == MORNING:
        today = local_date(to_ms(work.now), house["nursery"]["offsets"])
        why = None if row["alert_id"] == f"{MORNING}:{today}" else "superseded"
    else:
        why = reaching.still_due(row, alert, work.now)
    person = house["people"].get(row["recipient"])
    off = person is None or row["channel"] not in person["channels"]
    return why or ("off" if off else None)


def _end(work: Work, row: Row, why: str | None, ended: str = NOT_SENT) -> None:
    """End a row that does not go (any more): taken where one of several phones has it."""
    taken = TAKEN in phones_of(row).values()
    state, why = (TAKEN, None) if taken else (ended, why)
    _set(work, row["id"], state=state, why=why, ended_at=work.now)


def phones_of(row: Row) -> dict[str, str]:
    """Return {subscription: what came of it} of the phones that a row's message was sent to."""
    return dict(json.loads(row["data"]).get("phones") or {})


def _message_id(rows: list[Row]) -> str:
    named = "\n".join(f"{row['alert_id']}|{row['step']}|{row['recipient']}" for row in rows)
    return hashlib.sha256(f"{rows[0]['channel']}\n{named}".encode()).hexdigest()[:32]


def _set(work: Work, row_id: str, **values: Any) -> None:
    work.connection.execute(
        update(Delivery)
        .where(Delivery.site_id == work.site_id, Delivery.id == row_id)
        .values(**values)
    )


def finish(
    site_id: str,
    message: Data,
    state: str,
    why: str | None,
    now: str,
    phones: dict[str, str] | None = None,
) -> None:
    """Note how a message ended; say in an alert's history that the next person was told of it.

    Args:
        phones: what came of it at each phone (by subscription) that it was sent to.
    """

    def act(work: Work) -> None:
        for row in message["rows"]:
            kept = _kept(row, message, phones)
            _set(work, row["id"], state=state, why=why, ended_at=now, data=kept)
        if state == TAKEN:
            _note_handed_on(work, message)

    writing(site_id, now, act)


def try_again(
    site_id: str,
    message: Data,
    why: str,
    after_ms: int | None,
    now: str,
    phones: dict[str, str] | None = None,
) -> str:
    """Put a message back for a later try, or give it up after the last; return its state.

    Args:
        after_ms: how long the other side asks us to wait, if it does.
        phones: what came of it at each phone; one that has taken it is not asked again.
    """
    tries = max(row["attempts"] for row in message["rows"])
    taken = TAKEN in (phones or {}).values()
    if tries >= len(RETRY_AFTER_MS):
        state = TAKEN if taken else FAILED
        finish(site_id, message, state, None if taken else why, now, phones)
        return state
    wait_ms = max(RETRY_AFTER_MS[tries], min(after_ms or 0, RETRY_AFTER_MS[-1]))

    def act(work: Work) -> None:
        for row in message["rows"]:
            kept = {"due_at": to_text(to_ms(now) + wait_ms), "data": _kept(row, message, phones)}
            _set(work, row["id"], state=WAITING, why=why, **kept)
        if taken:
            _note_handed_on(work, message)

    writing(site_id, now, act)
    return WAITING


def _kept(row: Row, message: Data, phones: dict[str, str] | None) -> str:
    """Return what the log keeps of a row: what was said, of what, and what came of it where."""
    alert = message["alerts"].get(row["alert_id"])
    kept = json.loads(snapshot(alert) if alert else row["data"])
    known = phones_of(row) | (phones or {})
    return dumps({**kept, "phones": known} if known else kept)


def _note_handed_on(work: Work, message: Data) -> None:
    """Write into the alerts' histories whom they went on to: once, with the first phone of theirs.

    The rows are as they were claimed: what a phone had by then was noted then.
    """
    handed = [row for row in message["rows"] if row["kind"] == "next"]
    names = {row["alert_id"] for row in handed if TAKEN not in phones_of(row).values()}
    if not names:
        return
    found = work.rows_in(Alert, Alert.id, names)
    work.lock(f"{row['subject_kind']}:{row['subject_id']}" for row in found)
    # Read again: somebody may have changed it before the lock was ours.
    found = work.rows_in(Alert, Alert.id, names)
    revision, _ = work.raise_revision()
    step = {"what": "handed_on", "at": work.now, "by": None, "level": None}
    step["to"] = message["recipient"].partition(":")[2]
    for row in found:
        data = json.loads(row["data"])
        data["history"] = [*data["history"], step]
        data["handed_on"] = {"at": work.now, "to": step["to"]}
        values = {"data": dumps(data), "revision": revision}
        work.connection.execute(
            update(Alert).where(Alert.site_id == work.site_id, Alert.id == row["id"]).values(values)
        )
