"""What truly happened to each lot, in plain notes: none of the program's own code reads them.

Every act and look of the simulated world is noted here the moment it happens, whatever becomes of
the phone that it was recorded on. What is due of a lot (`needs.py`) is reckoned from these notes.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

Data = dict[str, Any]
# Who records one of these has not been at the lot.
NOT_THERE = frozenset(
    "sold promised priced noted held_over deferred decided acknowledged shelved lot_closed".split()
)


@dataclass
class Cover:
    """A cover: since when, until which day it is said to stay on, for how cold a night."""

    at: int
    until_day: int | None
    for_low_c: float | None


@dataclass
class Lot:
    """A lot as it truly is. All times are milliseconds; None where there is none."""

    id: str
    crop: str
    place: str
    unit: str
    quantity: float
    container_l: float | None
    started_at: int
    closed: bool = False
    seen_at: int = 0
    looked_at: int | None = None
    soak_at: int | None = None
    water_at: int | None = None
    dip_at: int | None = None
    drained_at: int | None = None
    warm_at: int | None = None
    cold_at: int | None = None
    cold_ended_at: int | None = None
    outdoors: bool = False
    given: list[str] = field(default_factory=list)
    sown_at: int | None = None
    moisture: list[tuple[int, int | None]] = field(default_factory=list)
    mould: tuple[int, str] | None = None
    mould_spread_at: int | None = None
    roots: list[tuple[int, float]] = field(default_factory=list)
    counted_at: int | None = None
    count: int = 0
    out_of: int = 0
    risen_at: int | None = None
    up_at: int | None = None
    over_at: int | None = None
    held_until: int | None = None
    put_off: dict[str, int] = field(default_factory=dict)
    conflict_at: int | None = None
    after_closing_at: int | None = None
    root_fill: int = 1
    circling_at: int | None = None
    # Since when it has stood where it stands, and in the container or flat that it is in.
    placed_at: int = 0
    stage_at: int = 0
    sold_at: int | None = None
    decided: dict[str, int] = field(default_factory=dict)
    # Treatments: (ended, until when it is not for sale); the sale within one.
    holds: list[tuple[int, int]] = field(default_factory=list)
    sold_in_hold: tuple[int, int] | None = None
    ec_at: int | None = None
    # Its own cover, and since when nothing that was laid on its place before is over it.
    cover: Cover | None = None
    bared_at: int = 0

    def __post_init__(self) -> None:
        """It stands where it began, as it began."""
        self.placed_at = self.stage_at = self.bared_at = self.started_at

    @property
    def live(self) -> bool:
        """Whether there is anything left to look after."""
        return not self.closed and self.quantity != 0

    @property
    def phase(self) -> str:
        """How it is looked after: bench, bag, flats, emerging, seedlings or pots."""
        if self.unit == "plants" or self.container_l:
            return "pots"
        if self.unit == "seedlings" or self.over_at:
            return "seedlings"
        if self.sown_at:
            return "emerging" if self.up_at else "flats"
        return "bag" if self.warm_at or self.cold_at else "bench"


def note(lot: Lot, kind: str, data: Data, at: int) -> None:
    """Note one act or look."""
    if kind not in NOT_THERE:
        lot.seen_at = max(lot.seen_at, at)
    if lot.closed and (kind == "sold" or kind not in NOT_THERE):
        lot.after_closing_at = at
    act = ACTS.get(kind)
    if act is not None:
        act(lot, data, at)


def _stop(lot: Lot, *names: str, at: int) -> None:
    if "cold_at" in names and lot.cold_at:
        lot.cold_ended_at = at
    for name in names:
        setattr(lot, name, None)


def _soak(lot: Lot, _data: Data, at: int) -> None:
    _stop(lot, "drained_at", at=at)
    lot.soak_at = lot.water_at = at


def _soak_over(lot: Lot, _data: Data, at: int) -> None:
    _stop(lot, "soak_at", "water_at", at=at)
    lot.drained_at = at


def _dip(lot: Lot, _data: Data, at: int) -> None:
    _stop(lot, "soak_at", "water_at", "drained_at", at=at)
    lot.dip_at = at


def _dip_over(lot: Lot, _data: Data, at: int) -> None:
    lot.dip_at, lot.drained_at = None, at


def _warm(lot: Lot, data: Data, at: int) -> None:
    _give(lot, "warm", data)
    _stop(lot, "soak_at", "water_at", "dip_at", "drained_at", "cold_at", at=at)
    lot.warm_at = at


def _give(lot: Lot, kind: str, data: Data) -> None:
    """Note a spell that is given indoors: what is given the seasons need not do."""
    if data.get("where") != "outdoors":
        lot.given.append(kind)


def _cold(lot: Lot, data: Data, at: int) -> None:
    _give(lot, "cold", data)
    _stop(lot, "soak_at", "water_at", "dip_at", "drained_at", "warm_at", at=at)
    lot.cold_at, lot.outdoors, lot.roots = at, data.get("where") == "outdoors", []


def _sow(lot: Lot, _data: Data, at: int) -> None:
    _stop(lot, "soak_at", "water_at", "dip_at", "drained_at", at=at)
    if not lot.outdoors:
        _stop(lot, "warm_at", "cold_at", at=at)
    lot.sown_at = at


def _look(lot: Lot, data: Data, at: int) -> None:
    lot.looked_at = at
    if data.get("moisture") is not None:
        lot.moisture.append((at, data["moisture"]))
    if data.get("fungus") is not None:
        lot.mould = (at, data["fungus"])
        spreads = data["fungus"] == "spreading"
        lot.mould_spread_at = (lot.mould_spread_at or at) if spreads else None
    if data.get("sprouted_percent") is not None:
        lot.roots.append((at, data["sprouted_percent"]))
    lot.root_fill = data.get("root_fill") or lot.root_fill
    lot.circling_at = (lot.circling_at or at) if lot.root_fill >= 5 else None


def _count(lot: Lot, data: Data, at: int) -> None:
    if data["emerged"] > lot.count:
        lot.risen_at = at
    lot.count, lot.out_of, lot.counted_at = data["emerged"], data["out_of"], at
    if lot.count and lot.up_at is None:
        lot.up_at = at
        _everything_over(lot, at)


def _everything_over(lot: Lot, at: int) -> None:
    _stop(lot, "soak_at", "water_at", "dip_at", "drained_at", "warm_at", "cold_at", at=at)


def _pot(lot: Lot, data: Data, at: int) -> None:
    if data.get("into"):
        _take(lot, data, at)
        return
    lot.stage_at, lot.circling_at = at, None
    if lot.unit == "plants" and data["quantity"] - lot.quantity > max(5, 0.02 * lot.quantity):
        lot.conflict_at = at
        data = {**data, "quantity": lot.quantity}
    lot.quantity, lot.unit, lot.container_l = data["quantity"], "plants", data["container_l"]
    lot.root_fill = 1
    _everything_over(lot, at)


def _take(lot: Lot, data: Data, at: int) -> None:
    if data["quantity"] - lot.quantity > max(5, 0.02 * lot.quantity):
        lot.conflict_at = lot.conflict_at or at
    lot.quantity = max(0, lot.quantity - data["quantity"])


def _sell(lot: Lot, data: Data, at: int) -> None:
    _take(lot, data, at)
    lot.sold_at = at
    inside = [until for ended, until in lot.holds if ended < at < until]
    lot.sold_in_hold = (at, max(inside)) if inside else lot.sold_in_hold


def _move(lot: Lot, data: Data, at: int) -> None:
    if data["place"] != lot.place:
        _bare(lot, data, at)
    lot.place, lot.placed_at = data["place"], at


def cover_of(data: Data, at: int) -> Cover:
    """Return a cover as it was put on."""
    return Cover(at, data.get("until_day"), data.get("for_low_c"))


def _cover(lot: Lot, data: Data, at: int) -> None:
    lot.cover = cover_of(data, at)


def _bare(lot: Lot, _data: Data, at: int) -> None:
    lot.cover, lot.bared_at = None, at


def _treat(lot: Lot, data: Data, _at: int) -> None:
    lot.holds.append((data["ended_ms"], data["held_until_ms"]))


def _read(lot: Lot, data: Data, at: int) -> None:
    lot.ec_at = at if data["quantity_kind"] == "ec_ms_cm" else lot.ec_at


def _lose(lot: Lot, data: Data, at: int) -> None:
    if lot.unit != "seeds" or not lot.up_at:
        _take(lot, data, at)


def _close_emergence(lot: Lot, _data: Data, at: int) -> None:
    lot.over_at = lot.stage_at = at
    if lot.counted_at:
        lot.unit, lot.quantity = "seedlings", lot.count


def _set(name: str, of: Callable[[Data, int], Any]) -> Callable[[Lot, Data, int], None]:
    return lambda lot, data, at: setattr(lot, name, of(data, at))


def _taken_stock(lot: Lot, data: Data, _at: int) -> None:
    lot.quantity, lot.unit, lot.conflict_at = data["quantity"], data["unit"], None


ACTS: dict[str, Callable[[Lot, Data, int], None]] = {
    "soak_started": _soak,
    "soak_ended": _soak_over,
    "water_changed": _set("water_at", lambda _, at: at),
    "sanitise_started": _dip,
    "sanitise_ended": _dip_over,
    "warm_started": _warm,
    "cold_started": _cold,
    "cold_ended": lambda lot, _data, at: _stop(lot, "cold_at", at=at),
    "sown": _sow,
    "looked": _look,
    "watered": lambda lot, _data, at: lot.moisture.append((at, None)),
    "counted": _count,
    "potted_on": _pot,
    "lost": _lose,
    "sold": _sell,
    "moved": _move,
    "covered": _cover,
    "uncovered": _bare,
    "treated": _treat,
    "read": _read,
    "decided": lambda lot, data, at: lot.decided.update({data["watch"]: at}),
    "emergence_closed": _close_emergence,
    "held_over": _set("held_until", lambda data, _: data["until_ms"]),
    "deferred": lambda lot, data, _at: lot.put_off.update({data["watch"]: data["until_ms"]}),
    "stocktaken": _taken_stock,
    "lot_closed": _set("closed", lambda _data, _at: True),
}
