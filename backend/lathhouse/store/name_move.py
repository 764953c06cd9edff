"""A move of the nursery's name: each phone's successor under the new name, and who stands where.

A browser keeps a store for each name, so under the new one a phone is another phone: it begins with
an empty store, a number of its own and the rights of the one before it.
"""

import json
from typing import Any

from sqlalchemy import select, update

from lathhouse.store import access, config, phones, senders
from lathhouse.store.holding import holding
from lathhouse.store.models import Event, Pairing, Session
from lathhouse.store.work import Then, Work, looking, writing

Data = dict[str, Any]
PURPOSE = "move:"
# What the log says of a move: the last of these tells whether one is under way.
STEPS = ("name_move_begun", "name_moved", "name_move_called_off")


def lock(work: Work) -> None:
    """Let one step of a move come after the other, whoever takes it."""
    work.lock({"name_move:"})


def last_step(work: Work) -> Data | None:
    """Return what the log says last of any move, by its own order."""
    query = (
        select(Event.body)
        .where(Event.site_id == work.site_id, Event.kind == "access_changed")
        .order_by(Event.position.desc())
    )
    told = (json.loads(body)["data"] for body in work.connection.scalars(query))
    return next((one for one in told if one.get("what") in STEPS), None)


def make_link(
    site_id: str, device: str, role: str, person: str | None, now: str, then: Then | None = None
) -> str:
    """Return the secret of a link that makes another browser store this phone's successor."""
    purpose = f"{PURPOSE}{device}"
    return access.make_link(site_id, role, person, now, access.LINK_MINUTES, purpose, then)


def redeem(
    site_id: str,
    secret: str,
    device: str,
    now: str,
    before: str | None,
    then: Then = access.only_write,
) -> Data | None:
    """Pair a phone's successor: return {cookie, role, person, proved, from, row}, or None where
    the link is no such link, is good no more, or its phone was cut off since.

    The phone before it goes on: what it may still hold can be sent until the old name ends.
    """

    def act(work: Work) -> Data | None:
        work.lock({f"phone:{device}"})
        old = _phone_of_link(work, secret)
        if old is None or old["device_id"] == device:
            return None
        came_with = access.hashed(before or "")
        senders.check_free(work, device, old["proved_id"], came_with, old["role"])
        taken: Any = work.connection.execute(
            update(Pairing)
            .where(Pairing.site_id == work.site_id, Pairing.hash == access.hashed(secret))
            .where(*access.good_link(work))
            .values(used_at=work.now)
        )
        # Two at once: the other one was first.
        if not taken.rowcount:
            return None
        name = phones.phone_of(work, old["device_id"])["name"]
        begun = access.let_in(
            work,
            old["role"],
            old["proved_id"],
            device,
            name,
            before,
            by_passphrase=old["by_passphrase"] is True,
        )
        # Who carries it was said, not proved, and stays said.
        work.connection.execute(
            update(Session)
            .where(Session.site_id == work.site_id, Session.hash == access.hashed(begun["cookie"]))
            .values(person_id=old["person_id"])
        )
        who = {"role": old["role"], "person": old["person_id"], "proved": old["proved_id"]}
        by_passphrase = old["by_passphrase"] is True
        return {**begun, **who, "from": old["device_id"], "by_passphrase": by_passphrase}

    # Looked up by reading first: a wrong secret holds up nobody who writes.
    if looking(site_id, now, lambda work: _phone_of_link(work, secret)) is None:
        return None
    return writing(site_id, now, act, then)


def _phone_of_link(work: Work, secret: str) -> Data | None:
    """Return the session that holds of the phone that a good link was made on."""
    rows = work.rows(Pairing, Pairing.hash == access.hashed(secret), *access.good_link(work))
    purpose = rows[0]["purpose"] or "" if rows else ""
    if not purpose.startswith(PURPOSE):
        return None
    device = purpose.removeprefix(PURPOSE)
    found = work.rows(Session, Session.device_id == device, *holding(work))
    return max(found, key=lambda row: row["made_at"], default=None)


def standing(site_id: str, name: str, now: str) -> list[Data]:
    """Return the phones that are let in, each with where it stands in a move to a name:
    {…, at: "moved" | "new" | "old"}.

    `moved`: it has a successor; `new`: it was paired under the new name.
    """

    def act(work: Work) -> dict[str, Data]:
        return {row["id"]: config.data_of(work, "phone", row["id"]) or {} for row in listed}

    listed = [row for row in access.list_phones(site_id, now) if row["lets_in"]]
    rows = looking(site_id, now, act)
    return [{**row, "at": _where(rows[row["id"]], name)} for row in listed]


def _where(row: Data, name: str) -> str:
    if row.get("moved_to"):
        return "moved"
    return "new" if row.get("host") == name else "old"


def end_old(work: Work, devices: list[str]) -> None:
    """End the sessions of phones that the old name ends for."""
    access.end_sessions(work, Session.device_id.in_(devices))
