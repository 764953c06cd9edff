"""A person's name is theirs alone: people sign in by it, and records are read by it."""

from typing import Any

from lathhouse.domain.passphrases import folded
from lathhouse.errors import BadField
from lathhouse.store import config
from lathhouse.store.work import Work

Data = dict[str, Any]
LOCK = "names"


def sets_name(event: Data) -> bool:
    """Say whether an event gives a person a name."""
    return event["kind"] == "person_changed" and isinstance(event["data"].get("name"), str)


def taken_names(work: Work, added: list[Data]) -> dict[str, BadField]:
    """Return the refusal of each of these events that gives a person somebody else's name.

    Names are one where people read them as one: whatever their case, spaces and signs. Who has had
    a double's name until now keeps it.
    """
    changes = [event for event in added if sets_name(event)]
    people = config.rows_of_kind(work, "person") if changes else {}
    names = {person: _read(str(row.get("name"))) for person, row in people.items()}
    refused = {}
    for event in changes:
        person, name = event["data"]["id"], event["data"]["name"]
        mine = _read(name)
        others = {one for who, one in names.items() if who != person}
        if names.get(person) != mine and mine in others:
            says = f"Somebody else here is called {name}. Choose a name that tells you apart."
            refused[event["id"]] = BadField(says, field="data.name")
        else:
            names[person] = mine
    return refused


def _read(name: str) -> str:
    return folded(name) or name.strip()
