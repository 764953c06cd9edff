"""What only the owner changes, said outright or as a correction of what was said before."""

from typing import Any

from lathhouse.domain.corrections import root_id, target_id
from lathhouse.errors import OwnersOnly
from lathhouse.store.log import event_of
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
