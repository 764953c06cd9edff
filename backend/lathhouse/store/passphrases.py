"""People's passphrases: set, changed, tried at sign-in; and the browsers that were let in."""

import secrets
import threading
from functools import cache
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from lathhouse.domain.carrying import UNSAID
from lathhouse.domain.passphrases import folded, normalised, refusal
from lathhouse.errors import BadField
from lathhouse.store import access, config, senders
from lathhouse.store.models import KnownBrowser, Passphrase, Session
from lathhouse.store.work import Then, Work, looking, writing

Data = dict[str, Any]
# Argon2id, RFC 9106. OWASP's Password Storage Cheat Sheet asks for at least 19 MiB with two passes
# and one lane; here it is 32 MiB, which a cheap computer does in a fraction of a second. A hash of
# other parameters is made anew at the next sign-in.
HASHER = PasswordHasher(time_cost=2, memory_cost=32 * 1024, parallelism=1)
LINK_MINUTES = 60
PURPOSE = "passphrase"
# Browsers of one person that are remembered, the latest ones.
KNOWN_MOST = 20
# People of one name whose passphrases are tried; each try takes its work. Ours.
NAMESAKES_MOST = 3


# Each takes its memory: a crowd at the door waits, and does not fill the machine.
AT_ONCE = threading.BoundedSemaphore(2)


@cache
def _nobodys() -> str:
    """Return a hash that no passphrase has: trying it costs what trying a real one does."""
    return HASHER.hash(secrets.token_urlsafe(32))


def _is_right(kept: str | None, text: str) -> bool:
    try:
        with AT_ONCE:
            right = HASHER.verify(kept or _nobodys(), _bytes(text))
    except (VerificationError, InvalidHashError):
        return False
    return right and kept is not None


def _hash_of(text: str) -> str:
    with AT_ONCE:
        return HASHER.hash(_bytes(text))


def _bytes(text: str) -> bytes:
    return normalised(text).encode(errors="surrogatepass")


def people_called(work: Work, name: str) -> list[Data]:
    """Return who has a name, whatever its case: older records may have two of one."""
    found = config.rows_of_kind(work, "person").items()
    return [row | {"id": one} for one, row in found if folded(str(row.get("name"))) == folded(name)]


def _kept(work: Work, person: str) -> Data | None:
    rows = work.rows(Passphrase, Passphrase.person_id == person)
    return rows[0] if rows else None


def check_new(site_id: str, person: str, text: str, now: str) -> None:
    """Refuse a passphrase that is too short, or guessed first.

    Raises:
        BadField: in a sentence, why.
    """

    def names(work: Work) -> list[str]:
        whose = config.data_of(work, "person", person) or {}
        nurseries = config.rows_of_kind(work, "nursery").values()
        return [str(row["name"]) for row in (whose, *nurseries) if row.get("name")]

    says = refusal(text, looking(site_id, now, names))
    if says:
        raise BadField(says, field="new")


def keep(work: Work, person: str, hashed: str, *, but: str | None = None) -> None:
    """Keep a new passphrase; browsers that an earlier one opened are signed out, but one."""
    row = {"person_id": person, "hash": hashed, "set_at": work.now}
    work.upsert(Passphrase, [row], ("person_id",))
    opened = (Session.proved_id == person, Session.by_passphrase.is_(True))
    others = (Session.hash != access.hashed(but),) if but else ()
    access.end_sessions(work, *opened, *others)


def change(
    site_id: str,
    person: str,
    old: str | None,
    new: str,
    cookie: str,
    now: str,
    then: Then | None = None,
) -> bool:
    """Set a person's passphrase, or change it; False where the old one is not right.

    Raises:
        BadField: the new one is not taken.
    """
    kept = looking(site_id, now, lambda work: _kept(work, person))
    if kept and not _is_right(kept["hash"], old or ""):
        return False
    check_new(site_id, person, new, now)
    fresh = _hash_of(new)

    def act(work: Work) -> bool:
        if _kept(work, person) != kept:
            return False
        keep(work, person, fresh, but=cookie)
        return True

    return writing(site_id, now, act, then)


