"""Facts: what the watches may look at, worked out of a subject's state. No clock in any of them.

Every fact has a dotted name (`cold.started_at`); a fact that is not known is None. Rules in
`data/watches.json` name nothing else, so a fact added here is at once open to every rule.
"""

from collections.abc import Iterable
from typing import Any

from lathhouse.domain import chambers, protocols, springs
from lathhouse.domain.instants import DAY_MS, HOUR_MS, later, to_ms, to_text
from lathhouse.domain.neighbours import Spreading, beside_facts
from lathhouse.domain.outdoors import second_spring
from lathhouse.domain.promises import promise_facts
from lathhouse.domain.rule_terms import run_start
from lathhouse.domain.solutions import dip_with, solution_code
from lathhouse.domain.spells import last_spell, open_spell
from lathhouse.domain.tender import tenderness
from lathhouse.domain.treatments import entry_facts, hold_facts
from lathhouse.domain.weather_facts import NO_STOCK, nursery_weather, place_weather

Facts = dict[str, Any]

# Sow when about a tenth has split or sprouted (Forest Research, Seed pretreatment, step 6), unless
# the crop's own source says another figure.
SOW_AT_SPROUTED_PERCENT = 10
SEED_UNITS = ("seeds", "g", None)
# A bucket that nobody says is thrown away is not asked about for ever. Our own choice.
SOLUTION_OFFERED_DAYS = 3
# A phone that nobody has named, in a sentence.
NAMELESS = "Phone without a name"
MUST_NOT_DRY = ("recalcitrant", "intermediate")


def is_live(lot: dict[str, Any]) -> bool:
    """Say whether a lot is still to be looked after: neither closed nor at nought."""
    return lot["closed_at"] is None and lot["quantity"] != 0


def lot_facts(
    lot: dict[str, Any],
    crop: dict[str, Any] | None,
    place: dict[str, Any] | None = None,
    solution: dict[str, Any] | None = None,
    spreading: list[Spreading] | None = None,
    home: dict[str, Any] | None = None,
) -> Facts:
    """Return the facts of a lot.

    Args:
        crop: its protocol's row, which may be unknown.
        solution: the row of the bucket of its last dip, where that is known.
        spreading: [lot, since] of the lots of its place in which mould is spreading.
        home: the nursery's row, for its seasons and offsets; without it no spring is waited for.
    """
    seed = lot["unit"] in SEED_UNITS
    look = lot["last_look"]
    held = lot["held_over"]
    second = second_spring(lot, crop, home, home["offsets"]) if home else None
    coming_up = springs.window(lot, crop, second)
    return {
        "kind": "lot",
        "id": lot["id"],
        "label": lot["label"],
        "crop": lot["crop"],
        "crop_name": crop["botanical"] if crop else lot["crop"],
        "place": lot["place"],
        "place_name": place["name"] if place else lot["place"],
        "live": is_live(lot),
        "closed": lot["closed_at"] is not None,
        "after_closing": {
            "at": None,
            **(lot["after_closing"] or {}),
            "closed_at": lot["closed_at"],
        },
        "stage": lot["stage"],
        "stage_since": lot["stage_since"],
        "unit": lot["unit"],
        "quantity": lot["quantity"],
        "container_l": lot["container_l"],
        "phase": phase(lot),
        "before_emergence": seed and lot["first_emerged_at"] is None,
        **{kind: spell_facts(lot, kind, crop) for kind in ("soak", "sanitise", "drained")},
        **{kind: spell_facts(lot, kind, crop) for kind in ("warm", "cold")},
        "dip": dip_with(last_spell(lot, "sanitise"), solution),
        "seen_at": lot["seen_at"],
        "look": {"at": look["at"] if look else None},
        "last": lot["last"],
        "series": lot["series"],
        "moisture_runs": moisture_runs(lot),
        "last_watered_at": lot["last_watered_at"],
        "sown_at": lot["sown"]["at"] if lot["sown"] else None,
        "window": coming_up,
        "second_spring": springs.second_spring_facts(second, coming_up),
        "emerged": emergence_facts(lot),
        "emergence_closed_at": lot["emergence_closed_at"],
        "held_until": held["until"] if held else None,
        "held_without_end": held is not None and held["until"] is None and second is None,
        "potted_at": lot["potted_at"],
        "beside": beside_facts(lot, spreading or []),
        "hold": hold_facts(lot, place, home["offsets"] if home else []),
        "promise": promise_facts(lot),
        "sales": {"last_at": max((sale["at"] for sale in lot["sales"]), default=None)},
        "conflict": conflict_facts(lot),
        "tender": tenderness(lot, crop, phase(lot)),
        "crop_facts": crop_facts(crop),
        "answers": lot["answers"],
    }


