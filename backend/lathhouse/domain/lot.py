"""A lot is the fold of its events: pure, and the same whatever order they arrived in.

The state is plain JSON. Fields are listed in `new_lot`; `apply` is the one table of what each event
kind does. Kinds that are not in it leave the lot alone, but are counted where nobody knows them.
"""

from collections.abc import Callable, Iterable
from typing import Any

from lathhouse.domain import counts, looks, spells, stock
from lathhouse.domain.answers import with_answer
from lathhouse.domain.attribution import said_by
from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import later
from lathhouse.domain.rows import cover_said
from lathhouse.domain.rule_terms import is_number
from lathhouse.domain.treatments import ended_at, with_note

Event = dict[str, Any]
Lot = dict[str, Any]

NOTES_MAX = 40
# Places it was last taken out of; more in the days that a place may be closed is no nursery.
LEFT_MAX = 8
# What a child lot goes on with from the lots it came from.
INHERITED = (
    "spells", "last_look", "looks", "last", "series", "seen_at", "sown", "acid_at", "rinsed_at",
    "held_over", "last_watered_at",
)  # fmt: skip
# Acts and observations made at the lot itself: whoever recorded one has been there.
SEEN = frozenset(
    "lot_started seed_cleaned soak_started water_changed aerated soak_ended sanitise_started"
    " sanitise_ended warm_started warm_ended cold_started cold_ended watered tested sown looked"
    " counted potted_on lost moved covered uncovered scarified rinsed_neutral emergence_closed"
    " stocktaken graded photographed".split()
)
# What says, of a lot that is closed on record, that there is still something there.
AFTER_CLOSING = (SEEN | {"sold", "treated"}) - {"lot_started", "photographed"}
# What is tested of a lot's own water (pour-through).
TESTED = ("ph", "ec_ms_cm")
# Without these numbers an event cannot be read; an amendment may have struck one out.
NUMBERS_NEEDED = {
    "counted": ("emerged", "out_of"),
    "lost": ("quantity", "out_of"),
    "potted_on": ("quantity", "container_l"),
    "stocktaken": ("quantity",),
    "sold": ("quantity",),
}


def new_lot(lot_id: str, inherited: Lot | None = None) -> Lot:
    """Return the state of a lot of which nothing is known yet, but what its parents left it."""
    lot: Lot = {
        "id": lot_id, "crop": None, "label": None, "place": None, "placed_at": None,
        "parents": [], "children": [],
        "quantity": None, "unit": None, "container_l": None, "provenance": None,
        "started_at": None, "closed_at": None, "closed_why": None, "closed_event": None,
        "after_closing": None, "left": [],
        "stage": "seed", "stage_since": None, "spells": [],
        "last_look": None, "looks": [], "last": {}, "series": {}, "seen_at": None,
        "last_watered_at": None, "covered_at": None, "cover": None, "bared_at": None,
        "cleaned_at": None, "sown": None,
        "counts": [], "flats": {}, "emerged": None, "first_emerged_at": None, "last_rise_at": None,
        "emergence_closed_at": None, "held_over": None, "potted_at": None,
        "losses": [], "lost_seedlings": 0, "discrepancies": [], "conflict": None,
        "split_off": {}, "potted_into": [], "acid_at": None, "rinsed_at": None,
        "tests": [], "treatments": [], "promises": [], "grades": [], "sales": [],
        "answers": {}, "events_count": 0, "not_understood": 0,
    }  # fmt: skip
    return {**lot, **plain_copy(inherited or {})}


def start_from(parents: list[Lot]) -> Lot:
    """Return what a lot inherits: a split on day 30 is still day 30.

    Of several parents (a merge) the longest spell and the oldest look count, so that no part of
    the merged seed goes longer unseen than its alarm allows.
    """
    known = [parent for parent in parents if parent]
    if not known:
        return {}
    heir = min(known, key=lambda parent: (parent["seen_at"] or "", parent["id"]))
    inherited: Lot = plain_copy({name: heir[name] for name in INHERITED})
    for spell in inherited["spells"]:
        if spell["ended_at"] is None:
            twins = [spells.open_spell(parent, spell["kind"]) for parent in known]
            spell["started_at"] = min(twin["started_at"] for twin in twins if twin)
    return inherited


def plain_copy(value: Any) -> Any:
    """Return a copy of JSON-like data that shares nothing with it, much faster than `deepcopy`."""
    if isinstance(value, dict):
        return {name: plain_copy(one) for name, one in value.items()}
    return [plain_copy(one) for one in value] if isinstance(value, list) else value


def fold(lot_id: str, events: Iterable[Event], inherited: Lot | None = None) -> Lot | None:
    """Return the lot that a log says there is, or None while nothing has started it.

    Args:
        events: the lot's events in any order; the starts of its children and the `potted_on` that
            filled it belong to them. Corrections may be among them.
        inherited: what `start_from` made of the parents as they were when this lot began.
    """
    lot = run(new_lot(lot_id, inherited), started_first(lot_id, effective(events)))
    return lot if lot["started_at"] else None


