"""Changes of who is let in: each is put on record in its own transaction, or is not made."""

from typing import Any
from urllib.parse import urlsplit

from flask import request

from lathhouse.store.work import Then, Work
from lathhouse.sync.server_events import access_said, said
from lathhouse.web.requests import server_device

Data = dict[str, Any]
# What a phone is no more once it is let in.
ENDED = ("cut_off_at", "moved_to", "left_behind_at")


def telling(*told: Data) -> Then:
    """Return what puts these events on record, once an act has come to something."""
    return lambda work, found: server_device().add(work, list(told))


def telling_access(what: str, by: str | None, **more: Any) -> Then:
    """Return what puts a change of who is let in on record."""
    return telling(access_said(what, by, **more))


def telling_let_in(what: str | None = None) -> Then:
    """Return what puts on record that a phone was let in: as what, under which name, and that
    nothing of an earlier time holds any more; where it follows another phone, that too.

    Args:
        what: the change of access that let it in, where that has an entry of its own.
    """
    host = urlsplit(f"//{request.host}").hostname

    def then(work: Work, found: Data) -> None:
        row, by = found["row"], found["person"]
        known = {"id": row["id"], "name": row["name"], "person": by, "role": found["role"]}
        told = [access_said(what, by, person=by)] if what else []
        if found.get("from"):
            told += [said("phone_changed", {"id": found["from"], "moved_to": row["id"]}, by)]
        let_in = {**known, "host": host, **dict.fromkeys(ENDED)}
        told += [said("phone_changed", let_in, by)]
        # Whoever is let in is the link's or the passphrase's person; who only carries it was said.
        server_device().acted_from(found.get("proved", by)).add(work, told, [row])

    return then
