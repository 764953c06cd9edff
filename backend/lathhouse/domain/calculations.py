"""Calculations that the product does, each under the name and field names of its check values."""

from collections.abc import Callable
from typing import Any

from lathhouse.domain.instants import BadInstant
from lathhouse.domain.watch_trial import NoSuchWatch, watch_level

Data = dict[str, Any]


class CannotCalculate(ValueError):
    """The inputs cannot give a result; the message says why and what would be right."""


def watch(inputs: Data) -> Data:
    """Return what a watch says of a few events at an instant."""
    events, name, now = inputs.get("events"), inputs.get("watch"), inputs.get("now")
    if not isinstance(events, list) or not all(isinstance(event, dict) for event in events):
        raise CannotCalculate("events must be a list of {kind, at, data}.")
    try:
        found = watch_level(str(name), events, str(now))
    except (BadInstant, NoSuchWatch, KeyError, TypeError) as error:
        raise CannotCalculate(f"{error}") from error
    says = found["says"] or "Nothing to do."
    result = {"level": found["level"], "since": found["since"]}
    return {"result": result, "says": says, "cautions": [], "sources": []}


CALCULATIONS: dict[str, Callable[[Data], Data]] = {"watch": watch}
