"""Forecasts from outside: each value one event of the log."""

import uuid
from typing import Any

from lathhouse.domain.forecast_file import read_forecast
from lathhouse.domain.instants import HOUR_MS, to_ms, to_text
from lathhouse.domain.mixing_words import say
from lathhouse.domain.phone_numbers import account, next_seq
from lathhouse.domain.weather_rows import FORECASTS
from lathhouse.errors import BadField
from lathhouse.store import phones, record
from lathhouse.store.config import data_of
from lathhouse.store.models import Event
from lathhouse.store.work import Work, writing
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.readings import NAMES, as_sensor, numbered, sensor_device

Data = dict[str, Any]

# A figure that has not changed is recorded again after this long, so that its age stays true. Ours.
SAME_STANDS_MS = 6 * HOUR_MS


def take_forecast(site_id: str, source: str, text: str, now_ms: int) -> Data:
    """Take a forecast's text; return {stored, unchanged, problems}.

    Raises:
        BadField: nothing in it can be read.
    """
    found = read_forecast(text)
    problems = [say(problem) for problem in found["problems"]]
    if not found["readings"]:
        raise BadField(problems[0], field="forecast")
    device, now = sensor_device(site_id, source), to_text(now_ms)

    def act(work: Work) -> Data:
        work.lock({f"nursery:{site_id}", f"phone:{device}"})
        nursery = data_of(work, "nursery", site_id) or {}
        fresh = [one for one in found["readings"] if not _stands(nursery, one, now_ms)]
        phone = phones.phone_of(work, device)
        phone |= as_sensor(source, now)
        first = next_seq(phone)
        # By id: the same figure twice in one forecast, or sent twice at once, is one record.
        drafts = {one["id"]: one for one in (_event(site_id, source, f, now_ms) for f in fresh)}
        known = {row["id"] for row in work.rows_in(Event, Event.id, drafts)}
        new = [draft for name, draft in drafts.items() if name not in known]
        added = [numbered(draft, device, first + n, now) for n, draft in enumerate(new)]
        account(phone, [event["seq"] for event in added], now)
        if added:
            record.append(work, added, phone)
        return {
            "stored": [event["id"] for event in added],
            "unchanged": len(found["readings"]) - len(added),
            "problems": problems,
        }

    return writing(site_id, now, act)


def _stands(nursery: Data, one: Data, now_ms: int) -> bool:
    """Say whether the record has this very figure already, and not from long ago."""
    day = one.get("for_night_of") or one.get("for_day")
    which = FORECASTS[one["quantity_kind"]]
    return any(
        told["which"] == which and told["day"] == day and told["value"] == one["value"]
        and now_ms - to_ms(told["at"]) < SAME_STANDS_MS
        for told in nursery.get("forecasts") or []
    )  # fmt: skip


def _event(site_id: str, source: str, data: Data, now_ms: int) -> Data:
    named = f"{site_id}|{source}|{sorted(data.items())}|{now_ms}"
    draft = {
        "id": str(uuid.uuid5(NAMES, named)), "seq": 1, "kind": "read", "lot": None,
        "observed_at": to_text(now_ms), "typed": True, "data": {**data, "by_sensor": source},
    }  # fmt: skip
    event = check_event(draft)
    return {**event, "at": corrected_at(event, 0, now_ms)}