def phase(lot: dict[str, Any]) -> str:
    """Return how the lot is looked after: bench, bag, flats, emerging, seedlings or pots."""
    if lot["stage"] == "potted":
        return "pots"
    if lot["stage"] in ("seedlings", "emerging"):
        return str(lot["stage"])
    if lot["sown"] and lot["unit"] in SEED_UNITS:
        return "emerging" if lot["first_emerged_at"] else "flats"
    return "bag" if lot["stage"] in ("warm", "cold") else "bench"


def spell_facts(lot: dict[str, Any], kind: str, crop: dict[str, Any] | None) -> Facts:
    """Return {open, started_at, …, limits of the protocol's step} of the open spell of a kind."""
    spell = open_spell(lot, kind)
    if spell is None:
        return {"open": False}
    return {
        "open": True,
        "outdoors": spell.get("where") == "outdoors",
        **{name: value for name, value in spell.items() if name not in ("kind", "ended_at")},
        **protocols.limits(kind, spell["nth"], crop),
    }


def moisture_runs(lot: dict[str, Any]) -> Facts:
    """Return over how many hours the last looks in a row found it wet (4 or 5), and dripping (5).

    One look alone spans nought hours.
    """
    facts = {"series": lot["series"]}
    last = lot["last"].get("moisture")
    spans = {}
    for name, least in (("wet_hours", 4), ("dripping_hours", 5)):
        start = run_start(facts, {"run_of": "moisture", "at_least": least})
        spans[name] = (to_ms(last["at"]) - to_ms(start)) / HOUR_MS if start else None
    return spans


def emergence_facts(lot: dict[str, Any]) -> Facts:
    """Return the running count and how long it has not risen, in days between counts."""
    emerged = lot["emerged"]
    if not emerged:
        return {"count": None, "at": None}
    rise = lot["last_rise_at"]
    quiet = (to_ms(emerged["at"]) - to_ms(rise)) / DAY_MS if rise else None
    return {**emerged, "last_rise_at": rise, "quiet_days": quiet}


def conflict_facts(lot: dict[str, Any]) -> Facts:
    """Return by how many and what percent more was taken than the record held."""
    conflict = lot["conflict"]
    if not conflict:
        return {"since": None}
    percent = 100 * conflict["over"] / conflict["of"] if conflict["of"] else None
    return {**conflict, "percent": percent, "all_of_it": not conflict["of"]}


def crop_facts(crop: dict[str, Any] | None) -> Facts:
    """Return what the crop's row says that a rule may ask for."""
    row = crop or {}
    own = row.get("sow_at_sprouted_percent")
    figure = own["value"] if isinstance(own, dict) else own
    return {
        "dormancy": row.get("dormancy"),
        "double": row.get("dormancy") == "double",
        "must_not_dry": row.get("storage_class") in MUST_NOT_DRY,
        "sow_at_sprouted_percent": SOW_AT_SPROUTED_PERCENT if figure is None else figure,
    }


