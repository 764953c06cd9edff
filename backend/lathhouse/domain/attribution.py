"""Whose record it is: proved by whose phone it is, or only said."""

from typing import Any


def is_said(by: str | None, own: str | None) -> bool:
    """Say whether a record's name is only what was said on a phone that is not that person's own.

    Args:
        by: the person that the record names.
        own: whose the phone is that recorded it; None for a shared one, and for a script.
    """
    return by is not None and by != own


def said_by(event: dict[str, Any]) -> dict[str, Any]:
    """Return {by}, whose a record is, with `by_said` where that was marked as only said."""
    said = {"by_said": True} if event.get("by_said") else {}
    return {"by": event.get("by"), **said}
