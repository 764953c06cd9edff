"""People's mail addresses: a viewer has no use for them, and reads their own alone.

A phone keeps what it was sent, and its role may change: so a viewer's cursor says that it is one.
Where it comes back from somebody who is none, or another's from a viewer, all people are sent
again as the reader may read them: an owner's phone sends a person's row whole.
"""

from typing import Any

from flask import g

Data = dict[str, Any]
# Before a cursor that was handed to a viewer; no cursor has such a character.
VIEWERS = "viewer."


def cursor_in(after: str) -> tuple[str, bool]:
    """Return a cursor as it is without its reader, and whether it was another kind of reader's."""
    as_viewer = after.startswith(VIEWERS)
    plain = after.removeprefix(VIEWERS)
    return plain, plain not in ("", "0") and as_viewer != is_viewer()


def for_reader(page: Data) -> Data:
    """Return a page of rows as whoever asks may read it: a viewer reads no other's address."""
    if not is_viewer():
        return page
    people = [row if _is_own(row) else _without(row) for row in page["rows"]["people"]]
    rows = {**page["rows"], "people": people}
    return {**page, "rows": rows, "cursor": VIEWERS + page["cursor"]}


def events_for_reader(page: Data) -> Data:
    """Return a page of the log as whoever asks may read it: a viewer reads no other's address."""
    if not is_viewer():
        return page
    return {**page, "events": [_hidden(event) for event in page["events"]]}


def is_viewer() -> bool:
    """Say whether a viewer asks."""
    return bool(g.actor["role"] == "viewer")


def _is_own(data: Data) -> bool:
    return data.get("id") == (g.actor["proved"] or "")


def _hidden(event: Data) -> Data:
    data = event.get("data")
    if not isinstance(data, dict) or _is_own(data):
        return event
    more = {"data": _without(data["data"])} if isinstance(data.get("data"), dict) else {}
    return {**event, "data": {**_without(data), **more}}


def _without(row: Data) -> Data:
    return {name: value for name, value in row.items() if name != "email"}
