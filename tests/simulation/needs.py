"""What is truly due of a lot or a place, and from when: the alert catalogue in plain arithmetic.

Written from the catalogue of the job and from nothing else: neither the shipped rules nor their
interpreter is read. Limits: as in the catalogue (Forest Research, Seed pretreatment, steps 5 and 6,
for the weekly look and the tenth that has split; UF/IFAS Mid-Florida REC scout guide for woody
plants; the rest common practice or ours). Lengths of a crop's steps are its own row's.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from lathhouse.domain.protocols import load_crops
from tests.simulation.calendar import DAY_MS, HERE, HOUR_MS, MINUTE_MS, Calendar, local
from tests.simulation.ledger import Lot

FOREVER = 2**62
# From when until when something is true.
Span = tuple[int, int]
# Days since somebody was there, by how the lot is looked after.
LOOK_DAYS = {"flats": 1, "emerging": 1, "seedlings": 3}


def step(crop: str, kind: str) -> dict[str, Any]:
    """Return the crop's first step of a kind, or an empty one."""
    return next((s for s in load_crops()[crop]["stages"] if s["kind"] == kind), {})


def look_days(lot: Lot) -> float | None:
    """Return after how many days without anybody there a lot is due."""
    if lot.phase == "pots":
        litres = lot.container_l or 2
        return 7 if litres < 3 else 14 if litres < 7 else 21
    return LOOK_DAYS.get(lot.phase)


def longest_days(crop: str, kind: str) -> float | None:
    """Return how long a cold or warm spell may last: its most, else from its target."""
    row = step(crop, kind)
    if row.get("max") is not None or row.get("target_days") is None:
        return row.get("max")
    return row["target_days"] * (1 if kind == "warm" else 1.5)


def soak_hours(crop: str) -> float:
    """Return how long a soak should last; 24 h where the crop says nothing."""
    return step(crop, "soak").get("target_hours") or 24


def window(lot: Lot) -> tuple[int, int, int] | None:
    """Return when seedlings should begin to show, the middle of that time and its end.

    Seed of double dormancy that was sown without its warm and cold is waited for in the spring
    after them: once it has been held over, or where its crop has no days to go by.
    """
    spring = spring_after(lot)
    plain = _days_after(lot)
    if spring is None:
        return plain
    if plain is not None and (not lot.held_until or (lot.cold_ended_at or 0) >= spring[3]):
        return plain
    return spring[:3]


def spring_after(lot: Lot) -> tuple[int, int, int, int] | None:
    """Return that spring's beginning, middle and end, and until when nothing shows (southern).

    Whole months: summer from December warms, winter from June chills, spring is September to
    November. A season that is more than a third over no longer counts.
    """
    crop = load_crops()[lot.crop]
    wanted = [s["kind"] for s in crop["stages"] if s["kind"] in ("warm", "cold")]
    for kind in lot.given:
        wanted = wanted[1:] if wanted[:1] == [kind] else wanted
    indoors = lot.warm_at or (lot.cold_at and not lot.outdoors)
    if crop["dormancy"] != "double" or "warm" not in wanted or not lot.sown_at or indoors:
        return None
    sown = local(lot.sown_at)
    month = 12 * sown.year + sown.month - 1
    for kind in wanted:
        begins = {"warm": 11, "cold": 5}[kind]
        month += 3 - over if (over := (month - begins) % 12) < 1 else (begins - month) % 12 + 3
    opens = month + (8 - month) % 12
    silent = opens - 12 if opens - 12 >= 12 * sown.year + sown.month else None
    start, end = _first_of(opens), _first_of(opens + 3)
    until = start if silent is None else _first_of(silent + 3)
    return start, (start + end) // 2, end, until


