"""Which sessions hold: they end by a clock that was trusted, and by none that is in doubt."""

from typing import Any

from sqlalchemy import select

from lathhouse.store.models import Session, Site
from lathhouse.store.work import Work


def certain_at(work: Work) -> str:
    """Return the time that it surely is by now: what has an end is not ended by a clock in doubt.

    It is the last one that a clock on this record was trusted at, a few seconds ago while all is
    well; and now, where none has ticked yet.
    """
    found = work.connection.scalar(select(Site.trusted_at).where(Site.id == work.site_id))
    return min(found or work.now, work.now)


def holding(work: Work) -> tuple[Any, ...]:
    """Return what is true of a session that lets in."""
    return (Session.revoked_at.is_(None), Session.expires_at > certain_at(work))
