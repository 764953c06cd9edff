"""Who may come in: bearer tokens, paired phones' sessions, and links that are good once."""

import hashlib
import secrets
from typing import Any

from sqlalchemy import update

from lathhouse.domain.carrying import lesser
from lathhouse.domain.instants import DAY_MS, MINUTE_MS, to_ms, to_text
from lathhouse.errors import BadField
from lathhouse.store import config, phones, record, senders
from lathhouse.store.holding import certain_at, holding
from lathhouse.store.models import Calendar, KnownBrowser, Pairing, PushSubscription, Session, Token
from lathhouse.store.work import Then, Work, by_the_way, looking, writing

Data = dict[str, Any]
ROLES = ("owner", "worker", "viewer", "sensor")
# A phone stays paired while it is in touch once in this time, the longest that a browser keeps a
# cookie (RFC 6265bis, section 5.5). A browser that was opened by a passphrase is forgotten after
# two months without a visit, and after this time whatever happens. Both ours: OWASP ASVS 5.0,
# V7.3.1 and V7.3.2 ask that there be such times, and that they be written down.
SESSION_DAYS = 400
IDLE_DAYS = 60
OWNER_LINK_DAYS = 30
# So much of a token's hash names it on a list; the hash opens nothing. Ours.
ID_LENGTH = 16
LINK_MINUTES = 10


def hashed(secret: str) -> str:
    """Return the hash under which a secret is kept; it is long random text, so a fast one does."""
    return hashlib.sha256(secret.encode(errors="surrogatepass")).hexdigest()


def make_token(site_id: str, name: str, role: str, now: str, then: Then | None = None) -> str:
    """Return a new bearer token of a name that no other one has: who is told of it goes by that.

    Two doors that make one of the same name at once come one after the other.

    Raises:
        BadField: a token that holds has this name.
    """

    def act(work: Work) -> str:
        work.lock({"tokens:"})
        taken = {row["name"].strip().casefold() for row in _tokens_that_hold(work)}
        if name.strip().casefold() in taken:
            says = f"Another token is for {name.strip()} already. Say what this one is for"
            raise BadField(f"{says} in other words.", field="name")
        return _add_token(work, name, role)

    return writing(site_id, now, act, then)


def add_token(site_id: str, name: str, role: str, now: str) -> str:
    """Return a new bearer token, whatever others are called, and say nothing of it in the log."""
    return writing(site_id, now, lambda work: _add_token(work, name, role))


def _add_token(work: Work, name: str, role: str) -> str:
    """Return the secret of a new token; only its hash is kept."""
    secret = f"lth_{secrets.token_urlsafe(32)}"
    row = {"hash": hashed(secret), "name": name, "role": role, "made_at": work.now}
    work.insert(Token, [{**row, "revoked_at": None, "used_at": None}])
    return secret


def _tokens_that_hold(work: Work) -> list[Data]:
    return work.rows(Token, Token.revoked_at.is_(None))


def list_tokens(site_id: str, now: str) -> list[Data]:
    """Return {id, name, role, made_at, used_at} of the tokens that hold, never the tokens.

    `id` is the beginning of the hash; `used_at` is as of the first use on that day.
    """

    def act(work: Work) -> list[Data]:
        names = ("name", "role", "made_at", "used_at")
        return [
            {"id": row["hash"][:ID_LENGTH], **{name: row[name] for name in names}}
            for row in _tokens_that_hold(work)
        ]

    return sorted(looking(site_id, now, act), key=lambda row: (row["made_at"], row["name"]))


def tokens_meant(site_id: str, said: str, now: str) -> list[Data]:
    """Return the tokens that somebody means by an id or a name: older records may have namesakes.

    The id goes first, so that no token is out of reach because another's name is its id.
    """
    rows = list_tokens(site_id, now)
    by_id = [row for row in rows if row["id"] == said]
    return by_id or [row for row in rows if row["name"] == said]


def revoke_token(site_id: str, token_id: str, now: str, then: Then | None = None) -> Data | None:
    """Revoke the token of an id; return its {name}, or None where none holds."""

    def act(work: Work) -> Data | None:
        rows = work.rows(Token, Token.hash.startswith(token_id, autoescape=True))
        if len(rows) != 1 or rows[0]["revoked_at"] is not None:
            return None
        done: Any = work.connection.execute(
            update(Token)
            .where(Token.site_id == work.site_id, Token.hash == rows[0]["hash"])
            .where(Token.revoked_at.is_(None))
            .values(revoked_at=work.now)
        )
        # Another door was first: it says so in the log, once.
        return {"name": rows[0]["name"]} if done.rowcount else None

    return writing(site_id, now, act, then) if len(token_id) == ID_LENGTH else None


