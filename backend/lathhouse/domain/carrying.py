"""Whose phone this may be said to be: nobody takes on the messages of somebody who may do more."""

from typing import Any

# From the one who may do least. A person whose role was never said works here.
ROLES = ("viewer", "worker", "owner")
UNSAID = "worker"


def may_carry(role: str | None, person: dict[str, Any]) -> bool:
    """Say whether a phone of that role may be said to be carried by a person."""
    own = ROLES.index(role) if role in ROLES else -1
    said = person.get("role")
    return own >= ROLES.index(said if said in ROLES else UNSAID)


def lesser(one: str, other: str | None) -> str:
    """Return the role of the two that may do less; None says nothing."""
    if other not in ROLES or one not in ROLES:
        return one
    return min(one, other, key=ROLES.index)
