"""Whose a device is: nobody sends, or is let in, under the id of somebody else's.

A device is a phone that was let in under its id; or what a script or a browser began to send as,
which its row then names (`sender`).
"""

from typing import Any

from lathhouse.errors import NotAllowed
from lathhouse.store.config import data_of
from lathhouse.store.holding import holding
from lathhouse.store.models import Session
from lathhouse.store.work import Work

Data = dict[str, Any]
ANOTHERS = "This device is another phone's or script's. Send under an id of your own."
SCRIPT = "script"
# How rows name a script that were written when a device was still bound to its token's name.
NAMED_SCRIPT = "token:"
# What the server itself writes as: nobody sends under it, whatever their role.
SERVER, SENSOR = "server", "sensor"
LET_IN = "This phone is another person's. Ask the owner to cut it off first."


def sender_of(who: Data) -> str:
    """Return under what a device is kept that was never let in by itself.

    Tokens are told apart by their role alone: a script goes on as the same device with a renewed
    one.
    """
    if who["by"] == "token":
        return SCRIPT
    if who["proved"]:
        return f"person:{who['proved']}"
    return f"phone:{who['device'] or who['key'][:16]}"


def identity(work: Work, device: str, who: Data, said: Data) -> Data:
    """Return what goes into a device's row of whoever sends as it.

    A phone that was let in under this id keeps its own name, person and role, whoever sends.

    Args:
        who: the actor of the request.
        said: the row of that actor's own device.

    Raises:
        NotAllowed: it is somebody else's. An owner's phone may send as any.
    """
    sessions = work.rows(Session, Session.device_id == device)
    if sessions:
        _check_phone(sessions, device, who)
        return said if who["device"] == device else {}
    row = data_of(work, "phone", device)
    if row is None or _began(row, who):
        return {**said, "sender": sender_of(who)}
    if who["role"] != "owner" or row.get("sender") in (SERVER, SENSOR):
        raise NotAllowed(ANOTHERS)
    # Who began it goes on as what it was; what only a file has brought is nobody's yet.
    return said if row.get("role") is None else {}


def _check_phone(sessions: list[Data], device: str, who: Data) -> None:
    own = who["by"] == "session" and (who["device"] == device or who["role"] == "owner")
    same = who["proved"] and any(row["proved_id"] == who["proved"] for row in sessions)
    if not own and not same:
        raise NotAllowed(ANOTHERS)


def _began(row: Data, who: Data) -> bool:
    """Say whether it was this one who sends as a device; older rows do not name their sender."""
    sender, token = str(row.get("sender") or ""), who["by"] == "token"
    named = sender == SCRIPT or sender.startswith(NAMED_SCRIPT)
    script = named if sender else bool(row.get("silent_ok"))
    if script or token:
        return script and token and bool(row.get("role") == who["role"])
    return sender in ("", sender_of(who))


def check_free(
    work: Work, device: str, person: str | None, before: str, role: str | None = None
) -> None:
    """Refuse to let anybody in under the id of a phone that is let in as somebody else's.

    A phone that lost its cookie is paired again by a link for the same person, and where it is
    nobody's by one for its role; an owner's link pairs it whatever it was.

    Args:
        person: who is let in.
        before: the hash of the cookie that they come with.
        role: what a pairing link is for.

    Raises:
        NotAllowed: it is, and this is not that phone.
    """
    work.lock({f"phone:{device}"})
    sessions = work.rows(Session, Session.device_id == device)
    row = None if sessions else data_of(work, "phone", device)
    script = row is not None and bool(row.get("silent_ok") and row.get("role"))
    held = work.rows(Session, Session.device_id == device, *holding(work))
    theirs = [one for one in held if not _is_for(one, person, before, role)]
    if role != "owner" and (script or theirs):
        raise NotAllowed(LET_IN)


def _is_for(session: Data, person: str | None, before: str, role: str | None) -> bool:
    same = session["proved_id"] == person and (person is not None or session["role"] == role)
    return same or session["hash"] == before


def proved_of(work: Work, device: str) -> str | None:
    """Return whose phone a device surely is, by the last time it was let in."""
    newest = max(
        work.rows(Session, Session.device_id == device), key=lambda row: row["made_at"], default={}
    )
    found: str | None = newest.get("proved_id")
    return found