def by_token(site_id: str, secret: str, now: str) -> Data | None:
    """Return {role, name, token (its id), person, device} of a token's bearer, or None."""
    hash = hashed(secret)

    def act(work: Work) -> Data | None:
        rows = work.rows(Token, Token.hash == hash, Token.revoked_at.is_(None))
        return rows[0] if rows else None

    row = looking(site_id, now, act)
    if row is None:
        return None
    if (row["used_at"] or "")[:10] != now[:10]:
        by_the_way(site_id, now, lambda work: _use(work, hash))
    known = {"role": row["role"], "name": row["name"], "by": "token", "token": hash[:ID_LENGTH]}
    return known | {"person": None, "device": None, "proved": None}


def _use(work: Work, hash: str) -> None:
    work.connection.execute(
        update(Token)
        .where(Token.site_id == work.site_id, Token.hash == hash)
        .values(used_at=work.now)
    )


def by_session(site_id: str, secret: str, now: str) -> Data | None:
    """Return {role, name, person, device, proved} of a session's phone, or None.

    `proved` is whose the phone surely is, `person` who carries it. A person whose role was made
    smaller may no more on any phone of theirs.
    """

    def act(work: Work) -> Data | None:
        rows = work.rows(Session, Session.hash == hashed(secret), *holding(work))
        if not rows:
            return None
        row = rows[0]
        return {
            "role": _role_of(work, row),
            "name": None,
            "person": row["person_id"],
            "device": row["device_id"],
            "proved": row["proved_id"],
            "by_passphrase": row["by_passphrase"] is True,
            "made_at": row["made_at"],
            "seen_today": (row["seen_at"] or "")[:10] == certain_at(work)[:10],
            "by": "session",
        }

    found = looking(site_id, now, act)
    if found and not found["seen_today"]:
        by_the_way(site_id, now, lambda work: _see(work, hashed(secret)))
    return found


def _see(work: Work, session: str) -> None:
    """Note that a session is in use today, and let it live on."""
    certain = certain_at(work)
    for row in work.rows(Session, Session.hash == session):
        # Begun since, by a clock that nobody has trusted yet: from there on, at least.
        today = max(certain, min(row["made_at"], work.now))
        ends = to_ms(today) + SESSION_DAYS * DAY_MS
        if row["by_passphrase"]:
            idle = to_ms(today) + IDLE_DAYS * DAY_MS
            ends = min(idle, to_ms(row["made_at"]) + SESSION_DAYS * DAY_MS)
        work.connection.execute(
            update(Session)
            .where(Session.site_id == work.site_id, Session.hash == session)
            .values(seen_at=today, expires_at=to_text(ends))
        )


def begin_session(
    work: Work,
    role: str,
    person: str | None,
    device: str | None,
    *,
    by_passphrase: bool = False,
) -> str:
    """Return the cookie of a new session; its id was never another's."""
    secret = secrets.token_urlsafe(32)
    days = IDLE_DAYS if by_passphrase else SESSION_DAYS
    row = {
        "hash": hashed(secret),
        "device_id": device,
        "person_id": person,
        "proved_id": person,
        "by_passphrase": by_passphrase,
        "role": role,
        "made_at": work.now,
        "seen_at": work.now,
        "expires_at": to_text(to_ms(work.now) + days * DAY_MS),
        "revoked_at": None,
    }
    work.insert(Session, [row])
    return secret


def end_session(work: Work, secret: str | None, *, heir: str | None = None) -> None:
    """End the session of a cookie; where a new one takes its place, its phone's messages go on.

    Args:
        heir: the new session's cookie.
    """
    if not secret:
        return
    old = hashed(secret)
    if heir:
        work.connection.execute(
            update(PushSubscription)
            .where(PushSubscription.site_id == work.site_id, PushSubscription.session_hash == old)
            .values(session_hash=hashed(heir))
        )
    end_sessions(work, Session.hash == old)


def sign_out(
    site_id: str, cookie: str, now: str, *, everywhere: bool, then: Then | None = None
) -> int:
    """End this session, or every one of its person; return how many. What is unsent stays there.

    The addresses of calendars that those phones made end with them.
    """

    def act(work: Work) -> int:
        (mine,) = work.rows(Session, Session.hash == hashed(cookie))
        which = Session.hash == mine["hash"]
        if everywhere and mine["proved_id"]:
            which = Session.proved_id == mine["proved_id"]
        ended = work.rows(Session, which, Session.revoked_at.is_(None))
        devices = [row["device_id"] for row in ended if row["device_id"]]
        work.delete(Calendar, Calendar.device_id.in_(devices))
        return end_sessions(work, which)

    return writing(site_id, now, act, then)