def started_first(lot_id: str, events: list[Event]) -> list[Event]:
    """Return the events with the lot's own start in front, whatever a wrong clock says."""
    for index, event in enumerate(events):
        if event["kind"] == "lot_started" and event["lot"] == lot_id:
            return [event, *events[:index], *events[index + 1 :]]
    return events


def run(lot: Lot, events: Iterable[Event]) -> Lot:
    """Apply effective events in order; the state is changed in place and returned."""
    for event in events:
        apply(lot, event)
    lot["stage"], lot["stage_since"] = stage_of(lot)
    return lot


def apply(lot: Lot, event: Event) -> None:
    """Apply one event to the state."""
    kind = event["kind"]
    if not isinstance(event.get("data"), dict):
        event = {**event, "data": {}}
    lot["events_count"] += 1
    if event["lot"] != lot["id"]:
        _from_another_lot(lot, event)
        return
    act = ACTS.get(kind)
    if act is None:
        lot["not_understood"] += 0 if kind in KNOWN_ELSEWHERE else 1
        return
    if not readable(event):
        stock.disagree(lot, "cannot_read", event)
        return
    if kind in SEEN:
        lot["seen_at"] = later(lot["seen_at"], event["at"])
    if lot["closed_at"] and kind in AFTER_CLOSING:
        lot["after_closing"] = {"at": event["at"], "event": event["id"], "kind": kind}
    act(lot, event)


def readable(event: Event) -> bool:
    """Say whether the numbers that this kind needs are there, as numbers."""
    data = event.get("data") or {}
    needed = (data.get(name) for name in NUMBERS_NEEDED.get(event["kind"], ()))
    return all(isinstance(n, int | float) and not isinstance(n, bool) for n in needed)


def stage_of(lot: Lot) -> tuple[str, str | None]:
    """Return the lot's stage and since when."""
    if lot["closed_at"]:
        return "closed", lot["closed_at"]
    if lot["unit"] == "plants" or lot["container_l"]:
        return "potted", lot["potted_at"] or lot["started_at"]
    first = lot["first_emerged_at"]
    running = [s for s in lot["spells"] if s["ended_at"] is None]
    if running and (first is None or running[-1]["started_at"] >= first):
        return running[-1]["kind"], running[-1]["started_at"]
    if lot["unit"] == "seedlings" or lot["emergence_closed_at"]:
        return "seedlings", lot["emergence_closed_at"] or lot["started_at"]
    if first:
        return "emerging", first
    if lot["sown"]:
        return "sown", lot["sown"]["at"]
    return "seed", lot["cleaned_at"] or lot["started_at"]


def _from_another_lot(lot: Lot, event: Event) -> None:
    if not readable(event):
        return
    data = event.get("data") or {}
    if event["kind"] == "lot_started":
        stock.split_off(lot, event)
    elif event["kind"] == "potted_on" and data.get("into") == lot["id"]:
        lot["quantity"] = data["quantity"] if lot["quantity"] is None else lot["quantity"]
        lot["container_l"] = lot["container_l"] or data["container_l"]
        lot["unit"] = "plants"
        spells.close_all(lot, event)


def _started(lot: Lot, event: Event) -> None:
    if lot["started_at"]:
        stock.disagree(lot, "started_twice", event)
        return
    data = event["data"]
    parents = data.get("parents") or ([data["parent"]] if data.get("parent") else [])
    lot["started_at"] = lot["bared_at"] = lot["placed_at"] = event["at"]
    lot["parents"] = list(parents)
    for name in ("crop", "label", "place", "quantity", "container_l", "provenance"):
        lot[name] = data.get(name)
    lot["unit"] = data.get("unit") or ("plants" if data.get("container_l") else "seeds")
    if lot["unit"] in ("seedlings", "plants"):
        spells.close_all(lot, event)


def _spell_started(lot: Lot, event: Event) -> None:
    refusal = spells.dip_refusal(lot) if event["kind"] == "sanitise_started" else None
    if refusal:
        # It happened; the record says so, and a person must know of it.
        stock.disagree(lot, refusal, event, lot["acid_at"])
    if not spells.start(lot, event):
        stock.disagree(lot, "already_running", event)


def _spell_ended(lot: Lot, event: Event) -> None:
    if not spells.end(lot, event):
        stock.disagree(lot, "was_not_running", event)


def _sown(lot: Lot, event: Event) -> None:
    spells.sow(lot, event)
    fields = ("flats", "per_flat", "depth_mm", "spacing_mm", "medium")
    lot["sown"] = {"at": event["at"], **{f: event["data"].get(f) for f in fields}}


def _counted(lot: Lot, event: Event) -> None:
    before = lot["emerged"]["count"] if lot["emerged"] else 0
    if counts.count(lot, event):
        stock.disagree(lot, "count_fell", event, before, lot["emerged"]["count"])


def _watered(lot: Lot, event: Event) -> None:
    lot["last_watered_at"] = event["at"]
    looks.watered(lot, event)


def _potted_on(lot: Lot, event: Event) -> None:
    stock.pot_on(lot, event)
    if not event["data"].get("into"):
        spells.close_all(lot, event)
        looks.unknown(lot, "root_fill", event["at"])


