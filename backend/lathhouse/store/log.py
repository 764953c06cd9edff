"""The event log: appended, read by lot, and linked to everything that an event is about."""

import base64
import hashlib
import heapq
import json
import re
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from sqlalchemy import and_, func, join, select

from lathhouse.domain.attribution import said_by
from lathhouse.domain.corrections import CORRECTIONS, corrected, fold_order, root_id, target_id
from lathhouse.domain.rows import ANSWERS, aims
from lathhouse.errors import BadCursor
from lathhouse.store import chains
from lathhouse.store.models import Alert, Event, EventLink
from lathhouse.store.work import Row, Work, dumps, looking

AtSubject = tuple[str, str]
HISTORY_MAX = 1000
PHOTO = "photo"
SHA256 = re.compile("[0-9a-f]{64}")
FLOW_PAGE = 500
POSITION_MAX = 2**63 - 1
# Made once: the module's own function makes an encoder at every call.
CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"))


def body_hash(raw: Any) -> str:
    """Return the SHA-256 of an item's canonical JSON, as it was sent."""
    return hashlib.sha256(CANONICAL.encode(raw).encode()).hexdigest()


def is_key(text: str) -> bool:
    """Say whether a database takes a text as a key: it is not empty, whole, and without NUL."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return bool(text) and "\0" not in text


def event_of(row: Row) -> dict[str, Any]:
    """Return a stored event as the fold reads it."""
    event: dict[str, Any] = json.loads(row["body"])
    return event


class Log:
    """The log of one site as one piece of work sees it: what is stored, and what is being added."""

    def __init__(self, work: Work, added: list[dict[str, Any]]) -> None:
        self.work = work
        self.added = added
        self.by_id = {event["id"]: event for event in added}
        self.links: dict[AtSubject, set[str]] = {}
        self.stored: dict[AtSubject, list[dict[str, Any]]] = {}
        # Of lots that others came from: what was found once of how they were then.
        self.as_it_was: dict[tuple[Any, ...], dict[str, Any] | None] = {}
        self._link_all()

    def _link(self, kind: str, subject: Any, event_id: str) -> None:
        if isinstance(subject, str) and is_key(subject):
            self.links.setdefault((kind, subject), set()).add(event_id)

    def _link_all(self) -> None:
        for event in self.added:
            if event["lot"]:
                self._link("lot", event["lot"], event["id"])
            for kind, subject in named_subjects(event, self.work.site_id):
                self._link(kind, subject, event["id"])
        self._link_corrections()

    def _link_corrections(self) -> None:
        """Link what was corrected, and its corrections, to all that any of them names.

        A correction may move a dip from one bucket to another: the second row needs the dip itself,
        and the first must hear that it is no longer its own.
        """
        self._fetch_targets([event for event in self.added if target_id(event)])
        self._fetch_corrections(set(self.by_id))
        self.corrections = [event for event in self.by_id.values() if target_id(event)]
        chains: dict[str, list[dict[str, Any]]] = {}
        for event in self.corrections:
            root = root_id(event, self.by_id)
            if root is not None and root in self.by_id:
                chains.setdefault(root, []).append(event)
        for root, chain in chains.items():
            self._link_chain(self.by_id[root], chain)

    def _fetch_targets(self, corrections: list[dict[str, Any]]) -> None:
        """Bring the chains of what corrections aim at into `by_id`."""
        wanted = {target_id(event) for event in corrections} - self.by_id.keys()
        while wanted:
            found = [event_of(row) for row in self.work.rows_in(Event, Event.id, wanted)]
            self.by_id.update({event["id"]: event for event in found})
            wanted = {target_id(event) for event in found if target_id(event)} - self.by_id.keys()

    def _fetch_corrections(self, wanted: set[Any]) -> None:
        """Bring the stored corrections of these events, and theirs, into `by_id`.

        Some have waited for an event that is being added.
        """
        while wanted:
            rows = self.work.rows_in(Event, Event.of_id, {one for one in wanted if one})
            found = {row["id"]: event_of(row) for row in rows}
            wanted = found.keys() - self.by_id.keys()
            self.by_id.update({event_id: found[event_id] for event_id in wanted})

    def _link_chain(self, root: dict[str, Any], chain: list[dict[str, Any]]) -> None:
        subjects = {at for event in (root, *_amended(root, chain)) for at in self._named(event)}
        for event in chain:
            self._link("lot", root["lot"], event["id"])
        for kind, subject in subjects:
            for event in (root, *chain):
                self._link(kind, subject, event["id"])

    def _named(self, event: dict[str, Any]) -> list[tuple[str, Any]]:
        named = named_subjects(event, self.work.site_id)
        return [(kind, subject) for kind, subject in named if isinstance(subject, str)]

    def subjects(self, kind: str) -> set[str]:
        """Return the ids of the subjects of a kind that the added events are about."""
        return {subject for found, subject in self.links if found == kind}

    def who(self) -> tuple[dict[AtSubject, dict[str, Any]], dict[str, Any]]:
        """Return whose the last of the added events about each subject is, and of them all."""
        added = sorted(self.added, key=fold_order)
        last = {event["id"]: place for place, event in enumerate(added)}
        found: dict[AtSubject, dict[str, Any]] = {}
        for at, ids in self.links.items():
            mine = [last[event_id] for event_id in ids if event_id in last]
            found[at] = said_by(added[max(mine)] if mine else {})
        return found, said_by(added[-1] if added else {})

    def added_about(self, kind: str, subject: str) -> list[dict[str, Any]]:
        """Return the added events, and the waiting corrections now linked, about a subject."""
        return [self.by_id[event_id] for event_id in self.links.get((kind, subject), ())]

    def events_about(self, kind: str, subject: str) -> list[dict[str, Any]]:
        """Return every event about a subject, stored or being added, in any order."""
        if (kind, subject) not in self.stored:
            self.read_ahead(kind, [subject])
        events = {event["id"]: event for event in self.stored[(kind, subject)]}
        events.update({event["id"]: event for event in self.added_about(kind, subject)})
        return list(events.values())

    def read_ahead(self, kind: str, subjects: list[str]) -> None:
        """Read the stored events of many subjects at once, for `events_about`."""
        found: dict[str, list[dict[str, Any]]] = {subject: [] for subject in subjects}
        links = self.work.rows_in(
            EventLink, EventLink.subject_id, subjects, EventLink.subject_kind == kind
        )
        linked = self.work.rows_in(Event, Event.id, {link["event_id"] for link in links})
        by_id = {row["id"]: event_of(row) for row in linked}
        for link in links:
            found[link["subject_id"]].append(by_id[link["event_id"]])
        for row in self.work.rows_in(Event, Event.lot_id, subjects) if kind == "lot" else ():
            found[row["lot_id"]].append(event_of(row))
        self.stored |= {(kind, subject): events for subject, events in found.items()}

    def since(self, kind: str, subject: str, after: str) -> list[dict[str, Any]]:
        """Return the events about a subject later than an instant, with whatever corrects them.

        It reads what the site has recorded since then, and not what is about the subject.
        """
        query = _about(self.work.site_id, kind, subject).where(Event.at > after)
        rows = self.work.connection.execute(query).scalars()
        found = {event["id"]: event for event in map(json.loads, rows)}
        added = [event for event in self.added_about(kind, subject) if event["at"] > after]
        found |= {event["id"]: event for event in added}
        wanted = set(found)
        while wanted:
            rows_of = self.work.rows_in(Event, Event.of_id, wanted)
            wanted = {row["id"] for row in rows_of} - found.keys()
            found |= {row["id"]: event_of(row) for row in rows_of if row["id"] in wanted}
        return list(found.values())

    def newest(self, kind: str, subject: str) -> str | None:
        """Return the time of the latest event about a subject."""
        linked = _linked(self.work.site_id, kind, subject)
        query = select(func.max(Event.at)).select_from(linked)
        times = [event["at"] for event in self.added_about(kind, subject)]
        return max([*times, *filter(None, [self.work.connection.scalar(query)])], default=None)

    def flow(self, kind: str, subject: str, only: str | None = None) -> Iterator[dict[str, Any]]:
        """Yield all that is now said of a subject, in fold order, a part at a time in memory.

        Nothing else may be asked of the database before it has come to its end.

        Args:
            only: one kind of event.
        """
        site_id, added = self.work.site_id, self.added_about(kind, subject)
        query = select(Event.body).select_from(_linked(site_id, kind, subject))
        asked = query.where(Event.kind.in_(CORRECTIONS))
        known = {event["id"]: event for event in added if target_id(event)}
        for body in self.work.connection.execute(asked).scalars():
            event = json.loads(body)
            known[event["id"]] = event
        if only:
            query = query.where(Event.kind == only)
            added = [event for event in added if event["kind"] == only]
        rows = query.order_by(Event.at).execution_options(yield_per=FLOW_PAGE)
        stored = _in_order(map(json.loads, self.work.connection.execute(rows).scalars()))
        both = heapq.merge(stored, sorted(added, key=fold_order), key=fold_order)
        once = (next(same) for _, same in groupby(both, key=lambda event: event["id"]))
        return corrected(once, list(known.values()))

    def write(self, first_position: int) -> None:
        """Append the added events, with their links."""
        rows = [
            {
                "id": event["id"],
                "position": position,
                "device_id": event["device"],
                "seq": event["seq"],
                "kind": event["kind"],
                "lot_id": event["lot"],
                "of_id": target_id(event),
                "at": event["at"],
                "hash": event["hash"],
                "body": dumps({name: value for name, value in event.items() if name != "hash"}),
            }
            for position, event in enumerate(self.added, first_position)
        ]
        self.work.insert(Event, chains.chained(self.work, rows))
        self.write_links()

    def write_links(self) -> None:
        """Write what the added events are about, besides their own lots."""
        own = {(event["lot"], event["id"]) for event in self.added}
        links = [
            {"subject_kind": kind, "subject_id": subject, "event_id": event_id}
            for (kind, subject), ids in self.links.items()
            for event_id in ids
            if not (kind == "lot" and (subject, event_id) in own)
        ]
        self.work.upsert(EventLink, links, ("subject_kind", "subject_id", "event_id"))


def _linked(site_id: str, kind: str, subject: str) -> Any:
    """Return the join of the log with what is linked to a subject."""
    about = (EventLink.site_id == site_id, EventLink.subject_kind == kind)
    same = (Event.site_id == EventLink.site_id, Event.id == EventLink.event_id)
    where = and_(*same, *about, EventLink.subject_id == subject, Event.site_id == site_id)
    return join(EventLink, Event, where)


def _about(site_id: str, kind: str, subject: str) -> Any:
    """Return a query of events that asks each, by its id, whether it is about a subject."""
    same = (EventLink.event_id == Event.id, EventLink.site_id == site_id)
    linked = select(EventLink.event_id).where(
        *same, EventLink.subject_kind == kind, EventLink.subject_id == subject
    )
    return select(Event.body).where(Event.site_id == site_id, linked.exists())


def _in_order(by_time: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield events that come by their time in fold order, also those of one time."""
    for _, same in groupby(by_time, key=lambda event: event["at"]):
        yield from sorted(same, key=fold_order)


