"""What only the owner changes, said outright or as a correction; and that there stays an owner."""

from typing import Any

from lathhouse.domain.corrections import root_id, target_id
from lathhouse.errors import LastOwner, OwnersOnly
from lathhouse.store import config
from lathhouse.store.log import Log, event_of
from lathhouse.store.models import Event
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
    sent is one, and a late record that others have overtaken makes nobody less.
    """
    if not any(_may_make_less(event) for event in _about_people(work, added)):
        return {}
    work.lock({LOCK})
    people = config.rows_of_kind(work, "person")
    owners = {person for person, row in people.items() if row.get("role") == "owner"}
    log = Log(work, added)
    if not owners or owners - log.subjects("person") or _makes_owner(log, work.now):
        return {}
    known = {one for person in owners for one in log.links[("person", person)]}
    who = " and ".join(sorted(str(people[person].get("name")) for person in owners))
    says = f"Nobody here would be an owner without {who}. Make somebody else one first, then this."
    less = [event["id"] for event in added if event["id"] in known and _may_make_less(event)]
    return {event_id: LastOwner(says) for event_id in less}


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
