"""What only the owner changes, said outright or as a correction; and that there stays an owner."""

from typing import Any

from lathhouse.domain.corrections import fold_order, root_id, target_id
from lathhouse.errors import LastOwner, OwnersOnly
from lathhouse.store import config
from lathhouse.store.holding import holding
from lathhouse.store.log import Log, event_of
from lathhouse.store.models import Event, Session
from lathhouse.store.work import Work

Data = dict[str, Any]
# A change of who is who, and of what everything is watched by, is the owner's.
OWNERS_KINDS = frozenset(
    "person_changed phone_changed protocol_changed watch_changed nursery_changed"
    " access_changed".split()
)
# Corrections of corrections of … that are followed through the record. Nobody's thumb gets there;
# it bounds what one push may ask of the database. Ours.
CHAIN_MAX = 200
# Held by whoever may make an owner less, so that two owners do not at once leave none.
LOCK = "owners:"


def is_owner(role: str | None) -> bool:
    """Say whether a role changes everything; None is the server itself."""
    return role in ("owner", None)


def owners_only(role: str | None) -> OwnersOnly:
    """Return the refusal of a change that is the owner's."""
    return OwnersOnly(f"A {role}'s phone records what was seen and done. Ask the owner.")


def check_role(event: Data, role: str | None, person: str | None) -> None:
    """Refuse a change of people, phones, watches, protocols or the nursery by anybody but an owner.

    What a worker saw and did is never refused for a role. Everybody changes what is said of
    themselves (how they are reached, their quiet hours), but not what they may do.

    Raises:
        OwnersOnly: the role is smaller.
    """
    if event["kind"] not in OWNERS_KINDS or is_owner(role):
        return
    data = event["data"]
    oneself = event["kind"] == "person_changed" and person is not None and data["id"] == person
    if not (oneself and data.get("role", role) == role):
        raise owners_only(role)


def owners_corrections(work: Work, added: list[Data], role: str | None) -> set[str]:
    """Return the ids of the added corrections that end at something only the owner changes.

    A correction that comes before what it corrects is kept and waits, whoever sent it: refusing it
    when its original arrives would change what the phone was told is stored. To misuse that,
    somebody would have to name the id of an owner's record that no server has shown yet, and ids
    are 74 random bits (RFC 9562 section 5.7).
    """
    corrections = [event for event in added if target_id(event)]
    if is_owner(role) or not corrections:
        return set()
    by_id = {event["id"]: event for event in added}
    unread = _fetch_chains(work, by_id, corrections)
    return {event["id"] for event in corrections if _is_owners(event, by_id, unread)}


def _is_owners(event: Data, by_id: dict[str, Data], unread: set[Any]) -> bool:
    root = root_id(event, by_id)
    if root in unread:
        return True
    return root in by_id and by_id[root]["kind"] in OWNERS_KINDS


def last_owners(work: Work, added: list[Data]) -> dict[str, LastOwner]:
    """Return the refusal of each of these events by which nobody here would be an owner any more.

    An owner is a person whose role says so: they can sign in, and be let in on another phone. A
    shared phone that was paired as an owner's may be lost, and a script is nobody. A batch is
    judged by what it comes to in fold order: who was made less and an owner again before it was
    sent is one, and a late record that others have overtaken makes nobody less. Who was made the
    first by a slip is taken back while a phone of nobody's, paired as an owner's, is let in.
    """
    about = _about_people(work, added)
    waited = _waited_for(work, about)
    less = [event for event in about if event["id"] in waited or _may_make_less(event)]
    if not less or (all(event["kind"] == "voided" for event in less) and _is_let_in(work)):
        return {}
    work.lock({LOCK})
    people = config.rows_of_kind(work, "person")
    owners = {person for person, row in people.items() if row.get("role") == "owner"}
    if not owners or _has_owner(work, about, owners, set()):
        return {}
    who = " and ".join(sorted(str(people[person].get("name")) for person in owners))
    says = f"Nobody here would be an owner without {who}. Make somebody else an owner first, then"
    return {one: LastOwner(f"{says} this.") for one in _fewest(work, about, less, owners)}


def _fewest(work: Work, about: list[Data], less: list[Data], owners: set[str]) -> set[str]:
    """Return the ids, the latest first, without which somebody is an owner still."""
    wrong: set[str] = set()
    for event in sorted(less, key=fold_order, reverse=True):
        wrong.add(event["id"])
        if _has_owner(work, about, owners, wrong):
            break
    # What changes another field, or was overtaken, was no part of it.
    for one in sorted(wrong):
        if _has_owner(work, about, owners, wrong - {one}):
            wrong.remove(one)
    return wrong


def _has_owner(work: Work, about: list[Data], owners: set[str], wrong: set[str]) -> bool:
    """Say whether somebody is an owner by events about people, without those that are refused."""
    log = Log(work, [event for event in about if event["id"] not in wrong])
    return bool(owners - log.subjects("person")) or _makes_owner(log, work.now)


def _is_let_in(work: Work) -> bool:
    """Say whether an owner's phone is let in that is so whoever is an owner among the people."""
    owners = (Session.role == "owner", Session.device_id.is_not(None), Session.proved_id.is_(None))
    return bool(work.rows(Session, *owners, *holding(work)))


def _waited_for(work: Work, about: list[Data]) -> set[str]:
    """Return the ids of those events that a stored correction has waited for."""
    rows = work.rows_in(Event, Event.of_id, {event["id"] for event in about})
    return {row["of_id"] for row in rows}


def may_need_owner(event: Data) -> bool:
    """Say whether an event may make an owner less, as far as it tells by itself."""
    return event["kind"] == "person_changed" or target_id(event) is not None


def _may_make_less(event: Data) -> bool:
    return bool(target_id(event)) or event["data"].get("role") != "owner"


def _about_people(work: Work, added: list[Data]) -> list[Data]:
    """Return those of the added events that change who somebody is, outright or by a correction."""
    corrections = [event for event in added if target_id(event)]
    by_id = {event["id"]: event for event in added}
    if corrections:
        _fetch_chains(work, by_id, corrections)
    roots = ((event, by_id.get(root_id(event, by_id) or "")) for event in corrections)
    said = [event for event in added if event["kind"] == "person_changed"]
    return said + [event for event, root in roots if root and root["kind"] == "person_changed"]


def _makes_owner(log: Log, now: str) -> bool:
    """Say whether one of the people whom the added events are about is an owner by them."""
    rows = (config.row_from_log(log, "person", one, None, now) for one in log.subjects("person"))
    return any(row is not None and row.get("role") == "owner" for row in rows)


def _fetch_chains(work: Work, by_id: dict[str, Data], corrections: list[Data]) -> set[Any]:
    """Bring what corrections lead to into `by_id`; return the ids beyond the longest chain."""
    wanted: set[Any] = {target_id(event) for event in corrections} - by_id.keys()
    for _ in range(CHAIN_MAX):
        found = [event_of(row) for row in work.rows_in(Event, Event.id, wanted)]
        by_id.update({event["id"]: event for event in found})
        wanted = {target_id(event) for event in found if target_id(event)} - by_id.keys()
        if not wanted:
            break
    return wanted
