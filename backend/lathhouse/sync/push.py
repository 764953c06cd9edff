"""Push: one verdict for each event, and everything that follows in the same transaction."""

from dataclasses import dataclass, field
from typing import Any

from lathhouse.domain.attribution import is_said
from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from lathhouse.domain.phone_numbers import account, is_known, next_seq
from lathhouse.errors import IdTaken, Refusal
from lathhouse.store import phones, record, senders
from lathhouse.store.backup import backed_up_seq
from lathhouse.store.log import body_hash
from lathhouse.store.models import Event, Site
from lathhouse.store.work import Row, Work, writing
from lathhouse.sync import names, owners
from lathhouse.sync.fields import Name
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.owners import check_role, last_owners, owners_corrections, owners_only

Data = dict[str, Any]
FIXED_HERE = ("device", "hash", "received_at", "at", "brought", "by_said")


@dataclass(frozen=True)
class Sender:
    """Who sends a batch, and what of them goes into the device's row.

    Attributes:
        brought: `{by, from}` where somebody brings another phone's records as a file.
        heard: whether the names on the events are what was said on a phone or by a script.
        surely: whose the phone surely is; another name on its events is marked `by_said`.
        counts: whether the numbers count as the device's own, so that gaps and clones show.
        who: the actor of a push over HTTP, who must be the one whose the device is.
    """

    role: str | None
    person: str | None
    row: Data = field(default_factory=dict)
    brought: Data | None = None
    heard: bool = False
    surely: str | None = None
    counts: bool = True
    who: Data | None = None


class Verdicts:
    """What becomes of each item of a batch."""

    def __init__(self) -> None:
        self.checked: list[Data] = []
        self.refused: list[Row] = []

    def refuse(self, raw: Any, digest: str, refusal: Refusal) -> None:
        """Note a refusal, with whatever of an id and a number the item has."""
        self.refuse_as(raw, digest, refusal.problem())

    def refuse_as(self, raw: Any, digest: str, problem: Data) -> None:
        """Note a refusal with the problem document of whoever refused it."""
        item = raw if isinstance(raw, dict) else {}
        event_id, seq = item.get("id"), item.get("seq")
        whole = isinstance(seq, int) and not isinstance(seq, bool) and 0 <= seq < 2**53
        named = isinstance(event_id, str)
        self.refused.append(
            {
                "id": event_id if named else None,
                "event_id": event_id if named and Name().fits(event_id) else None,
                "seq": seq if whole else None,
                "hash": digest,
                "body": raw,
                "problem": problem,
            }
        )


def push(
    site_id: str,
    device_id: str,
    events: list[Any],
    sent_at: Any,
    now_ms: int,
    person: Data | None = None,
    heard: tuple[str | None] | None = None,
    *,
    sure: bool = True,
    who: Data | None = None,
) -> Data:
    """Take a batch; return {stored, already, refused, next_seq, revision, …}.

    An id that is stored already with the same body is `already`; with another body it is refused
    and never merged. Nothing in a batch holds up the rest.

    Args:
        sent_at: the phone's own time of sending, for a phone that measured no skew.
        person: `{name, person, role}` of whoever signed in on the device, for its row.
        heard: whose the phone surely is, if anybody's, where the names on the events are only what
            was said on it. Another name is marked `by_said`: attribution, no proof.
        sure: our own clock is in no doubt; else no phone's is corrected by it, nor told to be.
        who: the actor of a request, where one sends.

    Raises:
        NotAllowed: the device is somebody else's.
    """
    known = person or {}
    surely = heard[0] if heard else None
    # Who records here was only said: that changes nothing of what is set for that person.
    sender = Sender(known.get("role"), surely, known, None, heard is not None, surely, who=who)
    verdicts = check(events, device_id, _skew(sent_at, now_ms), now_ms, sender, sure=sure)
    answer = store(site_id, device_id, verdicts, to_text(now_ms), sender)
    return answer if sure else {**answer, "server_time": None}


def store(site_id: str, device_id: str, verdicts: Verdicts, now: str, sender: Sender) -> Data:
    """Store what was checked, in one transaction, and return the push's answer."""
    keys = record.lock_keys(site_id, verdicts.checked) | {f"phone:{device_id}"}
    keys |= {names.LOCK for event in verdicts.checked if names.sets_name(event)}
    first = {owners.LOCK for event in verdicts.checked if owners.may_need_owner(event)}

    def act(work: Work) -> Data:
        # Before any person's: whoever has it asks for more of them.
        work.lock(first)
        work.lock(keys)
        row = (
            senders.identity(work, device_id, sender.who, sender.row) if sender.who else sender.row
        )
        checked = [dict(event) for event in verdicts.checked]
        refused = list(verdicts.refused)
        added, already = _sort_out(work, checked, refused, sender.role)
        phone = phones.phone_of(work, device_id) | row
        if sender.counts:
            _account(work, phone, added, refused, _seqs(checked, already))
        if sender.brought is None:
            phone["last_sync_at"] = now
        phones.keep_refused(work, device_id, refused)
        revision = record.append(work, added, phone)
        return _answer(work, added, already, refused, phone, revision)

    return writing(site_id, now, act)


