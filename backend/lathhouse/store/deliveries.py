"""The queue of messages, which is their log too: planned with the alert, and sent once.

A row is written in the transaction that changes the alert, so that neither is there without the
other. Its key is the alert's state and who is told by what: planning it again adds nothing, but
lets one wait again that was not sent, since what it told of was undone before it went.
"""

import json
import os
from collections.abc import Iterable
from typing import Any

from sqlalchemy import update
from sqlalchemy.dialects import postgresql, sqlite

from lathhouse.domain import reaching
from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import local_date, to_ms
from lathhouse.domain.working_time import hours_of, is_at_work
from lathhouse.store import config, subscriptions
from lathhouse.store.engine import is_sqlite
from lathhouse.store.models import Alert, Delivery
from lathhouse.store.work import Row, Work, dumps, looking, writing

Data = dict[str, Any]
ONCE = ("site_id", "alert_id", "step", "channel", "recipient")
WAITING, SENDING, TAKEN, FAILED, NOT_SENT = "waiting", "sending", "taken", "failed", "not_sent"
QUEUED = (WAITING, SENDING)
MORNING, TEST = "morning", "test"


def plan(work: Work, alerts: Iterable[Row]) -> None:
    """Queue what is to be told of alert rows that are being written, in their own transaction."""
    changed = [json.loads(row["data"]) for row in alerts if row["standing"]]
    stored = work.rows_in(Alert, Alert.id, [alert["id"] for alert in changed])
    before = {row["id"]: json.loads(row["data"]) for row in stored}
    _end_left(work, changed, before)
    told = [
        one
        for one in changed
        if reaching.must_plan(one, before.get(one["id"]), work.now)
        or reaching.is_given(one, work.given)
    ]
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
                "step": reaching.step_of(alert, one["kind"]),
                "kind": one["kind"],
                "group_key": reaching.group_of(alert, one["at_ms"], hours),
                "due_at": reaching.collected(one["at_ms"], now_ms),
                "data": snapshot(alert),
            }
            rows += [new_row(work, one["person"]["recipient"], by, about) for by in _by(one, alert)]
    add(work, rows)


def _end_left(work: Work, alerts: list[Data], before: dict[str, Data]) -> None:
    """End what was to be told when a time was over until which an alert is left no more."""
    for alert in alerts:
        was = before.get(alert["id"])
        if was is None or not reaching.left_no_more(alert, was, work.now):
            continue
        left = (
            Delivery.alert_id == alert["id"],
            Delivery.step.endswith(f"@{was['shelved_until']}"),
        )
        work.connection.execute(
            update(Delivery)
            .where(Delivery.site_id == work.site_id, Delivery.state == WAITING, *left)
            .values(state=NOT_SENT, why="superseded", ended_at=work.now)
        )


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
    """Queue rows; one whose state was told to the same person by the same way is there already.

    One that ended without being sent waits again, as if it were new.
    """
    if not rows:
        return
    # In the log those of one moment keep the order in which they were planned.
    names = sorted(row["id"] for row in rows)
    rows = [{**row, "id": name} for row, name in zip(rows, names, strict=True)]
    dialect: Any = sqlite if is_sqlite(work.connection) else postgresql
    statement = dialect.insert(Delivery)
    statement = statement.on_conflict_do_update(
        index_elements=ONCE,
        set_={name: statement.excluded[name] for name in rows[0] if name not in ONCE},
        where=Delivery.state == NOT_SENT,
    )
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
    """Queue a message that a person asks for to see that one comes; return its id.

    One waits at a time for a person and a way: asking again asks for the same one.
    """

    def act(work: Work) -> str:
        work.lock(["deliveries"])
        own = (Delivery.recipient == recipient, Delivery.channel == channel)
        queued = work.rows(Delivery, Delivery.kind == TEST, Delivery.state.in_(QUEUED), *own)
        if queued:
            return str(queued[0]["id"])
        name = uuid7(to_ms(now), os.urandom(10))
        about = {"alert_id": f"{TEST}:{name}", "step": TEST, "kind": TEST,
                 "group_key": f"{TEST}:{name}", "due_at": now, "data": "{}"}  # fmt: skip
        row = new_row(work, recipient, channel, about)
        add(work, [row])
        return str(row["id"])

    return writing(site_id, now, act)


def standing(site_id: str, now: str) -> list[Data]:
    """Return every standing alert that no other hides, for the morning list."""

    def read(work: Work) -> list[Data]:
        rows = [json.loads(row["data"]) for row in work.rows(Alert, Alert.standing)]
        return [one for one in rows if not one.get("hidden_by") and one["state"] != "shelved"]

    return looking(site_id, now, read)
