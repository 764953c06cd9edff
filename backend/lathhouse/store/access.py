"""Who may come in: bearer tokens, paired phones' sessions, and links that are good once."""

import hashlib
import secrets
from typing import Any

from sqlalchemy import update

from lathhouse.domain.instants import DAY_MS, MINUTE_MS, to_ms, to_text
from lathhouse.store import phones, record
from lathhouse.store.config import data_of
from lathhouse.store.models import Calendar, Pairing, Session, Token
from lathhouse.store.work import Work, looking, writing

Data = dict[str, Any]
ROLES = ("owner", "worker", "viewer", "sensor")
SESSION_DAYS = 400
OWNER_LINK_DAYS = 30
LINK_MINUTES = 10


def hashed(secret: str) -> str:
    """Return the hash under which a secret is kept; it is long random text, so a fast one does."""
    return hashlib.sha256(secret.encode(errors="surrogatepass")).hexdigest()


def add_token(site_id: str, name: str, role: str, now: str) -> str:
    """Return a new bearer token; only its hash is kept."""
    secret = f"lth_{secrets.token_urlsafe(32)}"

    def act(work: Work) -> str:
        row = {"hash": hashed(secret), "name": name, "role": role, "made_at": now}
        work.insert(Token, [{**row, "revoked_at": None}])
        return secret

    return writing(site_id, now, act)


def list_tokens(site_id: str, now: str) -> list[Data]:
    """Return {name, role, made_at} of the tokens that hold, never the tokens themselves."""

    def act(work: Work) -> list[Data]:
        rows = work.rows(Token, Token.revoked_at.is_(None))
        names = ("name", "role", "made_at")
        return [{name: row[name] for name in names} for row in rows]

    return sorted(looking(site_id, now, act), key=lambda row: (row["made_at"], row["name"]))


def revoke_tokens(site_id: str, name: str, now: str) -> int:
    """Revoke every token of a name; return how many there were."""

    def act(work: Work) -> int:
        done: Any = work.connection.execute(
            update(Token)
            .where(Token.site_id == site_id, Token.name == name, Token.revoked_at.is_(None))
            .values(revoked_at=now)
        )
        return int(done.rowcount)

    return writing(site_id, now, act)


def by_token(site_id: str, secret: str, now: str) -> Data | None:
    """Return {role, name, person, device} of a token's bearer, or None."""

    def act(work: Work) -> Data | None:
        rows = work.rows(Token, Token.hash == hashed(secret), Token.revoked_at.is_(None))
        if not rows:
            return None
        role, name = rows[0]["role"], rows[0]["name"]
        return {"role": role, "name": name, "person": None, "device": None, "by": "token"}

    return looking(site_id, now, act)


def by_session(site_id: str, secret: str, now: str) -> Data | None:
    """Return {role, name, person, device} of a session's phone, or None."""

    def act(work: Work) -> Data | None:
        rows = work.rows(Session, Session.hash == hashed(secret), Session.revoked_at.is_(None))
        if not rows or rows[0]["expires_at"] <= now:
            return None
        row = rows[0]
        return {
            "role": row["role"],
            "name": None,
            "person": row["person_id"],
            "device": row["device_id"],
            "by": "session",
        }

    return looking(site_id, now, act)


def begin_session(work: Work, role: str, person: str | None, device: str | None) -> str:
    """Return the cookie of a new session."""
    secret = secrets.token_urlsafe(32)
    expires = to_text(to_ms(work.now) + SESSION_DAYS * DAY_MS)
    work.insert(
        Session,
        [
            {
                "hash": hashed(secret),
                "device_id": device,
                "person_id": person,
                "role": role,
                "made_at": work.now,
                "expires_at": expires,
                "revoked_at": None,
            }
        ],
    )
    return secret


def list_phones(site_id: str, now: str) -> list[Data]:
    """Return the paired phones, last in touch first: {id, name, person, role, paired_at,
    last_sync_at, cut_off_at, lets_in}; `lets_in` while a session of it holds."""

    def act(work: Work) -> list[Data]:
        holds = (Session.revoked_at.is_(None), Session.expires_at > now)
        open_to = {row["device_id"] for row in work.rows(Session, *holds)}
        paired = {row["device_id"] for row in work.rows(Session, Session.device_id.is_not(None))}
        rows = [phones.phone_of(work, device) for device in sorted(paired)]
        names = ("id", "name", "person", "role", "paired_at", "last_sync_at", "cut_off_at")
        return [
            {**{name: row.get(name) for name in names}, "lets_in": row["id"] in open_to}
            for row in rows
        ]

    found = looking(site_id, now, act)
    return sorted(found, key=lambda row: (row["last_sync_at"] or "", row["id"]), reverse=True)


