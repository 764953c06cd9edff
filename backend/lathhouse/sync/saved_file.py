"""A phone's unsent records, brought as the file that it saved: stored once, under its own numbers.

What the phone has sent by then, or sends later, is the same records and counts as there already.
"""

from collections.abc import Iterator
from typing import Any

from lathhouse.domain.instants import to_text
from lathhouse.domain.saved_file import BadSavedFile, SavedFile, read_saved_file
from lathhouse.errors import SavedFileRefused
from lathhouse.store.access import known_phone
from lathhouse.store.log import body_hash, is_key
from lathhouse.store.models import Event
from lathhouse.store.senders import proved_of
from lathhouse.store.work import Work, looking
from lathhouse.sync.photos import take_packed
from lathhouse.sync.push import Sender, Verdicts, check, store

Data = dict[str, Any]
# Stored in one transaction, so that phones are not kept waiting behind a long file. Ours.
STEP_EVENTS = 500
REFUSED_BEFORE = {"title": "This cannot be taken as it is", "detail": "It was refused before."}
PROBLEM = ("type", "title", "status", "detail", "field")


def take_file(site_id: str, text: str, now_ms: int, taker: Data, *, sure: bool = True) -> Data:
    """Store what is in a saved file.

    Args:
        taker: `{person, proved, device, role, from}`: who brings it, with what rights, and by
            which way. `proved` is who that surely is, `device` the phone that they bring it with.
        sure: our own clock is in no doubt; else no phone's is corrected by it.

    Returns:
        `{device, phone, made_at, stored, already, refused, photos}`: how many were stored and how
        many were there already, of each refused one its `{id, kind, observed_at, problem}`, and how
        many of its pictures are here now.

    Raises:
        SavedFileRefused: it is no such file, not whole, or of another nursery.
    """
    try:
        file = read_saved_file(text)
    except BadSavedFile as error:
        raise SavedFileRefused(str(error)) from error
    phone, own = looking(site_id, to_text(now_ms), lambda work: _phone_of(work, file.device))
    _check_home(site_id, file, phone)
    sender = _sender(phone, own, taker, is_its_own=taker["device"] == file.device)
    counts, refused = {"stored": 0, "already": 0}, []
    for verdicts in _batches(site_id, file, now_ms, sender, sure=sure):
        answer = store(site_id, file.device, verdicts, to_text(now_ms), sender)
        counts = {name: count + len(answer[name]) for name, count in counts.items()}
        refused += answer["refused"]
    named = {"device": file.device, "phone": (phone or {}).get("name"), "made_at": file.made_at}
    # After the records that name them.
    photos = take_packed(site_id, file.photos, to_text(now_ms))
    return {**named, **counts, "refused": _in_words(file, refused), "photos": photos}


def _check_home(site_id: str, file: SavedFile, phone: Data | None) -> None:
    if file.site is not None and file.site != site_id:
        says = "This file is of a phone of another nursery. Send it to that nursery's own server."
        raise SavedFileRefused(says)
    if file.site is None and phone is None:
        says = "This file does not say of which nursery it is, and its phone was never let in here."
        raise SavedFileRefused(f"{says} Pair the phone, or save the file after it was in touch.")


def _phone_of(work: Work, device: str) -> tuple[Data | None, str | None]:
    return known_phone(work, device), proved_of(work, device)


def _sender(phone: Data | None, own: str | None, taker: Data, *, is_its_own: bool) -> Sender:
    """Return who sends: a file is worth no more than its bringer, for anybody can write one.

    What its device says of itself holds where its own person or an owner brings it. Brought by
    others its records are stored, and its numbers wait until that phone or an owner says them too:
    or a made-up number would be a gap, or a second phone of one id.

    Args:
        own: whose the file's phone surely is.
        is_its_own: whether it is brought with that very phone.
    """
    row = {name: phone[name] for name in ("role", "person")} if phone else {}
    by_owner = taker["role"] == "owner"
    role = "owner" if row.get("role") == "owner" and by_owner else "worker"
    brought = {"by": taker["person"], "from": taker["from"]}
    oneself = own if by_owner else taker["proved"]
    counts = by_owner or is_its_own or (own is not None and own == taker["proved"])
    brought |= {} if counts else {"aside": True}
    return Sender(role, oneself, row, brought, True, taker["proved"], counts)


def _batches(
    site_id: str, file: SavedFile, now_ms: int, sender: Sender, *, sure: bool
) -> Iterator[Verdicts]:
    """Yield the file's records checked: first what was refused before, for others may mend it."""
    before = looking(site_id, to_text(now_ms), lambda work: _still_refused(work, file))
    for part in _parts(before):
        verdicts = Verdicts()
        for one in part:
            raw = one["event"]
            verdicts.refuse_as(raw, body_hash(raw), _problem(one["problem"]))
        yield verdicts
    for part in _parts(file.events):
        yield check(part, file.device, file.skew_ms, now_ms, sender, sure=sure)


def _still_refused(work: Work, file: SavedFile) -> list[Data]:
    ids = {one["event"].get("id") for one in file.refused if isinstance(one["event"], dict)}
    clean = {name for name in ids if isinstance(name, str) and is_key(name)}
    there = {row["id"] for row in work.rows_in(Event, Event.id, clean)}
    return [one for one in file.refused if _id_of(one["event"]) not in there]


def _parts(items: list[Any]) -> Iterator[list[Any]]:
    for first in range(0, len(items), STEP_EVENTS):
        yield items[first : first + STEP_EVENTS]


def _problem(said: Any) -> Data:
    """Return a problem as the phone kept it, as far as it is one."""
    kept = said if isinstance(said, dict) else {}
    plain = {name: kept[name] for name in PROBLEM if isinstance(kept.get(name), str | int)}
    return {**REFUSED_BEFORE, **plain}


def _id_of(event: Any) -> Any:
    return event.get("id") if isinstance(event, dict) else None


def _in_words(file: SavedFile, refused: list[Data]) -> list[Data]:
    """Return refusals with what each record was, for whoever reads them off the phone."""
    items = [*file.events, *(one["event"] for one in file.refused)]
    known = {event["id"]: event for event in items if isinstance(_id_of(event), str)}
    said = []
    for one in refused:
        event = known.get(one["id"], {})
        said.append({**one, "kind": event.get("kind"), "observed_at": event.get("observed_at")})
    return said