def check(
    events: list[Any],
    device_id: str,
    skew_ms: int,
    now_ms: int,
    sender: Sender,
    *,
    sure: bool = True,
) -> Verdicts:
    """Check every item by itself and fix what is fixed at receipt."""
    verdicts = Verdicts()
    fixed: Data = {"device": device_id, "received_at": to_text(now_ms)}
    for raw in events:
        digest = body_hash(raw)
        try:
            event = check_event(raw)
            check_role(event, sender.role, sender.person)
            for name in ("brought", "by_said"):
                event.pop(name, None)
            event |= {**fixed, "hash": digest}
            event |= {"brought": sender.brought} if sender.brought else {}
            event |= _attributed(event, sender)
            event["at"] = corrected_at(event, skew_ms, now_ms, sure=sure)
        except Refusal as refusal:
            verdicts.refuse(raw, digest, refusal)
        else:
            verdicts.checked.append(event)
    return verdicts


def _attributed(event: Data, sender: Sender) -> Data:
    said = sender.heard and is_said(event["by"], sender.surely)
    return {"by_said": True} if said else {}


def _skew(sent_at: Any, now_ms: int) -> int:
    try:
        return now_ms - parse_instant(sent_at)
    except BadInstant:
        return 0


def _sort_out(
    work: Work, checked: list[Data], refused: list[Row], role: str | None
) -> tuple[list[Data], list[str]]:
    """Return (new events, ids stored already); what only the record shows to be wrong is refused.

    That is an id with another body, a correction of what is the owner's, another's name, and what
    would leave nobody an owner.
    """
    stored = work.rows_in(Event, Event.id, {event["id"] for event in checked})
    hashes = {row["id"]: row["hash"] for row in stored}
    added: list[Data] = []
    already: list[str] = []
    for event in checked:
        digest = hashes.get(event["id"])
        if digest is None:
            hashes[event["id"]] = event["hash"]
            added.append(event)
        elif digest == event["hash"]:
            already.append(event["id"])
        else:
            says = "This id is on record with another content. Send it again under a new id."
            refused.append(_refused(event, IdTaken(says)))
    not_theirs = owners_corrections(work, added, role)
    wrong: dict[str, Refusal] = dict.fromkeys(not_theirs, owners_only(role))
    wrong |= _wrong_together(work, [event for event in added if event["id"] not in wrong])
    refused += [_refused(event, wrong[event["id"]]) for event in added if event["id"] in wrong]
    return [event for event in added if event["id"] not in wrong], already


def _wrong_together(work: Work, added: list[Data]) -> dict[str, Refusal]:
    """Return the refusals of what is wrong beside the rest of a batch.

    A name is free only where whoever gave it up did so: the rest is asked again without each event
    that is refused.
    """
    wrong: dict[str, Refusal] = {}
    while True:
        left = [event for event in added if event["id"] not in wrong]
        found: dict[str, Refusal] = dict(names.taken_names(work, left))
        found = found or dict(last_owners(work, left))
        if not found:
            return wrong
        wrong |= found


def _refused(event: Data, refusal: Refusal) -> Row:
    return {
        "id": event["id"],
        "event_id": event["id"],
        "seq": event["seq"],
        "hash": event["hash"],
        "body": {name: value for name, value in event.items() if name not in FIXED_HERE},
        "problem": refusal.problem(),
    }


def _seqs(checked: list[Data], ids: list[str]) -> list[int]:
    """Return the numbers of what is there already: a file may have brought it, uncounted."""
    there = set(ids)
    return [event["seq"] for event in checked if event["id"] in there]


def _account(
    work: Work, phone: Data, added: list[Data], refused: list[Row], before_now: list[int]
) -> None:
    numbers = [event["seq"] for event in added]
    known = [event for event in added if is_known(phone, event["seq"])]
    # What was refused before and is taken now comes under its own number again.
    before = phones.refused_hashes(work, phone["id"], known)
    if len(set(numbers)) < len(numbers) or any(event["hash"] not in before for event in known):
        phone["cloned_since"] = phone["cloned_since"] or work.now
    refused_numbers = [row["seq"] for row in refused if row["seq"] is not None]
    account(phone, [*numbers, *refused_numbers, *before_now], work.now)


def _answer(
    work: Work,
    added: list[Data],
    already: list[str],
    refused: list[Row],
    phone: Data,
    revision: int,
) -> Data:
    site = (
        work.connection.execute(Site.__table__.select().where(Site.id == work.site_id))
        .mappings()
        .one()
    )
    return {
        "stored": [event["id"] for event in added],
        "already": already,
        "refused": [{"id": row["id"], "problem": row["problem"]} for row in refused],
        "next_seq": next_seq(phone),
        "revision": revision,
        "backed_up_seq": backed_up_seq(work, phone["id"]),
        "epoch": site["epoch"],
        "server_time": work.now,
    }