def known_phone(work: Work, device: str) -> Data | None:
    """Return the row of a device that was ever in touch or paired here, or None."""
    row = data_of(work, "phone", device)
    if row is not None:
        return row
    paired = work.rows(Session, Session.device_id == device)
    newest = max(paired, key=lambda one: one["made_at"], default=None)
    if newest is None:
        return None
    known = {"role": newest["role"], "person": newest["person_id"]}
    return phones.new_phone(device, newest["made_at"]) | known


def cut_off(site_id: str, device: str, now: str) -> bool:
    """End every session of a phone; say whether there was one. What it holds unsent stays on it.

    So end the calendars' addresses that it made, whoever they are for: whoever has it knows them.
    """

    def act(work: Work) -> bool:
        work.delete(Calendar, Calendar.device_id == device)
        done: Any = work.connection.execute(
            update(Session)
            .where(Session.site_id == site_id, Session.device_id == device)
            .where(Session.revoked_at.is_(None))
            .values(revoked_at=now)
        )
        return bool(done.rowcount)

    return writing(site_id, now, act)


def sign_in_visitor(site_id: str, now: str) -> str:
    """Return the cookie of a demo's visitor, who is its owner."""
    return writing(site_id, now, lambda work: begin_session(work, "owner", None, None))


def make_link(site_id: str, role: str, person: str | None, now: str, minutes: int) -> str:
    """Return the secret of a link that pairs one phone, once."""
    secret = secrets.token_urlsafe(24)

    def act(work: Work) -> str:
        expires = to_text(to_ms(now) + minutes * MINUTE_MS)
        row = {"hash": hashed(secret), "role": role, "person_id": person, "made_at": now}
        work.insert(Pairing, [{**row, "expires_at": expires, "used_at": None, "tries": 0}])
        return secret

    return writing(site_id, now, act)


def owner_link(site_id: str, now: str) -> str | None:
    """Return the secret of a first owner's link, or None where an owner's phone was paired already.

    An owner's script is no owner, and neither is a demo's visitor, who has no phone of his own.
    Earlier such links, which nobody opened, are good no more.
    """

    def has_owner(work: Work) -> bool:
        holds = (Session.device_id.is_not(None), Session.revoked_at.is_(None))
        return bool(work.rows(Session, Session.role == "owner", Session.expires_at > now, *holds))

    if looking(site_id, now, has_owner):
        return None
    writing(site_id, now, _close_owner_links)
    return make_link(site_id, "owner", None, now, OWNER_LINK_DAYS * 24 * 60)


def _close_owner_links(work: Work) -> None:
    work.connection.execute(
        update(Pairing)
        .where(Pairing.site_id == work.site_id, Pairing.role == "owner", Pairing.used_at.is_(None))
        .values(expires_at=work.now)
    )


def redeem(site_id: str, secret: str, device: str, name: str | None, now: str) -> Data | None:
    """Pair a phone: return {cookie, role, person}, or None where the link is good no more.

    Args:
        device: the phone's own id; from now on its silence is noticed.
        name: what people call it.
    """

    def act(work: Work) -> Data | None:
        work.lock({f"phone:{device}"})
        fresh = (Pairing.used_at.is_(None), Pairing.expires_at > now)
        taken = work.connection.execute(
            update(Pairing)
            .where(Pairing.site_id == site_id, Pairing.hash == hashed(secret), *fresh)
            .values(used_at=now)
            .returning(Pairing.role, Pairing.person_id)
        ).first()
        if taken is None:
            return None
        cookie = begin_session(work, taken.role, taken.person_id, device)
        phone = phones.phone_of(work, device)
        known = {"role": taken.role, "person": taken.person_id, "silent_ok": False}
        contact = {"paired_at": now, "last_sync_at": now, "name": name or phone["name"]}
        record.append(work, [], {**phone, **known, **contact})
        return {"cookie": cookie, "role": taken.role, "person": taken.person_id}

    return writing(site_id, now, act)