def end_sessions(work: Work, *which: Any) -> int:
    """End the sessions of which all this is true; return how many there were."""
    done: Any = work.connection.execute(
        update(Session)
        .where(Session.site_id == work.site_id, Session.revoked_at.is_(None), *which)
        .values(revoked_at=work.now)
    )
    return int(done.rowcount)


def list_phones(site_id: str, now: str) -> list[Data]:
    """Return the paired phones, last in touch first: {id, name, person, role, paired_at,
    last_sync_at, cut_off_at, cloned_since, lets_in}; `lets_in` while a session of it holds."""

    def act(work: Work) -> list[Data]:
        open_to = {row["device_id"] for row in work.rows(Session, *holding(work))}
        paired = {row["device_id"] for row in work.rows(Session, Session.device_id.is_not(None))}
        rows = [phones.phone_of(work, device) for device in sorted(paired)]
        said = ("id", "name", "person", "role")
        when = ("paired_at", "last_sync_at", "cut_off_at", "cloned_since")
        return [
            {**{name: row.get(name) for name in said + when}, "lets_in": row["id"] in open_to}
            for row in rows
        ]

    found = looking(site_id, now, act)
    return sorted(found, key=lambda row: (row["last_sync_at"] or "", row["id"]), reverse=True)


def known_phone(work: Work, device: str) -> Data | None:
    """Return the row of a device that was ever in touch or paired here, or None."""
    row = config.data_of(work, "phone", device)
    if row is not None:
        return row
    paired = work.rows(Session, Session.device_id == device)
    newest = max(paired, key=lambda one: one["made_at"], default=None)
    if newest is None:
        return None
    known = {"role": newest["role"], "person": newest["person_id"]}
    return phones.new_phone(device, newest["made_at"]) | known


def cut_off(site_id: str, device: str, now: str, then: Then | None = None) -> bool:
    """End every session of a phone; say whether there was one. What it holds unsent stays on it.

    So end the calendars' addresses that it made, whoever they are for: whoever has it knows them.
    So do the tries of their own of browsers that its people were known in: it may be one of them.
    """

    def act(work: Work) -> bool:
        # As pairing does, first: a pairing under way has come to its session, or comes after.
        work.lock({f"phone:{device}"})
        work.delete(Calendar, Calendar.device_id == device)
        holds = (Session.device_id == device, Session.revoked_at.is_(None))
        people = {row["proved_id"] for row in work.rows(Session, *holds)} - {None}
        work.delete(KnownBrowser, KnownBrowser.person_id.in_(people))
        return bool(end_sessions(work, Session.device_id == device))

    return writing(site_id, now, act, then)


def sign_in_visitor(site_id: str, now: str) -> str:
    """Return the cookie of a demo's visitor, who is its owner."""
    return writing(site_id, now, lambda work: begin_session(work, "owner", None, None))


def make_link(
    site_id: str,
    role: str,
    person: str | None,
    now: str,
    minutes: int,
    purpose: str | None = None,
    then: Then | None = None,
) -> str:
    """Return the secret of a link that pairs one phone, once; or that serves another purpose."""

    def act(work: Work) -> str:
        return _new_link(work, role, person, minutes, purpose)

    return writing(site_id, now, act, then)


def _new_link(
    work: Work, role: str, person: str | None, minutes: int, purpose: str | None = None
) -> str:
    secret = secrets.token_urlsafe(24)
    expires = to_text(to_ms(work.now) + minutes * MINUTE_MS)
    row = {"hash": hashed(secret), "role": role, "person_id": person, "made_at": work.now}
    more = {"expires_at": expires, "used_at": None, "tries": 0, "purpose": purpose}
    work.insert(Pairing, [{**row, **more}])
    return secret


def owner_link(site_id: str, now: str) -> str | None:
    """Return the secret of a first owner's link, or None where an owner's phone was paired already.

    An owner's script is no owner, and neither is a demo's visitor, who has no phone of his own.
    Earlier such links, which nobody opened, are good no more.
    """

    return None if looking(site_id, now, _has_owner) else another_owner_link(site_id, now)


def another_owner_link(site_id: str, now: str, then: Then | None = None) -> str:
    """Return the secret of a new owner's link, in place of those that nobody opened."""

    def act(work: Work) -> str:
        _close_owner_links(work)
        return _new_link(work, "owner", None, OWNER_LINK_DAYS * 24 * 60)

    return writing(site_id, now, act, then)


