"""Random values for every field of every event kind, out of the schemas that the door checks by."""

import random
from typing import Any

from lathhouse.sync import fields
from lathhouse.sync.shapes import KINDS

INSTANTS = ("2026-02-01T08:00:00+11:00", "2026-05-01T00:00:00Z", "1999-12-31T23:59:60Z")
DAYS = ("2026-02-01", "2026-12-31", "9999-12-31")


def random_data(pick: random.Random, uuids: tuple[str, ...]) -> tuple[str, dict[str, Any]]:
    """Return an event kind and data for it: what it needs, and some of what it may have."""
    kind = pick.choice(sorted(KINDS))
    data = {
        name: random_value(pick, field, uuids)
        for name, field in KINDS[kind].items()
        if field.required or pick.random() < 0.5
    }
    return kind, data


def random_value(pick: random.Random, field: fields.Plain, uuids: tuple[str, ...]) -> Any:
    """Return a value that fits a field, or now and then none where that is allowed."""
    if field.allow_none and pick.random() < 0.1:
        return None
    if isinstance(field, fields.Whole):
        return pick.choice([field.low, min(field.high, field.low + pick.randint(0, 120))])
    if isinstance(field, fields.Number):
        return pick.choice([field.low, min(field.high, 4), min(field.high, 37.5)])
    if isinstance(field, fields.OneOf):
        return pick.choice(field.words)
    if isinstance(field, fields.Many):
        return [random_value(pick, field.of, uuids) for _ in range(pick.randint(0, 2))]
    return pick.choice(PLAIN[type(field)] or uuids)


PLAIN: dict[type, tuple[Any, ...]] = {
    fields.Uuid: (),
    fields.Name: ("a", "b", "p1", "cold-look", "Ärger"),
    fields.Code: ("a", 3, 61),
    fields.Digest: ("0f" * 32,),
    fields.Words: ("", "dug over", "два"),
    fields.Instant: INSTANTS,
    fields.Day: DAYS,
    fields.ClockTime: ("06:00", "20:30"),
    fields.Email: ("orla@example.com",),
    fields.Reach: ({},),
    fields.Until: (*INSTANTS, *DAYS),
    fields.Flag: (True, False),
    fields.Money: ("14.00", "0"),
    fields.Fields: ({}, {"moisture": 2}),
    fields.Anything: (None, 3, "x", {"deep": [1, 2]}),
}