def _first_of(month: int) -> int:
    first = datetime(month // 12, month % 12 + 1, 1, tzinfo=HERE)
    return round(first.timestamp() * 1000)


def _days_after(lot: Lot) -> tuple[int, int, int] | None:
    row = step(lot.crop, "germinate")
    if not lot.sown_at or lot.cold_at or lot.warm_at or not row:
        return None
    least, most, aim = row.get("min"), row.get("max"), row.get("target_days")
    if least is None or most is None:
        if aim is None:
            return None
        least, most = aim / 2, aim * 1.5
    start = max(lot.sown_at, lot.cold_ended_at or 0)
    return tuple(start + round(d * DAY_MS) for d in (least, (least + most) / 2, most))  # type: ignore[return-value]


def run_since(said: list[tuple[int, Any]], fits: Callable[[float], bool]) -> int | None:
    """Return since when the last values in a row all fit; what breaks a run is None."""
    since = None
    for at, value in reversed(said):
        if value is None or not fits(value):
            break
        since = at
    return since


def lot_needs(lot: Lot) -> dict[str, Span]:
    """Return {watch: (from, until)} of a lot as it is now, if nothing more happens to it."""
    found: dict[str, Span | None] = {"count-conflict": None}
    if not lot.closed and lot.conflict_at:
        found["count-conflict"] = (lot.conflict_at, FOREVER)
    if lot.closed and lot.after_closing_at is not None:
        found["after-closing"] = (lot.after_closing_at, FOREVER)
    if lot.live:
        for part in (_seed, _bench, _looks, _moisture, _emergence, _stock):
            found |= part(lot)
    if lot.sold_in_hold:
        found["sale-hold"] = lot.sold_in_hold
    return {
        watch: (max(span[0], lot.put_off.get(watch, 0)), span[1])
        for watch, span in found.items()
        if span is not None and span[0] < span[1]
    }


def _from(start: int | None, length_ms: float = 0) -> Span | None:
    return None if start is None else (start + round(length_ms), FOREVER)


def _seed(lot: Lot) -> dict[str, Span | None]:
    found: dict[str, Span | None] = {}
    warm = longest_days(lot.crop, "warm")
    if lot.warm_at and warm is not None:
        found["warm-done"] = _from(lot.warm_at, warm * DAY_MS)
    if not lot.cold_at:
        return found
    start, looked = lot.cold_at, lot.looked_at or 0
    found["cold-look"] = _from(max(start, looked), 7 * DAY_MS)
    if looked < start:
        found["cold-never-looked"] = _from(start, 14 * DAY_MS)
    if looked < start + 42 * DAY_MS:
        found["cold-six-weeks"] = _from(start, 42 * DAY_MS)
    if not lot.sown_at:
        found["cold-sprouting"] = _from(run_since(lot.roots, lambda percent: percent >= 10))
    cold = longest_days(lot.crop, "cold")
    if not lot.outdoors and cold is not None:
        found["cold-long"] = _from(start, cold * DAY_MS)
    return found


def _bench(lot: Lot) -> dict[str, Span | None]:
    return {
        "soak-over": _from(lot.soak_at, soak_hours(lot.crop) * HOUR_MS),
        "soak-still-water": _from(lot.water_at, 24 * HOUR_MS),
        "sanitise-over": _from(lot.dip_at, 10 * MINUTE_MS),
        "drained-left": _from(lot.drained_at, 4 * HOUR_MS),
    }


def _looks(lot: Lot) -> dict[str, Span | None]:
    days = look_days(lot)
    hours = {"spots": 48, "spreading": 12}.get(lot.mould[1]) if lot.mould else None
    return {
        "look-due": _from(lot.seen_at, days * DAY_MS) if days else None,
        "fungus-recheck": _from(lot.mould[0], hours * HOUR_MS) if lot.mould and hours else None,
    }


def _moisture(lot: Lot) -> dict[str, Span | None]:
    said = [at for at, value in lot.moisture if value is not None]
    last = lot.moisture[-1][1] if lot.moisture else None
    found: dict[str, Span | None] = {}
    dust = run_since(lot.moisture, lambda value: value <= 1)
    dry = run_since(lot.moisture, lambda value: value <= 2)
    found["moisture-dry"] = _from(dust)
    if lot.unit in ("seeds", "g") and not lot.up_at and dry is not None:
        start = min(dry + 12 * HOUR_MS, dust if dust is not None else FOREVER)
        found["moisture-dry"] = _from(start)
    wet = run_since(lot.moisture, lambda value: value >= 4)
    dripping = run_since(lot.moisture, lambda value: value >= 5)
    in_bag = lot.phase == "bag" and (last == 5 or (wet is not None and wet < said[-1]))
    if in_bag or (dripping is not None and said[-1] - dripping >= DAY_MS):
        found["moisture-wet"] = _from(said[-1])
    if lot.cold_at and lot.outdoors:
        found["moisture-unread"] = _from(max([lot.cold_at, *said[-1:]]), DAY_MS)
    return found


def _emergence(lot: Lot) -> dict[str, Span | None]:
    times = window(lot)
    if times is None or lot.over_at or lot.phase in ("seedlings", "pots"):
        return {}
    opens, middle, closes = times
    held = lot.held_until or 0
    found: dict[str, Span | None] = {
        "emergence-no-count": (max(opens, lot.counted_at or 0, held) + 3 * DAY_MS, closes)
    }
    if not lot.count:
        return {**found, "emergence-none": _from(max(closes, held))}
    counted, risen = lot.counted_at or 0, lot.risen_at or 0
    quiet_days = (counted - risen) / DAY_MS
    if quiet_days >= 10 and (quiet_days < 14 or counted <= middle):
        found["emergence-stalled"] = _from(max(counted, held))
    if quiet_days >= 14 and counted > middle:
        found["emergence-finished"] = _from(max(counted, held))
    return found


def _stock(lot: Lot) -> dict[str, Span | None]:
    """Potted stock and seedlings: two lists of the season, and the feed."""
    found: dict[str, Span | None] = {}
    pots, litres = lot.phase == "pots", lot.container_l or 2
    if lot.phase in ("seedlings", "pots"):
        # A year in the flat, a year and a half in 2 L; or roots that circle.
        years = 1.0 if not pots else 540 / 365 if litres < 3 else None
        long = lot.stage_at + round(years * 365 * DAY_MS) if years else FOREVER
        found["pot-on-due"] = (min(long, lot.circling_at or FOREVER), FOREVER)
    if not pots:
        return found
    unsold = max(lot.stage_at, lot.sold_at or 0) + 365 * DAY_MS if litres >= 3 else FOREVER
    second = _on_the(21, 6, _on_the(21, 6, lot.stage_at))
    found["overwintered"] = (min(second, unsold), FOREVER)
    if lot.ec_at is not None:
        # Thirty days of growth, which begins on 1 September; nothing here lasts until May.
        growth = _on_the(1, 9, lot.ec_at) if local(lot.ec_at).month in (5, 6, 7, 8) else lot.ec_at
        found["ec-unread"] = _from(growth, 30 * DAY_MS)
    return found


def _on_the(day: int, month: int, after: int) -> int:
    """Return the first instant of the next such day after an instant."""
    year = local(after).year
    found = [datetime(y, month, day, tzinfo=HERE).timestamp() for y in (year, year + 1)]
    return next(round(at * 1000) for at in found if at * 1000 > after)


def beside(lot: Lot, others: list[Lot]) -> Span | None:
    """Return from when a lot should be looked at because mould spreads beside it.

    Mould counts from when both stood in one place. A lot in which it spreads is told of by itself.
    """
    if not lot.live or lot.mould_spread_at is not None:
        return None
    met = [
        max(other.mould_spread_at, other.placed_at, lot.placed_at)
        for other in others
        if other.live and other.mould_spread_at is not None
    ]
    unseen = [at for at in met if (lot.looked_at or 0) < at]
    return _from(min(unseen), 24 * HOUR_MS) if unseen else None


def unwalked_from(seen: int, calendar: Calendar, clock: str) -> int:
    """Return when a place last seen then has gone unwalked: a clock on the next working day."""
    return calendar.at(calendar.next_working(calendar.day_of(seen)), clock)