def _read(lot: Lot, event: Event) -> None:
    """Note a test of the lot's own water; other readings are of its place."""
    kind, value = event["data"].get("quantity_kind"), event["data"].get("value")
    if kind in TESTED and is_number(value):
        looks.note_test(lot, kind, value, event["at"])


def _treated(lot: Lot, event: Event) -> None:
    # Whoever sprayed has been there as of its end, whenever it was written down.
    lot["seen_at"] = later(lot["seen_at"], ended_at(event))
    lot["treatments"] = with_note(lot["treatments"], _note(event))


def _emergence_closed(lot: Lot, event: Event) -> None:
    lot["emergence_closed_at"] = event["at"]
    stock.to_seedlings(lot)


def _closed(lot: Lot, event: Event) -> None:
    lot["closed_at"], lot["closed_why"] = event["at"], event["data"].get("why")
    # Whoever closes it again knows what was recorded in between.
    lot["closed_event"], lot["after_closing"] = event["id"], None


def _scarified(lot: Lot, event: Event) -> None:
    if event["data"].get("method") == "acid":
        lot["acid_at"], lot["rinsed_at"] = event["at"], None


def _held_over(lot: Lot, event: Event) -> None:
    data = event["data"]
    lot["held_over"] = {"at": event["at"], "until": data.get("until"), "why": data.get("why")}


def _answered(lot: Lot, event: Event) -> None:
    """Note who answered which watch, and how; what it does is for the watches to say."""
    data = event["data"]
    watch = data.get("watch")
    if not isinstance(watch, str):
        return
    how = "deferred" if event["kind"] == "decided" else event["kind"]
    answer = {"at": event["at"], **said_by(event)}
    if how not in ("acknowledged", "given_back"):
        answer |= {"until": data.get("until"), "why": data.get("why")}
    lot["answers"][watch] = with_answer(lot["answers"].get(watch, {}), how, answer)


def _covered(lot: Lot, event: Event) -> None:
    lot["cover"] = cover_said(event, lot["cover"])
    lot["covered_at"] = lot["cover"]["at"] if lot["cover"] else None


def _uncovered(lot: Lot, event: Event) -> None:
    lot["covered_at"], lot["cover"], lot["bared_at"] = None, None, event["at"]


def _moved(lot: Lot, event: Event) -> None:
    """Note where it stands now, and where somebody took it from; a cover stays where it was."""
    place = event["data"].get("place")
    if place != lot["place"]:
        if lot["place"]:
            left = {"place": lot["place"], "at": event["at"]}
            lot["left"] = [*lot["left"], left][-LEFT_MAX:]
        lot["place"], lot["placed_at"] = place, event["at"]
        _uncovered(lot, event)


def _set(field: str, name: str) -> Callable[[Lot, Event], None]:
    def act(lot: Lot, event: Event) -> None:
        lot[field] = event["at"] if name == "at" else event["data"].get(name)

    return act


def _keep(field: str) -> Callable[[Lot, Event], None]:
    def act(lot: Lot, event: Event) -> None:
        lot[field] = [*lot[field], _note(event)][-NOTES_MAX:]

    return act


def _note(event: Event) -> Lot:
    return {"at": event["at"], "event": event["id"], **(event.get("data") or {})}


def _sold(lot: Lot, event: Event) -> None:
    _keep("sales")(lot, event)
    stock.take(lot, event["data"]["quantity"], event)


def _been_there(lot: Lot, event: Event) -> None:
    """Nothing more to note than that somebody was there."""


ACTS: dict[str, Callable[[Lot, Event], None]] = {
    "lot_started": _started,
    "lot_closed": _closed,
    "seed_cleaned": _set("cleaned_at", "at"),
    **dict.fromkeys(spells.STARTS, _spell_started),
    **dict.fromkeys(spells.ENDS, _spell_ended),
    "water_changed": spells.water_moved,
    "aerated": spells.water_moved,
    "watered": _watered,
    "tested": _keep("tests"),
    "sown": _sown,
    "looked": looks.look,
    "counted": _counted,
    "potted_on": _potted_on,
    "lost": stock.lose,
    "moved": _moved,
    "read": _read,
    "covered": _covered,
    "uncovered": _uncovered,
    "scarified": _scarified,
    "rinsed_neutral": _set("rinsed_at", "at"),
    "emergence_closed": _emergence_closed,
    "held_over": _held_over,
    "deferred": _answered,
    "decided": _answered,
    "acknowledged": _answered,
    "shelved": _answered,
    "given_back": _answered,
    "stocktaken": stock.take_stock,
    "graded": _keep("grades"),
    "promised": _keep("promises"),
    "treated": _treated,
    "sold": _sold,
    "photographed": _been_there,
    "noted": _been_there,
}
# Kinds that are known, and may name a lot, but are not about its state.
KNOWN_ELSEWHERE = frozenset(
    "solution_mixed solution_discarded round_closed priced place_changed person_changed"
    " protocol_changed watch_changed nursery_changed amended voided".split()
)
