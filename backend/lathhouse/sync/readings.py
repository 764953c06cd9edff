"""Readings that a machine sends: each becomes one event of the log, however often it is sent."""

import uuid
from typing import Any

from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from lathhouse.errors import BadField, Refusal
from lathhouse.store.config import rows_of_kind
from lathhouse.store.models import Event
from lathhouse.store.work import Work, looking
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.server_events import ServerDevice

Data = dict[str, Any]
NAMES = uuid.UUID("0b0f6f0e-3f0e-5d1c-9a51-5b0d4c1f7e21")


def take_readings(
    site_id: str, device: ServerDevice, sensor: str, items: list[Any], now_ms: int
) -> Data:
    """Take readings; return {stored, already, refused}, each with the place it has in `items`.

    A reading is {place (its id or its name), quantity_kind, value, read_at (now where left out)}.
    Its id is made of sensor, place, quantity and time, so that one sent again is `already`.
    """
    places = looking(site_id, to_text(now_ms), lambda work: rows_of_kind(work, "place"))
    drafts: dict[str, Data] = {}
    refused: list[Data] = []
    ids: list[str | None] = []
    for index, item in enumerate(items):
        try:
            draft = _draft(site_id, sensor, item, places, now_ms)
        except Refusal as refusal:
            refused.append({"index": index, "problem": refusal.problem()})
            ids.append(None)
        else:
            drafts.setdefault(draft["id"], draft)
            ids.append(draft["id"])
    known = _stored(site_id, set(drafts), now_ms)
    fresh = [draft for name, draft in drafts.items() if name not in known]
    said = device.write_all(site_id, fresh, now_ms) if fresh else {"stored": []}
    # The same one may have come on another line meanwhile.
    stored = set(said["stored"])
    known |= _stored(site_id, {draft["id"] for draft in fresh} - stored, now_ms)
    return {
        "stored": sorted(stored),
        "already": sorted(name for name in known if name not in stored),
        "refused": refused,
    }


def _draft(site_id: str, sensor: str, item: Any, places: dict[str, Data], now_ms: int) -> Data:
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
    data = {"place": place, "quantity_kind": kind, "value": item.get("value")}
    named = f"{site_id}|{sensor}|{place}|{kind}|{at_ms}"
    draft = {
        "id": str(uuid.uuid5(NAMES, named)),
        "seq": 1,
        "kind": "read",
        "lot": None,
        "observed_at": to_text(at_ms),
        "typed": True,
        "data": {**data, "by_sensor": sensor},
    }
    corrected_at(check_event(draft), 0, now_ms)
    return draft


def _place_of(given: Any, places: dict[str, Data]) -> str:
    """Return the id of the place that a reading names by its id or its name.

    Raises:
        BadField: there is no such place, or there are two.
    """
    if given in places:
        return str(given)
    wanted = str(given).strip().lower()
    found = [name for name, row in places.items() if str(row.get("name", "")).lower() == wanted]
    if len(found) != 1:
        known = ", ".join(sorted(str(row.get("name")) for row in places.values())) or "none yet"
        raise BadField(f"place must be the id or the name of one place ({known}).", field="place")
    return found[0]


def _stored(site_id: str, ids: set[str], now_ms: int) -> set[str]:
    def act(work: Work) -> set[str]:
        return {row["id"] for row in work.rows_in(Event, Event.id, ids)}

    return looking(site_id, to_text(now_ms), act)
