"""Who can be reached, and where: phones' push subscriptions, and people's addresses."""

import base64
import binascii
import hashlib
import ipaddress
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import update

from lathhouse.domain.carrying import may_carry
from lathhouse.errors import BadField, NotAllowed
from lathhouse.store import config
from lathhouse.store.holding import holding
from lathhouse.store.models import PushSubscription, Session
from lathhouse.store.work import Row, Then, Work, looking, writing

Data = dict[str, Any]
ENDPOINT_MAX = 2000
# A person has a few phones; more live subscriptions than this are somebody's mistake.
PER_SESSION_MAX, PER_SITE_MAX = 5, 200
P256DH_BYTES, AUTH_BYTES = 65, 16
GLOBAL_UNICAST = ipaddress.ip_network("2000::/3")
SIX_TO_FOUR = ipaddress.ip_network("2002::/16")


def check_endpoint(endpoint: Any) -> str:
    """Return an endpoint that may be sent to, as far as its text tells.

    The server sends to it by itself, so that it must not be led to a machine of the inner network
    (server-side request forgery): https only, no sign-in in it, no bare inner address. What its
    name resolves to is looked at again when something is sent.

    Raises:
        BadField: it is none.
    """
    says = "endpoint must be the https address that the browser gave"
    if not isinstance(endpoint, str) or not 0 < len(endpoint) <= ENDPOINT_MAX:
        raise BadField(f"{says}, of at most {ENDPOINT_MAX} characters.", field="endpoint")
    if not endpoint.isascii() or any(one <= " " for one in endpoint):
        raise BadField(f"{says}, without spaces.", field="endpoint")
    try:
        parts = urlsplit(endpoint)
        right = parts.scheme == "https" and parts.hostname and not parts.username
        right = right and (parts.port is None or parts.port > 0)
    except ValueError as error:
        raise BadField(f"{says}.", field="endpoint") from error
    if not right:
        raise BadField(f"{says}.", field="endpoint")
    return endpoint


def is_public(address: str) -> bool:
    """Say whether an IP address is one of the open internet, and not of some inner network.

    An IPv6 address that carries an IPv4 one in it leads wherever that one does, and Python
    does not know them all: what is not given out as global unicast, 2000::/3 (RFC 4291
    section 2.4), is refused whole, with translated (64:ff9b::/96, RFC 6052), compatible (::/96) and
    site-local (fec0::/10) addresses; so is 6to4, 2002::/16 (RFC 3056), which lies within it.
    """
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    ip = getattr(ip, "ipv4_mapped", None) or ip
    given_out = ip.version == 4 or (ip in GLOBAL_UNICAST and ip not in SIX_TO_FOUR)
    return given_out and ip.is_global and not ip.is_multicast


def check_key(keys: Any, name: str, length: int) -> str:
    """Return a key of a subscription in base64url.

    Raises:
        BadField: it has another length, or is no base64url.
    """
    text = keys.get(name) if isinstance(keys, dict) else None
    try:
        padded = str(text).rstrip("=") + "=" * (-len(str(text).rstrip("=")) % 4)
        right = isinstance(text, str) and len(base64.urlsafe_b64decode(padded)) == length
    except (binascii.Error, ValueError, UnicodeEncodeError):
        right = False
    if not right:
        raise BadField(f"keys.{name} must be {length} bytes in base64url.", field=f"keys.{name}")
    return str(text).rstrip("=")


def subscribe(site_id: str, session_hash: str, body: Data, now: str) -> str:
    """Keep where a phone takes messages; return the subscription's id.

    Raises:
        BadField: it cannot be right.
        NotAllowed: this phone, or the nursery, has too many.
    """
    endpoint = check_endpoint(body.get("endpoint"))
    name = hashlib.sha256(endpoint.encode()).hexdigest()
    row = {
        "id": name,
        "session_hash": session_hash,
        "endpoint": endpoint,
        "p256dh": check_key(body.get("keys"), "p256dh", P256DH_BYTES),
        "auth": check_key(body.get("keys"), "auth", AUTH_BYTES),
        "made_at": now,
        "dropped_at": None,
        "why": None,
    }

    def act(work: Work) -> str:
        work.lock(["subscriptions"])
        live = work.rows(PushSubscription, PushSubscription.dropped_at.is_(None))
        others = [one for one in live if one["id"] != name]
        mine = [one for one in others if one["session_hash"] == session_hash]
        if len(mine) >= PER_SESSION_MAX or len(others) >= PER_SITE_MAX:
            raise NotAllowed("Too many phones take messages already; switch some off first.")
        work.upsert(PushSubscription, [row], ("id",))
        return name

    return writing(site_id, now, act)


