"""Who may tick, and until when: the alert clock's lease in the site's row."""

from typing import Any

from sqlalchemy import or_, select, update

from lathhouse.domain.instants import to_ms, to_text
from lathhouse.store import backup_age
from lathhouse.store.models import Site
from lathhouse.store.record import watch_all_again
from lathhouse.store.work import Work, writing

LEASE_MS = 20_000
# A lease that ends later than this was taken by a clock that ran ahead. The room is for machines
# whose clocks differ by less than a lease.
ENDS_WITHIN_MS = 2 * LEASE_MS


def is_ahead(until: str | None, now: str) -> bool:
    """Say whether a lease was taken by a clock that ran ahead."""
    return (until or "") > to_text(to_ms(now) + ENDS_WITHIN_MS)


def holds(until: str | None, now: str) -> bool:
    """Say whether a lease holds now."""
    return (until or "") > now and not is_ahead(until, now)


def take_lease(site_id: str, owner: str, now_ms: int, certain_ms: int | None = None) -> bool:
    """Take or renew the right to tick; say whether this owner has it.

    Where the one before ticked by a clock that ran ahead, all that it concluded is looked at again.

    Args:
        certain_ms: the time that it is at least, to be kept as the last one that was trusted: now,
            or less where the clock is in doubt.
    """
    until = to_text(now_ms + LEASE_MS)
    trusted = {} if certain_ms is None else {"trusted_at": to_text(certain_ms)}

    def act(work: Work) -> bool:
        before = work.connection.scalar(select(Site.clock_until).where(Site.id == site_id))
        if is_ahead(before, work.now):
            backup_age.forget_ahead(work)
        # Who may not tick leaves the lease to who may.
        work.hold_site()
        ahead = Site.clock_until > to_text(now_ms + ENDS_WITHIN_MS)
        ended = or_(Site.clock_until < work.now, ahead)
        free = or_(Site.clock_owner.is_(None), Site.clock_owner == owner, ended)
        taken: Any = work.connection.execute(
            update(Site)
            .where(Site.id == site_id, free)
            .values(clock_owner=owner, clock_until=until, **trusted)
        )
        if taken.rowcount and is_ahead(before, work.now):
            watch_all_again(work)
        return bool(taken.rowcount)

    return writing(site_id, to_text(now_ms), act)
