"""Filling an empty record with the demo, through the same door as any phone, day by day.

The last month is lived through: each walk is pushed when it was walked, and the alert clock looks
in between, so that alerts were raised, and acted on, when the story says.
"""

from typing import Any

from sqlalchemy import func, select

from lathhouse.demo.scenario import scenario
from lathhouse.demo.story import name_id
from lathhouse.demo.visits import Visit, looks_between, midnight, visits
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.reminders.clock import catch_up
from lathhouse.store.models import Event, Subject
from lathhouse.store.work import Work, looking
from lathhouse.sync.push import push

BATCH = 900
PHONES = {
    "orla": "Orla's phone",
    "shed": "Shed phone",
    "mele": "Mele's phone",
    "probe": "Fridge probe",
}
# Mele's phone has not been in reach since yesterday morning.
LAST_CONTACT_MS = {"mele": 26 * HOUR_MS, "orla": 3 * MINUTE_MS, "shed": 2 * MINUTE_MS, "probe": 0}
# As far back as "What rings most" looks, and a day for what stood when it begins.
LIVED_DAYS = 31
# Today's deadlines are a dozen; more than this is a clock that never comes to rest.
LOOKS_TODAY_MAX = 200


def load(site_id: str, now_ms: int, lived_days: int = LIVED_DAYS) -> int:
    """Push the demo's events to an empty site; return how many there were.

    A site that has events already is left as it is.

    Args:
        lived_days: how many of the last days are lived through; with 0 all is pushed at once, and
            alerts have no past.
    """
    if not looking(site_id, to_text(now_ms), lambda work: work.rows(Event)[:1] == []):
        return 0
    last = {phone: now_ms - ago for phone, ago in LAST_CONTACT_MS.items()}
    total, at_ms = 0, now_ms - lived_days * DAY_MS
    for visit in visits(scenario(now_ms, site_id), last, at_ms):
        if total:
            _look(site_id, at_ms, visit[0], midnight(now_ms))
        total += _send(site_id, visit, last[visit[1]])
        at_ms = visit[0]
    _look(site_id, at_ms, now_ms, midnight(now_ms))
    return total


def is_real(site_id: str, now_ms: int) -> bool:
    """Say whether a site has events of which none is a demo's."""
    phones = [name_id(phone) for phone in PHONES]

    def read(work: Work) -> bool:
        own = Event.device_id.in_(phones)
        return bool(work.rows(Event)[:1]) and not work.rows(Event, own)[:1]

    return looking(site_id, to_text(now_ms), read)


def _look(site_id: str, from_ms: int, until_ms: int, today_ms: int) -> None:
    """Let the alert clock look: at its hours where something is due, today at each deadline."""
    for at in looks_between(from_ms, min(until_ms, today_ms)):
        if _next_deadline(site_id, at) <= at:
            catch_up(site_id, at)
    if until_ms < today_ms:
        return
    for _ in range(LOOKS_TODAY_MAX):
        due = _next_deadline(site_id, until_ms)
        if due > until_ms:
            return
        catch_up(site_id, max(due, today_ms))
    raise RuntimeError("the demo's alert clock never comes to rest")


def _next_deadline(site_id: str, now_ms: int) -> int:
    """Return when something is due next; an hour after now, or later, where nothing is yet."""

    def read(work: Work) -> int:
        query = select(func.min(Subject.next_deadline)).where(Subject.site_id == work.site_id)
        due = work.connection.execute(query).scalar()
        return to_ms(due) if due else now_ms + HOUR_MS

    return looking(site_id, to_text(now_ms), read)


def _send(site_id: str, visit: Visit, last_ms: int) -> int:
    """Push what a phone holds; return how many of it were stored."""
    when_ms, phone, events = visit
    # That a phone was merely in reach is not told, so none is missed before its last contact.
    missed = phone != "probe" and when_ms == last_ms
    known: dict[str, Any] = {"name": PHONES[phone], "silent_ok": not missed}
    stored = 0
    for start in range(0, max(1, len(events)), BATCH):
        batch = events[start : start + BATCH]
        said = push(site_id, name_id(phone), batch, None, when_ms, known)
        if said["refused"]:
            raise RuntimeError(f"the demo is refused: {said['refused'][0]['problem']['detail']}")
        stored += len(said["stored"])
    return stored
