"""People's mail addresses: a viewer has no use for them, and reads their own alone.

A viewer's phone keeps them in its rows: paired as an owner's later, it sends a person's row whole.
"""

from typing import Any

from flask import g

Data = dict[str, Any]


def for_reader(page: Data) -> Data:
    """Return a page of rows as whoever asks may read it: a viewer's script reads no address."""
    if not is_viewer() or g.actor["by"] != "token":
        return page
    people = [_without(row) for row in page["rows"]["people"]]
    return {**page, "rows": {**page["rows"], "people": people}}


def events_for_reader(page: Data) -> Data:
    """Return a page of the log as whoever asks may read it: a viewer reads no other's address."""
    if not is_viewer():
        return page
    return {**page, "events": [_hidden(event) for event in page["events"]]}


def is_viewer() -> bool:
    """Say whether a viewer asks."""
    return bool(g.actor["role"] == "viewer")


def _hidden(event: Data) -> Data:
    data = event.get("data")
    if not isinstance(data, dict) or data.get("id") == (g.actor["proved"] or ""):
        return event
    more = {"data": _without(data["data"])} if isinstance(data.get("data"), dict) else {}
    return {**event, "data": {**_without(data), **more}}


def _without(row: Data) -> Data:
    return {name: value for name, value in row.items() if name != "email"}