def _has_owner(work: Work) -> bool:
    """Say whether a phone is let in that is an owner's still: its person may have become less."""
    owners = (Session.role == "owner", Session.device_id.is_not(None))
    rows = work.rows(Session, *owners, *holding(work))
    return any(_role_of(work, row) == "owner" for row in rows)


def _role_of(work: Work, session: Data) -> str:
    proved = session["proved_id"]
    whose = config.data_of(work, "person", proved) if proved else None
    return lesser(session["role"], (whose or {}).get("role"))


def _close_owner_links(work: Work) -> None:
    work.connection.execute(
        update(Pairing)
        .where(Pairing.site_id == work.site_id, Pairing.role == "owner", Pairing.used_at.is_(None))
        .where(Pairing.purpose.is_(None))
        # Its end stays as it was: by a clock that runs ahead, now is later than many an end.
        .values(used_at=work.now)
    )


def only_write(work: Work, found: Data) -> None:
    """Write the row of a phone that was let in, and say nothing of it in the log."""
    record.append(work, [], None, [found["row"]])


def redeem(
    site_id: str,
    secret: str,
    device: str,
    name: str | None,
    now: str,
    before: str | None = None,
    then: Then = only_write,
) -> Data | None:
    """Pair a phone: return {cookie, role, person, row}, or None where the link is good no more.

    Args:
        device: the phone's own id; from now on its silence is noticed.
        name: what people call it.
        before: the cookie that it had; the session of that ends.
        then: writes the phone's `row`.

    Raises:
        NotAllowed: this id is a phone's that is let in as another person's; the link stays good.
    """

    def act(work: Work) -> Data | None:
        work.lock({f"phone:{device}"})
        taken = take_link(work, secret, None)
        if taken is None:
            return None
        role, person = taken["role"], taken["person"]
        senders.check_free(work, device, person, hashed(before or ""), role)
        return {**let_in(work, role, person, device, name, before), **taken}

    # Looked up by reading first: a wrong secret holds up nobody who writes.
    if not looking(site_id, now, lambda work: _good_links(work, secret, None)):
        return None
    return writing(site_id, now, act, then)


def take_link(work: Work, secret: str, purpose: str | None) -> Data | None:
    """Use up a link: return its {role, person}, or None where it is good no more for this."""
    taken = work.connection.execute(
        update(Pairing)
        .where(Pairing.site_id == work.site_id, Pairing.hash == hashed(secret))
        .where(*good_link(work))
        .where(Pairing.purpose.is_(None) if purpose is None else Pairing.purpose == purpose)
        .values(used_at=work.now)
        .returning(Pairing.role, Pairing.person_id)
    ).first()
    return None if taken is None else {"role": taken.role, "person": taken.person_id}


def link_of(work: Work, secret: str, purpose: str) -> str | None:
    """Return whom a link is for that is still good, and leave it good."""
    rows = _good_links(work, secret, purpose)
    return rows[0]["person_id"] if rows else None


def _good_links(work: Work, secret: str, purpose: str | None) -> list[Data]:
    which = Pairing.purpose.is_(None) if purpose is None else Pairing.purpose == purpose
    return work.rows(Pairing, Pairing.hash == hashed(secret), *good_link(work), which)


def good_link(work: Work) -> tuple[Any, ...]:
    """Return what is true of a link that is good: one that lies ahead was a wrong clock's."""
    soon = to_text(to_ms(work.now) + MINUTE_MS)
    return (Pairing.used_at.is_(None), Pairing.expires_at > work.now, Pairing.made_at <= soon)


def let_in(
    work: Work,
    role: str,
    person: str | None,
    device: str,
    name: str | None,
    before: str | None,
    *,
    by_passphrase: bool = False,
) -> Data:
    """Begin a device's session in place of the one it had; return {cookie, row}.

    The row is the device's own, still to be written: with what the log says of it, in one append.
    """
    cookie = begin_session(work, role, person, device, by_passphrase=by_passphrase)
    end_session(work, before, heir=cookie)
    phone = phones.phone_of(work, device)
    # Its twin came with the cookie that they shared, and comes no more.
    if len(work.rows(Session, Session.device_id == device, *holding(work))) == 1:
        phone["cloned_since"] = None
    # A computer that somebody signs in on is not missed when it is silent; a paired phone is.
    silent = by_passphrase and (phone["last_sync_at"] is None or phone["silent_ok"])
    known = {"role": role, "person": person, "silent_ok": silent}
    contact = {"paired_at": work.now, "last_sync_at": work.now, "name": name or phone["name"]}
    return {"cookie": cookie, "row": {**phone, **known, **contact}}
