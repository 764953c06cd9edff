"""The morning list of the record as it stands now: for printing, and for the morning's mail."""

import json
from typing import Any

from lathhouse.domain.facts import is_live
from lathhouse.domain.morning import morning
from lathhouse.domain.morning_text import text
from lathhouse.domain.morning_words import WORDS
from lathhouse.store import weather
from lathhouse.store.config import rows_of_kind
from lathhouse.store.models import Subject
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
TOLD_OF = ("place", "nursery", "phone", "solution")


def morning_of(site_id: str, now: str) -> Data:
    """Return what is to be seen today, as `domain.morning` says it, with {text} and {people}."""
    return looking(site_id, now, read_morning)


def read_morning(work: Work) -> Data:
    """Return the morning list within a transaction: {…, people, text}."""
    found = morning(house_of(work), work.now)
    people = {row["id"]: row.get("name") or "?" for row in rows_of_kind(work, "person").values()}
    return {**found, "people": people, "text": text(found, WORDS, people)}


def house_of(work: Work) -> Data:
    """Return what `domain.morning.morning` asks for: rows, and what the watches find in them."""
    watcher = Watcher(work)
    lots = [json.loads(row["data"]) for row in work.rows(Subject, Subject.kind == "lot")]
    lots = [lot for lot in lots if not lot.get("gone") and is_live(lot)]
    findings: dict[str, list[Data]] = {}
    notices: dict[str, list[Data]] = {}
    for lot in lots:
        found = watcher.evaluate("lot", lot)
        findings[f"lot:{lot['id']}"] = found["findings"]
        notices[lot["id"]] = found["notices"]
    for kind in TOLD_OF:
        for subject, row in rows_of_kind(work, kind).items():
            findings[f"{kind}:{subject}"] = watcher.evaluate(kind, row)["findings"]
    return {
        "nursery": rows_of_kind(work, "nursery")[work.site_id],
        "places": list(watcher.places.values()),
        "lots": lots,
        "crops": watcher.crops,
        "findings": findings,
        "notices": notices,
        "stock": weather.whole_stock(work, watcher),
    }
