"""Pictures: their octets, kept in the database beside the record under their own SHA-256.

There they are in every backup of the same moment, and every process of the server has them.
"""

import hashlib
from collections.abc import Iterator

from sqlalchemy import exists, func, select

from lathhouse.domain.corrections import effective
from lathhouse.errors import PhotoUnnamed
from lathhouse.store.log import PHOTO, Log, photo_named
from lathhouse.store.models import EventLink, Photo
from lathhouse.store.work import Work, looking, writing


def keep(site_id: str, sha256: str, octets: bytes, now: str) -> bool:
    """Keep a picture that a record names; return whether it was here already.

    Octets that are not any more what their name says give way to the right ones.

    Raises:
        PhotoUnnamed: no record names it.
    """

    def act(work: Work) -> bool:
        if not is_named(work, sha256):
            says = "No record names this picture. Send the record first, then its picture."
            raise PhotoUnnamed(says)
        before = _octets(work, sha256)
        if before is not None and hashlib.sha256(before).hexdigest() == sha256:
            return True
        row = {"sha256": sha256, "size_bytes": len(octets), "received_at": now, "octets": octets}
        work.upsert(Photo, [row], ("sha256",))
        return False

    return writing(site_id, now, act)


def is_named(work: Work, sha256: str) -> bool:
    """Say whether an event of the log names a picture."""
    where = (EventLink.site_id == work.site_id, EventLink.subject_kind == PHOTO)
    return bool(
        work.connection.scalar(select(exists().where(*where, EventLink.subject_id == sha256)))
    )


def octets_of(site_id: str, sha256: str, now: str) -> bytes | None:
    """Return a picture's octets, or None where it never came."""
    return looking(site_id, now, lambda work: _octets(work, sha256))


def size_of(site_id: str, sha256: str, now: str) -> int | None:
    """Return of how many octets a picture is, or None where it never came."""
    query = select(Photo.size_bytes).where(Photo.site_id == site_id, Photo.sha256 == sha256)
    return looking(site_id, now, lambda work: work.connection.scalar(query))


def _octets(work: Work, sha256: str) -> bytes | None:
    query = select(Photo.octets).where(Photo.site_id == work.site_id, Photo.sha256 == sha256)
    found = work.connection.scalar(query)
    return None if found is None else bytes(found)


def kept(work: Work) -> tuple[int, int]:
    """Return how many pictures are kept, and of how many octets together."""
    query = select(func.count(), func.coalesce(func.sum(Photo.size_bytes), 0))
    count, size = work.connection.execute(query.where(Photo.site_id == work.site_id)).one()
    return int(count), int(size)


def differences(work: Work) -> list[str]:
    """Return in words which pictures' octets are not what their names say."""
    says = "its octets are not any more those that were sent"
    query = select(Photo.sha256).where(Photo.site_id == work.site_id).order_by(Photo.sha256)
    names = list(work.connection.scalars(query))
    return [f"photo {sha256}: {says}" for sha256 in names if not _is_whole(work, sha256)]


def _is_whole(work: Work, sha256: str) -> bool:
    return hashlib.sha256(_octets(work, sha256) or b"").hexdigest() == sha256


def awaited(work: Work, log: Log) -> Iterator[str]:
    """Yield in words each event whose picture never came; it may still be on a phone."""
    there = exists().where(Photo.site_id == work.site_id, Photo.sha256 == EventLink.subject_id)
    query = (
        select(EventLink.subject_id)
        .where(EventLink.site_id == work.site_id, EventLink.subject_kind == PHOTO, ~there)
        .distinct()
        .order_by(EventLink.subject_id)
    )
    for sha256 in work.connection.scalars(query).all():
        for event in effective(log.events_about(PHOTO, sha256)):
            if photo_named(event) == sha256:
                yield f"event {event['id']}: its picture has not come, photo {sha256}"
