"""Whose record it is: proved by whose phone it is, or only said."""


def is_said(by: str | None, own: str | None) -> bool:
    """Say whether a record's name is only what was said on a phone that is not that person's own.

    Args:
        by: the person that the record names.
        own: whose the phone is that recorded it; None for a shared one, and for a script.
    """
    return by is not None and by != own