def drop(work: Work, ids: list[str], why: str) -> None:
    """Send to these no more: the browser gave them up, or a person did."""
    work.connection.execute(
        update(PushSubscription)
        .where(PushSubscription.site_id == work.site_id, PushSubscription.id.in_(ids))
        .where(PushSubscription.dropped_at.is_(None))
        .values(dropped_at=work.now, why=why)
    )


def unsubscribe(site_id: str, session_hash: str, subscription: str, now: str) -> None:
    """A phone wants no more messages; only its own session can say so."""

    def act(work: Work) -> None:
        rows = work.rows(PushSubscription, PushSubscription.id == subscription)
        drop(work, [row["id"] for row in rows if row["session_hash"] == session_hash], "off")

    writing(site_id, now, act)


def recipient_of(person: str | None, device: str | None, session_hash: str) -> str:
    """Return whom a session's messages are for: its person, else its phone, else itself."""
    if person:
        return f"person:{person}"
    return f"device:{device}" if device else f"session:{session_hash[:16]}"


def live_subscriptions(work: Work) -> dict[str, list[Row]]:
    """Return {recipient: subscriptions} of all whose session still holds, with its role."""
    rows = work.rows(PushSubscription, PushSubscription.dropped_at.is_(None))
    hashes = {row["session_hash"] for row in rows}
    held = work.rows_in(Session, Session.hash, hashes, *holding(work))
    sessions = {row["hash"]: row for row in held}
    found: dict[str, list[Row]] = {}
    for row in rows:
        session = sessions.get(row["session_hash"])
        if session is None:
            continue
        whose = recipient_of(session["person_id"], session["device_id"], session["hash"])
        kept = {**row, "role": session["role"], "device_id": session["device_id"]}
        found.setdefault(whose, []).append(kept)
    return found


def reachable(work: Work) -> list[Data]:
    """Return who can be told, as `domain.reaching` takes them, with `recipient` and `channels`.

    A person by push where one of their phones takes it, by mail where they have an address and want
    it. A phone that nobody carries is told for itself: the owner's first phone names nobody yet.
    """
    phones = live_subscriptions(work)
    people = config.rows_of_kind(work, "person")
    found: list[Data] = []
    for name, row in people.items():
        wants = row.get("reach") or {}
        recipient = f"person:{name}"
        channels = ["push"] if recipient in phones and wants.get("push") is not False else []
        channels += ["mail"] if row.get("email") and wants.get("mail") is True else []
        if channels:
            found.append({**row, "recipient": recipient, "channels": channels})
    known = {f"person:{name}" for name in people}
    for recipient, rows in phones.items():
        if recipient not in known:
            role = rows[0]["role"]
            order = 0 if role == "owner" and not people else None
            one = {"id": recipient, "name": recipient, "order": order, "role": role}
            found.append({**one, "recipient": recipient, "channels": ["push"]})
    return found


def set_person(
    site_id: str,
    session_hash: str,
    role: str,
    person: str | None,
    now: str,
    then: Then | None = None,
) -> bool:
    """Say who carries this phone; its messages are theirs from now on. Say whether that is new.

    Args:
        then: puts it on record, where it is new.

    Raises:
        BadField: there is no such person.
        NotAllowed: they may do more than this phone may.
    """

    def act(work: Work) -> bool:
        if person is not None:
            _check_carrier(role, config.data_of(work, "person", person))
        # First, as cutting off and pairing do, which then come to the session too.
        mine = work.rows(Session, Session.hash == session_hash)
        work.lock({f"phone:{row['device_id']}" for row in mine if row["device_id"]})
        done: Any = work.connection.execute(
            update(Session)
            .where(Session.site_id == site_id, Session.hash == session_hash)
            .where(Session.person_id.is_distinct_from(person))
            .values(person_id=person)
        )
        return bool(done.rowcount)

    return writing(site_id, now, act, then)


def _check_carrier(role: str, person: Data | None) -> None:
    if person is None:
        raise BadField("There is no such person; add them first.", field="person")
    if not may_carry(role, person):
        says = f"This phone is a {role}'s. Pair it for {person['name']} by a link of the owner's."
        raise NotAllowed(says)


def own_subscriptions(site_id: str, session_hash: str, now: str) -> list[str]:
    """Return the ids of this session's subscriptions that are in use."""

    def act(work: Work) -> list[str]:
        mine = (
            PushSubscription.session_hash == session_hash,
            PushSubscription.dropped_at.is_(None),
        )
        return [row["id"] for row in work.rows(PushSubscription, *mine)]

    return looking(site_id, now, act)