def standing(lots: list[dict[str, Any]], left_at: str | None = None) -> Facts:
    """Return {live_lots, oldest_seen_at, newest_seen_at, newest_visit_at} of lots in one place.

    All but the last are of the live ones among them. A visit stays one whatever becomes of the lot:
    it may be closed since, or have been taken out of the place, the last of them at `left_at`.
    """
    seen = [lot["seen_at"] for lot in lots if is_live(lot) and lot["seen_at"]]
    return {
        "live_lots": len(seen),
        "oldest_seen_at": min(seen, default=None),
        "newest_seen_at": max(seen, default=None),
        "newest_visit_at": later(left_at, *(lot["seen_at"] for lot in lots)),
    }


def leavings(lots: Iterable[dict[str, Any]]) -> dict[str, str]:
    """Return when a lot was last taken out of each place, by place."""
    found: dict[str, str] = {}
    for lot in lots:
        for left in lot["left"]:
            found[left["place"]] = max(found.get(left["place"], ""), left["at"])
    return found


def place_facts(place: dict[str, Any], lots: Facts, stock: Facts = NO_STOCK) -> Facts:
    """Return the facts of a place; `lots` is the `standing` of those that stand in it.

    `stock` is what frost and heat ask of them (`weather_facts.py`).

    A place is seen as of its last closing, or as of the longest unseen of its live lots.
    """
    return {
        "kind": "place",
        "id": place["id"],
        "place": place["id"],
        "place_name": place.get("name"),
        "daily": place.get("daily") is True,
        "live_lots": lots["live_lots"],
        "closed_at": place.get("closed_at"),
        "chamber": place_chamber(place),
        "seen_at": later(lots["oldest_seen_at"], place.get("closed_at")),
        **place_weather(place, stock),
        "enter_after": place.get("enter_after"),
        "entry": entry_facts(place, lots["newest_visit_at"]),
        "answers": place.get("answers") or {},
    }


def place_chamber(place: dict[str, Any]) -> Facts | None:
    """Return the facts of a place that is a chamber and has been read at least once."""
    state = place.get("chamber_state")
    if place.get("kind") != "chamber" or not state:
        return None
    return chambers.chamber_facts(state, place.get("chamber"))


def nursery_facts(nursery: dict[str, Any], lots: Facts, stock: Facts = NO_STOCK) -> Facts:
    """Return the facts of the nursery as a whole: when anybody was anywhere last."""
    return {
        "kind": "nursery",
        "id": nursery["id"],
        "place_name": nursery.get("name"),
        "live_lots": lots["live_lots"],
        "seen_at": later(lots["newest_seen_at"], nursery.get("closed_at")),
        **nursery_weather(nursery, stock),
        "unbacked_since": nursery.get("last_backup_at") or nursery.get("opened_at"),
        "answers": nursery.get("answers") or {},
    }


def solution_facts(solution: dict[str, Any]) -> Facts:
    """Return the facts of a mixed solution: when, whether it is still offered, and until when."""
    mixed_at = solution.get("mixed_at")
    ends = to_text(to_ms(mixed_at) + SOLUTION_OFFERED_DAYS * DAY_MS) if mixed_at else None
    return {
        "kind": "solution",
        "id": solution["id"],
        "label": solution_code(solution["id"]),
        "ppm": solution.get("ppm"),
        "mixed_at": mixed_at,
        "offered": mixed_at is not None and solution.get("discarded_at") is None,
        "offered_until": ends,
        "answers": solution.get("answers") or {},
    }


def phone_facts(phone: dict[str, Any]) -> Facts:
    """Return the facts of a paired phone: its last sync, and what of its record is amiss.

    `works` in its row are the weekdays of the one person whose phone it is, where that is known.
    """
    amiss = [at for at in (phone.get("gap_since"), phone.get("refused_since")) if at]
    return {
        "kind": "phone",
        "id": phone["id"],
        "label": phone.get("name") or NAMELESS,
        "paired": phone.get("silent_ok") is not True
        and not any(phone.get(ended) for ended in ("cut_off_at", "moved_to", "left_behind_at")),
        "last_sync_at": phone.get("last_sync_at"),
        "works_on": phone.get("works") or None,
        "amiss_since": min(amiss, default=None),
        "answers": phone.get("answers") or {},
    }