def is_set(site_id: str, person: str | None, now: str) -> bool:
    """Say whether a person has a passphrase."""
    return bool(person) and looking(site_id, now, lambda work: _kept(work, str(person))) is not None


def sign_in(
    site_id: str, said: Data, before: str | None, now: str, then: Then = access.only_write
) -> Data | None:
    """Sign a person in: return {cookie, role, person, known, row}, or None where anything is wrong.

    An unknown name, a person without a passphrase and a wrong one take the same work and get the
    same answer. Of two people of one name it is whose passphrase it is.

    Args:
        said: `{name, passphrase, device, phone}`.
        before: the cookie of the browser's earlier session, which ends.
        then: writes the browser's `row`.
    """

    def find(work: Work) -> list[tuple[Data, Data | None]]:
        return [(one, _kept(work, one["id"])) for one in people_called(work, said["name"])]

    found = looking(site_id, now, find)
    tried = [(one, kept) for one, kept in found if kept][:NAMESAKES_MOST]
    right = [(one, kept) for one, kept in tried if _is_right(kept["hash"], said["passphrase"])]
    if not tried:
        _is_right(None, said["passphrase"])
    if len(right) != 1:
        return None
    whose, kept = right[0]
    old = HASHER.check_needs_rehash(kept["hash"])
    fresh = _hash_of(said["passphrase"]) if old else kept["hash"]

    def act(work: Work) -> Data | None:
        if _kept(work, whose["id"]) != kept:
            return None
        if old:
            work.upsert(Passphrase, [{**_without_site(kept), "hash": fresh}], ("person_id",))
        return let_in(work, whose, said, before)

    return writing(site_id, now, act, then)


def let_in(work: Work, person: Data, said: Data, before: str | None) -> Data:
    """Begin the session of a person's browser; return {cookie, role, person, known, row}."""
    role = person.get("role") or UNSAID
    device = said["device"]
    senders.check_free(work, device, person["id"], access.hashed(before or ""))
    begun = access.let_in(
        work, role, person["id"], device, said.get("phone"), before, by_passphrase=True
    )
    return {**begun, "role": role, "person": person["id"], "known": know(work, person["id"])}


def know(work: Work, person: str) -> str:
    """Return the cookie by which a browser is known as one of a person's; it opens nothing."""
    secret = secrets.token_urlsafe(32)
    row = {"hash": access.hashed(secret), "person_id": person, "made_at": work.now}
    work.insert(KnownBrowser, [row])
    rows = work.rows(KnownBrowser, KnownBrowser.person_id == person)
    old = sorted(rows, key=lambda one: str(one["made_at"]))[:-KNOWN_MOST]
    work.delete(KnownBrowser, KnownBrowser.hash.in_([one["hash"] for one in old]))
    return secret


def is_known(site_id: str, cookie: str | None, name: str, now: str) -> bool:
    """Say whether a browser is one in which the person of this name was once signed in."""

    def act(work: Work) -> bool:
        called = {one["id"] for one in people_called(work, name)}
        hashed = access.hashed(cookie or "")
        rows = work.rows(KnownBrowser, KnownBrowser.hash == hashed)
        return bool(rows) and rows[0]["person_id"] in called

    return bool(cookie) and looking(site_id, now, act)


def reset(
    site_id: str,
    secret: str,
    new: str,
    said: Data,
    before: str | None,
    now: str,
    then: Then = access.only_write,
) -> Data | None:
    """Set a passphrase by an owner's one-time link, and sign in; None where it is good no more.

    Raises:
        BadField: the new one is not taken; the link stays good.
    """

    def act(work: Work) -> Data | None:
        taken = access.take_link(work, secret, PURPOSE)
        whose = config.data_of(work, "person", taken["person"]) if taken else None
        if taken is None or whose is None:
            return None
        keep(work, taken["person"], fresh)
        return let_in(work, whose | {"id": taken["person"]}, said, before)

    person = looking(site_id, now, lambda work: access.link_of(work, secret, PURPOSE))
    if person is None:
        return None
    check_new(site_id, person, new, now)
    fresh = _hash_of(new)
    return writing(site_id, now, act, then)


def _without_site(row: Data) -> Data:
    return {name: value for name, value in row.items() if name != "site_id"}
