"""Readings that a machine sends: each becomes one event of the log, however often it is sent."""

import uuid
from typing import Any

from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from lathhouse.domain.phone_numbers import account, next_seq
from lathhouse.errors import BadField, IdTaken, Refusal
from lathhouse.store import phones, record
from lathhouse.store.config import rows_of_kind
from lathhouse.store.log import body_hash, event_of
from lathhouse.store.models import Event
from lathhouse.store.senders import SENSOR
from lathhouse.store.work import Work, looking, writing
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.shapes import READINGS

Data = dict[str, Any]
# One without a time of its own that says the same within this long was sent again. Ours.
AGAIN_MS = 60_000
NAMES = uuid.UUID("0b0f6f0e-3f0e-5d1c-9a51-5b0d4c1f7e21")


def take_readings(
    site_id: str, sensor: str, items: list[Any], now_ms: int, *, sure: bool = True
) -> Data:
    """Take readings; return {stored, already, refused}, each refusal with its index in `items`.

    A reading is {place (its id or its name), quantity_kind, value, read_at (now where left out),
    id (optional)}. Without an id it is made of sensor, place, quantity and time, so that one sent
    again is `already`; with neither id nor time, the same value within a minute is one sent again.
    The log has them under the sensor's own device.

    Args:
        sure: our own clock is in no doubt; else a time may be further ahead of it.
    """
    now = to_text(now_ms)
    places = looking(site_id, now, lambda work: rows_of_kind(work, "place"))
    drafts: dict[int, Data] = {}
    earlier: dict[int, str] = {}
    refused: dict[int, Data] = {}
    for index, item in enumerate(items):
        try:
            drafts[index] = _draft(site_id, sensor, item, places, now_ms, sure=sure)
            if item.get("read_at") is None and not item.get("id"):
                earlier[index] = _minutes_id(site_id, drafts[index], now_ms - AGAIN_MS)
        except Refusal as refusal:
            refused[index] = refusal.problem()
    untimed = {index for index in drafts if items[index].get("read_at") is None}
    device = sensor_device(site_id, sensor)
    keys = record.lock_keys(site_id, list(drafts.values())) | {f"phone:{device}"}

    def act(work: Work) -> Data:
        work.lock(keys)
        again = _sent_again(work, earlier, to_text(now_ms - AGAIN_MS))
        said = _sort_out(work, {n: drafts[n] for n in drafts if n not in again}, untimed)
        phone = phones.phone_of(work, device)
        phone |= as_sensor(sensor, now)
        first = next_seq(phone)
        added = [numbered(event, device, first + n, now) for n, event in enumerate(said["new"])]
        account(phone, [event["seq"] for event in added], now)
        if added:
            record.append(work, added, phone)
        problems = sorted({**refused, **said["refused"]}.items())
        return {
            "stored": sorted(event["id"] for event in added),
            "already": sorted({*said["already"], *again.values()}),
            "refused": [{"index": index, "problem": problem} for index, problem in problems],
        }

    return writing(site_id, now, act)


def sensor_device(site_id: str, sensor: str) -> str:
    """Return the id of the device under which the log has a sensor's readings."""
    return str(uuid.uuid5(NAMES, f"{site_id}|{sensor}"))


def as_sensor(name: str, now: str) -> Data:
    """Return what such a device's row says of it."""
    said = {"name": name, "role": "sensor", "silent_ok": True, "sender": SENSOR}
    return {**said, "last_sync_at": now}


def _minutes_id(site_id: str, draft: Data, at_ms: int) -> str:
    """Return the id of a reading that has neither id nor time of its own, by its minute."""
    data = draft["data"]
    named = (data["by_sensor"], data["place"], data["quantity_kind"], data["value"])
    return str(uuid.uuid5(NAMES, "|".join(map(str, (site_id, *named, at_ms // AGAIN_MS)))))


def _sent_again(work: Work, earlier: dict[int, str], since: str) -> dict[int, str]:
    """Return {index: id} of the readings that the minute before has already."""
    rows = work.rows_in(Event, Event.id, set(earlier.values()), Event.at > since)
    stored = {row["id"] for row in rows}
    return {index: event_id for index, event_id in earlier.items() if event_id in stored}


def _sort_out(work: Work, drafts: dict[int, Data], untimed: set[int]) -> Data:
    """Return {new, already, refused}: an id on record with another reading is never merged."""
    ids = {draft["id"] for draft in drafts.values()}
    known = {row["id"]: event_of(row) for row in work.rows_in(Event, Event.id, ids)}
    stored = set(known)
    new: list[Data] = []
    refused: dict[int, Data] = {}
    already: set[str] = set()
    for index, draft in drafts.items():
        before = known.setdefault(draft["id"], draft)
        if before is draft:
            new.append(draft)
        elif before["data"] != draft["data"] or (
            index not in untimed and before["at"] != draft["at"]
        ):
            says = "That sensor has said something else of this place at this very time."
            refused[index] = IdTaken(says).problem()
        elif draft["id"] in stored:
            already.add(draft["id"])
    return {"new": new, "already": sorted(already), "refused": refused}


def numbered(event: Data, device: str, seq: int, now: str) -> Data:
    """Return an event with its number, device and hash, as a sensor's phone would have sent it."""
    numbered = {**event, "seq": seq}
    digest = body_hash({name: value for name, value in numbered.items() if name != "at"})
    return {**numbered, "device": device, "hash": digest, "received_at": now}


def _draft(
    site_id: str, sensor: str, item: Any, places: dict[str, Data], now_ms: int, *, sure: bool
) -> Data:
    if not isinstance(item, dict):
        raise BadField("A reading is an object with place, quantity_kind, value and read_at.")
    place = _place_of(item.get("place"), places)
    given = item.get("read_at")
    try:
        at_ms = now_ms if given is None else parse_instant(given)
    except BadInstant as error:
        says = "read_at must be a time with its UTC offset such as 2026-05-01T08:00:00+10:00."
        raise BadField(says, field="read_at") from error
    kind = item.get("quantity_kind", "temp_c")
    if not isinstance(kind, str) or kind not in READINGS:
        says = f"quantity_kind must be one of {', '.join(READINGS)}."
        raise BadField(says, field="quantity_kind")
    named = f"{site_id}|{sensor}|{place}|{kind}|{at_ms}"
    draft = {
        "id": item.get("id") or str(uuid.uuid5(NAMES, named)),
        "seq": 1,
        "kind": "read",
        "lot": None,
        "observed_at": to_text(at_ms),
        "typed": True,
        "data": {
            "place": place, "quantity_kind": kind, "value": item.get("value"), "by_sensor": sensor,
        },
    }  # fmt: skip
    if given is None and not item.get("id"):
        draft["id"] = _minutes_id(site_id, draft, at_ms)
    event = check_event(draft)
    return {**event, "at": corrected_at(event, 0, now_ms, sure=sure)}


def _place_of(given: Any, places: dict[str, Data]) -> str:
    """Return the id of the place that a reading names by its id or its name.

    Raises:
        BadField: there is no such place, or there are two.
    """
    if isinstance(given, str) and given in places:
        return given
    wanted = str(given).strip().lower()
    found = [name for name, row in places.items() if str(row.get("name", "")).lower() == wanted]
    if len(found) != 1:
        known = ", ".join(sorted(str(row.get("name")) for row in places.values())) or "none yet"
        raise BadField(f"place must be the id or the name of one place ({known}).", field="place")
    return found[0]
