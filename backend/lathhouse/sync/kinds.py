"""Is it an event, and when was it? Unknown fields are kept, unknown kinds are stored whole.

Only what cannot be stored or cannot be true is refused, with one sentence for a person.
"""

import json
import math
import re
from typing import Any

from marshmallow import INCLUDE, Schema, ValidationError

from lathhouse.domain.instants import DAY_MS, parse_instant, to_text
from lathhouse.errors import BadField, FromTheFuture, NotAnEvent
from lathhouse.sync.checks import check_together
from lathhouse.sync.fields import Plain
from lathhouse.sync.shapes import ENVELOPE, KINDS, WITHOUT_A_LOT

KIND = re.compile(r"[a-z][a-z0-9_]{0,59}")
BODY_MAX_CHARACTERS = 64_000
AS_WRITTEN = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
AHEAD_MAX_MS = DAY_MS
# A clock that began in the past refuses no present; the year 2099 it refuses even so. Ours.
AHEAD_IN_DOUBT_MAX_MS = 400 * DAY_MS
SKEW_LEFT_ALONE_MS = 120_000


def _schema(shape: dict[str, Plain]) -> Schema:
    made: type[Schema] = Schema.from_dict(dict(shape))
    return made(unknown=INCLUDE)


SCHEMAS = {kind: _schema(shape) for kind, shape in KINDS.items()}
ENVELOPE_SCHEMA = _schema(ENVELOPE)


def check_event(raw: Any) -> dict[str, Any]:
    """Return an item of a push as an event with all its envelope fields.

    Raises:
        NotAnEvent: it is not an object with a kind and an id.
        BadField: a field is missing, of the wrong shape or impossible.
    """
    if not isinstance(raw, dict):
        raise NotAnEvent("An event is an object with id, seq, kind, lot, observed_at and data.")
    kind = raw.get("kind")
    if not isinstance(kind, str) or not KIND.fullmatch(kind):
        raise NotAnEvent("An event names its kind in small letters, such as looked.", field="kind")
    _load(ENVELOPE, ENVELOPE_SCHEMA, raw, "")
    data = raw.get("data")
    data = {} if data is None else data
    if not isinstance(data, dict):
        raise BadField("data must be an object with named fields.", field="data")
    event = {"lot": None, "by": None, **raw, "data": data}
    if kind in SCHEMAS:
        _load(KINDS[kind], SCHEMAS[kind], data, "data.")
        if event["lot"] is None and kind not in WITHOUT_A_LOT:
            raise BadField(f"A record of kind {kind} names its lot.", field="lot")
        check_together(kind, event["lot"], data)
    _check_size(event)
    return event


def _check_size(event: dict[str, Any]) -> None:
    try:
        size = len(AS_WRITTEN.encode(event))
    except ValueError as error:
        raise BadField("A number in this record is too large to be kept.", field="data") from error
    if size > BODY_MAX_CHARACTERS:
        says = f"A record holds at most {BODY_MAX_CHARACTERS:,} characters, not {size:,}."
        raise BadField(says, field="data")


def _load(shape: dict[str, Plain], schema: Schema, values: dict[str, Any], prefix: str) -> None:
    if _plainly_fits(shape, values):
        return
    try:
        schema.load(values)
    except ValidationError as error:
        messages: Any = error.messages
        name, says = min(messages.items())
        words = says[0] if isinstance(says, list) else str(says)
        if words.startswith("Missing data"):
            words = f"is missing; it {shape[name].says}"
        elif words.startswith("Field may not"):
            words = f"must not be left empty; it {shape[name].says}"
        raise BadField(f"{prefix}{name} {words}.", field=f"{prefix}{name}") from error


def _plainly_fits(shape: dict[str, Plain], values: dict[str, Any]) -> bool:
    """Say whether every field fits; the schema itself is slow, and is asked only to refuse."""
    for name, field in shape.items():
        if name not in values:
            if field.required:
                return False
        elif values[name] is None:
            if not field.allow_none:
                return False
        elif not field.fits(values[name]):
            return False
    return True


def corrected_at(
    event: dict[str, Any], push_skew_ms: int, now_ms: int, *, sure: bool = True
) -> str:
    """Return an event's corrected instant, as it is fixed at receipt.

    A time typed by hand is never corrected. Otherwise the phone's own measured skew (what must be
    added to its clock), or else that of the push, is added where it is two minutes or more.

    Args:
        sure: our own clock is in no doubt. Else the phone's is as good, and is left as it is.

    Raises:
        FromTheFuture: it is more than a day ahead of the server even so.
        BadField: it is a time before the year 1.
    """
    observed = parse_instant(event["observed_at"])
    skew = _measured_skew(event)
    skew = push_skew_ms if skew is None else skew
    if sure and event.get("typed") is not True and abs(skew) >= SKEW_LEFT_ALONE_MS:
        observed += int(skew)
    if observed > now_ms + (AHEAD_MAX_MS if sure else AHEAD_IN_DOUBT_MAX_MS):
        says = f"observed_at is {event['observed_at']}; it must be at most a day ahead of now."
        raise FromTheFuture(says, field="observed_at")
    try:
        return to_text(observed)
    except OverflowError as error:
        raise BadField(
            "observed_at is not a time that can be kept.", field="observed_at"
        ) from error


def _measured_skew(event: dict[str, Any]) -> float | None:
    clock = event.get("clock")
    skew = clock.get("skew_ms") if isinstance(clock, dict) else None
    whole = isinstance(skew, int | float) and not isinstance(skew, bool) and math.isfinite(skew)
    return skew if whole else None