def named_subjects(event: dict[str, Any], site_id: str) -> list[tuple[str, Any]]:
    """Return (kind, id) of what an event's data says it is about, besides its own lot."""
    kind, data = event["kind"], event.get("data") or {}
    if kind == "lot_started":
        parents = data.get("parents") or [data.get("parent")]
        return [("lot", parent) for parent in parents if isinstance(parent, str)]
    if kind == "potted_on":
        return [("lot", data.get("into"))]
    if kind == "photographed":
        return [(PHOTO, photo_named(event))]
    return aims(event, site_id)


def photo_named(event: dict[str, Any]) -> str | None:
    """Return the SHA-256 of the picture that an event names, in small letters."""
    said = (event.get("data") or {}).get("sha256")
    name = said.lower() if event["kind"] == "photographed" and isinstance(said, str) else ""
    return name if SHA256.fullmatch(name) else None


def _amended(root: dict[str, Any], chain: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return an event as each of its amendments alone would have it."""
    said = [(event.get("data") or {}).get("data") for event in chain if event["kind"] == "amended"]
    data = root.get("data") or {}
    return [{**root, "data": {**data, **fields}} for fields in said if isinstance(fields, dict)]


def aim_answers(work: Work, events: list[dict[str, Any]]) -> None:
    """Fill in the watch and the subject of answers that name an alert only."""
    aimless = [
        event
        for event in events
        if event["kind"] in ANSWERS
        and event["data"].get("alert")
        and not event["data"].get("watch")
    ]
    found = {
        row["id"]: row
        for row in work.rows_in(Alert, Alert.id, {event["data"]["alert"] for event in aimless})
    }
    for event in aimless:
        alert = found.get(event["data"]["alert"])
        if alert is not None:
            kind, subject = alert["subject_kind"], alert["subject_id"]
            event["data"] = {**event["data"], "watch": alert["watch"], kind: subject}
            event["lot"] = subject if kind == "lot" else event["lot"]


def history(
    site_id: str, lot: str | None, limit: int, after: str | None, now: str
) -> dict[str, Any]:
    """Return {events, next}: a lot's events, or all, in the order in which they were stored."""

    def read(work: Work) -> dict[str, Any]:
        most = max(1, min(limit, HISTORY_MAX))
        conditions: list[Any] = [Event.position > read_position(after)]
        if lot:
            linked = select(EventLink.event_id).where(
                EventLink.site_id == site_id,
                EventLink.subject_kind == "lot",
                EventLink.subject_id == lot,
            )
            conditions.append((Event.lot_id == lot) | Event.id.in_(linked))
        query = (
            select(Event.position, Event.body)
            .where(Event.site_id == site_id, *conditions)
            .order_by(Event.position)
            .limit(most + 1)
        )
        rows = work.connection.execute(query).all()
        events = [{**json.loads(body), "position": position} for position, body in rows[:most]]
        more = len(rows) > most
        return {"events": events, "next": write_position(rows[most - 1][0]) if more else None}

    return looking(site_id, now, read)


def write_position(position: int) -> str:
    """Return an opaque, URL-safe cursor for a place in the log."""
    return base64.urlsafe_b64encode(f"p{position}".encode()).decode().rstrip("=")


def read_position(cursor: str | None) -> int:
    """Return the place in the log that a cursor stands for.

    Raises:
        BadCursor: it is not one of ours.
    """
    if not cursor or cursor == "0":
        return 0
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        text = base64.urlsafe_b64decode(padded.encode()).decode()
        position = int(text[1:])
        if text[:1] != "p" or not 0 <= position <= POSITION_MAX:
            raise ValueError(text)
        return position
    except (ValueError, UnicodeDecodeError) as error:
        raise BadCursor("Start again without `after`, or send back a cursor as it came.") from error
