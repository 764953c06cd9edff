"""What frost and heat ask of the lots, found without folding one: kept on each lot's row.

A lot that frost or heat can hurt, or that has a cover of its own, carries a small entry
(`tender.weather_entry`); an index holds those that do. The nursery reads it only while a forecast
or a cold reading stands.
"""

import json
from typing import Any

from sqlalchemy import select

from lathhouse.domain import facts
from lathhouse.domain.tender import weather_entry
from lathhouse.domain.weather_facts import HOUSE, NO_STOCK, weather_stands
from lathhouse.store.models import Subject
from lathhouse.store.work import Work, chunks, dumps

Data = dict[str, Any]
AtSubject = tuple[str, str]


def entry_text(lot: Data, crops: dict[str, Data]) -> str | None:
    """Return the text of a lot's entry, or None where neither frost nor heat asks for it."""
    if lot.get("gone") or not facts.is_live(lot):
        return None
    entry = weather_entry(lot, crops.get(lot["crop"]), facts.phase(lot))
    return dumps(entry) if entry else None


def stock_of_place(work: Work, place: Data, home: Data) -> Data:
    """Return what stands in one place."""
    entries = _entries(work, Subject.place_id == place["id"])
    places = {place["id"]: place}
    return {
        "entries": entries,
        "places": places,
        "houses": {},
        "offsets": home["offsets"],
        "home": home,
    }


def stock_of_nursery(work: Work, nursery: Data, watcher: Any) -> Data:
    """Return what stands anywhere, where the weather can matter at all."""
    if not weather_stands(nursery, work.now):
        return NO_STOCK
    houses = [name for name, place in watcher.places.items() if place.get("kind") == HOUSE]
    return {
        "entries": _entries(work),
        "places": watcher.places,
        "houses": {house: watcher.standing(house) for house in houses},
        "offsets": watcher.site["offsets"],
        "home": nursery,
    }


def whole_stock(work: Work, watcher: Any) -> Data:
    """Return what stands anywhere, whatever the weather."""
    told = {"houses": {}, "offsets": watcher.site["offsets"], "home": watcher.home}
    return {"entries": _entries(work), "places": watcher.places, **told}


def _entries(work: Work, *conditions: Any) -> list[Data]:
    query = select(Subject.id, Subject.place_id, Subject.seen_at, Subject.weather).where(
        Subject.site_id == work.site_id,
        Subject.kind == "lot",
        Subject.weather.is_not(None),
        *conditions,
    )
    return [
        {**json.loads(text or "{}"), "id": lot, "place": place, "seen_at": seen}
        for lot, place, seen, text in work.connection.execute(query.order_by(Subject.id))
    ]


def renew(work: Work, rows: dict[AtSubject, Data], crops: dict[str, Data]) -> None:
    """Bring the entries of lots that were looked at again up to date: their crop may have changed.

    Where one did, the nursery and the place are due again.
    """
    lots = {subject: data for (kind, subject), data in rows.items() if kind == "lot"}
    if not lots:
        return
    kept = {lot: text for part in chunks(lots) for lot, text in _texts(work, part)}
    fresh = {lot: entry_text(data, crops) for lot, data in lots.items()}
    changed = {lot: text for lot, text in fresh.items() if text != kept.get(lot)}
    for lot, text in changed.items():
        _write(work, "lot", lot, {"weather": text})
    around = {("nursery", work.site_id)} if changed else set()
    around |= {("place", lots[lot]["place"]) for lot in changed if lots[lot]["place"]}
    for kind, subject in around:
        _write(work, kind, subject, {"next_deadline": work.now})


def _texts(work: Work, lots: list[str]) -> list[tuple[str, str | None]]:
    query = select(Subject.id, Subject.weather).where(
        Subject.site_id == work.site_id, Subject.kind == "lot", Subject.id.in_(lots)
    )
    return [(lot, text) for lot, text in work.connection.execute(query)]


def _write(work: Work, kind: str, subject: str, values: Data) -> None:
    work.connection.execute(
        Subject.__table__.update()  # type: ignore[attr-defined]
        .where(Subject.site_id == work.site_id, Subject.kind == kind, Subject.id == subject)
        .values(**values)
    )
