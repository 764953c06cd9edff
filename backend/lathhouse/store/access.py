"""Who may come in: bearer tokens, paired phones' sessions, and links that are good once."""

import hashlib
import secrets
from typing import Any

from sqlalchemy import select, update

from lathhouse.domain.instants import DAY_MS, MINUTE_MS, to_ms, to_text
from lathhouse.store.models import Pairing, Session, Token
from lathhouse.store.work import Work, looking, writing

Data = dict[str, Any]
ROLES = ("owner", "worker", "viewer", "sensor")
SESSION_DAYS = 400
OWNER_LINK_DAYS = 30
LINK_MINUTES = 10


def hashed(secret: str) -> str:
    """Return the hash under which a secret is kept; it is long random text, so a fast one does."""
    return hashlib.sha256(secret.encode()).hexdigest()


def add_token(site_id: str, name: str, role: str, now: str) -> str:
    """Return a new bearer token; only its hash is kept."""
    secret = f"lth_{secrets.token_urlsafe(32)}"

    def act(work: Work) -> str:
        row = {"hash": hashed(secret), "name": name, "role": role, "made_at": now}
        work.insert(Token, [{**row, "revoked_at": None}])
        return secret

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
    """Return the secret of a first owner's link, or None where an owner has been already."""

    def has_owner(work: Work) -> bool:
        owners = work.rows(Session, Session.role == "owner")
        return bool(owners or work.rows(Token, Token.role == "owner"))

    if looking(site_id, now, has_owner):
        return None
    return make_link(site_id, "owner", None, now, OWNER_LINK_DAYS * 24 * 60)


def redeem(site_id: str, secret: str, device: str | None, now: str) -> tuple[str, str] | None:
    """Return (cookie, role) for a link's secret, or None where it is unknown, used or too old."""

    def act(work: Work) -> tuple[str, str] | None:
        fresh = (Pairing.used_at.is_(None), Pairing.expires_at > now)
        taken = work.connection.execute(
            update(Pairing)
            .where(Pairing.site_id == site_id, Pairing.hash == hashed(secret), *fresh)
            .values(used_at=now)
            .returning(Pairing.role, Pairing.person_id)
        ).first()
        if taken is None:
            return None
        return begin_session(work, taken.role, taken.person_id, device), taken.role

    return writing(site_id, now, act)


def list_tokens(site_id: str, now: str) -> list[Data]:
    """Return the names and roles of the tokens, never the tokens."""

    def act(work: Work) -> list[Data]:
        query = select(Token.name, Token.role, Token.made_at, Token.revoked_at)
        rows = work.connection.execute(query.where(Token.site_id == site_id)).mappings()
        return [dict(row) for row in rows]

    return looking(site_id, now, act)
