"""The secret addresses of calendar feeds: one a person, made, renewed and ended by a tap.

Only a secret's hash is kept, as of every secret here, so that a copy of the record opens nobody's
calendar; the phone that made an address keeps it and can show it again.
"""

import secrets
from typing import Any

from sqlalchemy import func

from lathhouse.domain.working_time import Hours, hours_of
from lathhouse.store.access import ID_LENGTH, hashed
from lathhouse.store.config import NEW_NURSERY, data_of
from lathhouse.store.holding import holding
from lathhouse.store.models import Calendar, Session, Token
from lathhouse.store.work import Row, Work, looking, writing

# Enough of the hash for a phone to know whether the address that it keeps is still the one.
MARK_LENGTH = 12

# From this version of the database on, a script's calendar names its token by the id.
NAMES_SINCE = "0016"


def name_by_token(work: Work) -> None:
    """Name scripts' calendars of an older archive by their tokens' ids, as migration 0016 does."""
    for row in work.rows(Calendar, Calendar.recipient.like("token:%")):
        made, name = row["made_at"], row["recipient"].removeprefix("token:")
        held = Token.revoked_at.is_(None) | (Token.revoked_at > made)
        found = work.rows(Token, Token.name == name, Token.made_at <= made, held)
        work.delete(Calendar, Calendar.recipient == row["recipient"])
        if len(found) == 1:
            recipient = f"token:{found[0]['hash'][:ID_LENGTH]}"
            anew = {key: value for key, value in row.items() if key != "site_id"}
            work.insert(Calendar, [{**anew, "recipient": recipient}])


def recipient_of(actor: dict[str, Any]) -> str:
    """Return whose calendar an actor's is: the person's, else the phone's, else the script's."""
    for kind in ("person", "device"):
        if actor[kind]:
            return f"{kind}:{actor[kind]}"
    return f"token:{actor['token']}" if actor["by"] == "token" else "visitor"


def make(site_id: str, recipient: str, device: str | None, now: str) -> Row:
    """Return {secret, mark, made_at} of a new address; the one before it is good no more.

    Args:
        device: the phone that makes it and knows it; it ends when that phone is cut off.
    """
    secret = secrets.token_urlsafe(32)

    def act(work: Work) -> Row:
        row = {"recipient": recipient, "hash": hashed(secret), "made_at": now}
        work.upsert(Calendar, [{**row, "device_id": device}], ("recipient",))
        return {"secret": secret, "mark": hashed(secret)[:MARK_LENGTH], "made_at": now}

    return writing(site_id, now, act)


def end(site_id: str, recipient: str, now: str) -> None:
    """Let nobody read a recipient's calendar any more."""
    writing(site_id, now, lambda work: work.delete(Calendar, Calendar.recipient == recipient))


def state(site_id: str, recipient: str, now: str) -> Row:
    """Return {made_at, mark} of a recipient's address, both None where there is none."""
    rows = looking(site_id, now, lambda work: work.rows(Calendar, Calendar.recipient == recipient))
    if not rows:
        return {"made_at": None, "mark": None}
    return {"made_at": rows[0]["made_at"], "mark": rows[0]["hash"][:MARK_LENGTH]}


def holder(site_id: str, secret: str, now: str) -> str | None:
    """Return whose calendar a secret opens, or None: not one of ours, or ended, or shut out.

    Whoever may no longer come in reads no calendar either.
    """

    def read(work: Work) -> str | None:
        rows = work.rows(Calendar, Calendar.hash == hashed(secret))
        found = str(rows[0]["recipient"]) if rows else None
        return found if found and _may_come_in(work, found) else None

    return looking(site_id, now, read)


def hours_for(site_id: str, recipient: str, now: str) -> Hours:
    """Return the hours of whoever reads a calendar: a person's own, else the nursery's."""

    def read(work: Work) -> Hours:
        kind, _, name = recipient.partition(":")
        nursery = data_of(work, "nursery", site_id) or NEW_NURSERY
        person = data_of(work, "person", name) if kind == "person" else None
        return hours_of({"offsets": [], **nursery}, person)

    return looking(site_id, now, read)


def _may_come_in(work: Work, recipient: str) -> bool:
    kind, _, name = recipient.partition(":")
    if kind == "token":
        # By its id: another token of the same name opens nothing of this one's.
        own = func.substr(Token.hash, 1, ID_LENGTH) == name
        return bool(work.rows(Token, own, Token.revoked_at.is_(None)))
    column = {"person": Session.person_id, "device": Session.device_id}.get(kind)
    if column is None:
        return True
    return bool(work.rows(Session, column == name, *holding(work)))
