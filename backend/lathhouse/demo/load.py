"""Filling an empty record with the demo, through the same door as any phone."""

from typing import Any

from lathhouse.demo.scenario import scenario
from lathhouse.demo.story import name_id
from lathhouse.domain.instants import HOUR_MS, MINUTE_MS, to_text
from lathhouse.store.models import Event
from lathhouse.store.work import looking
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


def load(site_id: str, now_ms: int) -> int:
    """Push the demo's events to an empty site; return how many there were.

    A site that has events already is left as it is.
    """
    if not looking(site_id, to_text(now_ms), lambda work: work.rows(Event)[:1] == []):
        return 0
    phones = scenario(now_ms, site_id)
    total = 0
    for phone in sorted(phones, key=lambda name: -LAST_CONTACT_MS[name]):
        contact_ms = now_ms - LAST_CONTACT_MS[phone]
        known: dict[str, Any] = {"name": PHONES[phone], "silent_ok": phone == "probe"}
        for start in range(0, len(phones[phone]), BATCH):
            batch = phones[phone][start : start + BATCH]
            said = push(site_id, name_id(phone), batch, None, contact_ms, known)
            if said["refused"]:
                raise RuntimeError(
                    f"the demo is refused: {said['refused'][0]['problem']['detail']}"
                )
            total += len(said["stored"])
    return total
