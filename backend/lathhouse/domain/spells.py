"""Spells: soaking, the dip, standing drained, warm and cold. What opens and what closes them."""

from typing import Any

Event = dict[str, Any]
Lot = dict[str, Any]
Spell = dict[str, Any]

SPELLS_MAX = 60
STARTS = {
    "soak_started": "soak",
    "sanitise_started": "sanitise",
    "warm_started": "warm",
    "cold_started": "cold",
}
ENDS = {
    "soak_ended": "soak",
    "sanitise_ended": "sanitise",
    "warm_ended": "warm",
    "cold_ended": "cold",
}
# What each start, as the next step, closes. A soak inside a warm or cold spell closes neither:
# ash is soaked again every week or two of its treatment (Handbook 727, Fraxinus, p. 540).
CLOSED_BY_START = {
    "soak": ("drained",),
    "sanitise": ("soak", "drained"),
    "warm": ("soak", "sanitise", "drained", "cold"),
    "cold": ("soak", "sanitise", "drained", "warm"),
}
SPELL_FIELDS = (
    "where",
    "temp_c",
    "medium",
    "limit_minutes",
    "solution",
    "percent_by_volume",
)


def open_spell(lot: Lot, kind: str) -> Spell | None:
    """Return the lot's open spell of a kind, if there is one."""
    spell: Spell
    for spell in reversed(lot["spells"]):
        if spell["kind"] == kind and spell["ended_at"] is None:
            return spell
    return None


def last_spell(lot: Lot, kind: str) -> Spell | None:
    """Return the lot's latest spell of a kind, open or over."""
    return next((spell for spell in reversed(lot["spells"]) if spell["kind"] == kind), None)


def dip_refusal(lot: Lot) -> str | None:
    """Return why bleach may not come near a lot, or None.

    Acid left on the seed and bleach make chlorine gas (CDC; CCOHS): never before it is rinsed.
    """
    acid, rinsed = lot["acid_at"], lot["rinsed_at"]
    safe = acid is None or (rinsed is not None and rinsed >= acid)
    return None if safe else "acid_not_rinsed"


def close(lot: Lot, kinds: tuple[str, ...], event: Event, *, indoors_only: bool = False) -> bool:
    """Close the open spells of these kinds at the event's time; say whether there were any."""
    found = False
    for spell in lot["spells"]:
        outdoors = spell.get("where") == "outdoors"
        if spell["ended_at"] is None and spell["kind"] in kinds and not (indoors_only and outdoors):
            spell["ended_at"], spell["ended_by"] = event["at"], event["id"]
            found = True
    return found


def close_all(lot: Lot, event: Event) -> None:
    """Close every open spell: the seed has come up or has been potted."""
    close(lot, ("soak", "sanitise", "drained", "warm", "cold"), event)


def begin(lot: Lot, kind: str, event: Event) -> None:
    """Open a spell, numbered among its kind."""
    data = event.get("data") or {}
    spell: Spell = {
        "kind": kind,
        "nth": 1 + sum(1 for earlier in lot["spells"] if earlier["kind"] == kind),
        "started_at": event["at"],
        "ended_at": None,
        "event": event["id"],
        "ended_by": None,
        **{name: data[name] for name in SPELL_FIELDS if data.get(name) is not None},
    }
    if kind == "soak":
        spell["water_moved_at"] = event["at"]
    lot["spells"] = [*lot["spells"], spell][-SPELLS_MAX:]


def start(lot: Lot, event: Event) -> bool:
    """Apply a `…_started`; say False where that spell is open already (it does not restart)."""
    kind = STARTS[event["kind"]]
    if open_spell(lot, kind):
        return False
    close(lot, CLOSED_BY_START[kind], event)
    begin(lot, kind, event)
    if kind == "cold":
        # Roots seen in an earlier spell say nothing of this one.
        lot["series"].pop("sprouted_percent", None)
    return True


def end(lot: Lot, event: Event) -> bool:
    """Apply an `…_ended`; say False where no such spell is open."""
    kind = ENDS[event["kind"]]
    if not close(lot, (kind,), event):
        return False
    if kind in ("soak", "sanitise"):
        begin(lot, "drained", event)
    return True


def sow(lot: Lot, event: Event) -> None:
    """Close what sowing ends: a soak, a dip, an indoor warm or cold spell, never an outdoor one."""
    close(lot, ("soak", "sanitise", "drained"), event)
    close(lot, ("warm", "cold"), event, indoors_only=True)


def water_moved(lot: Lot, event: Event) -> None:
    """Restart the still-water clock of an open soak."""
    spell = open_spell(lot, "soak")
    if spell:
        spell["water_moved_at"] = event["at"]
