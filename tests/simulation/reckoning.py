"""What is truly due of lots, of what stands beside them and of places, worked out again."""

from typing import TYPE_CHECKING

from lathhouse.demo.scenario import PLACES, place_id
from tests.simulation import needs
from tests.simulation.episodes import Key
from tests.simulation.ledger import Lot

if TYPE_CHECKING:
    from tests.simulation.world import World

DAILY = [place_id(name) for name, _, daily in PLACES if daily]
BESIDE = "fungus-neighbours"


def beside(world: "World", places: set[str | None], now: int) -> None:
    """Work out again which lots should be looked at because mould spreads beside them."""
    for place in places:
        here = [lot for lot in world.lots.values() if lot.place == place]
        for lot in here:
            due = needs.beside(lot, [other for other in here if other is not lot])
            world.truth.foresee(Key(BESIDE, "lot", lot.id), due, now)


def lot_alone(world: "World", lot: Lot, now: int) -> None:
    """Work out again what is due of a lot by itworld."""
    found = needs.lot_needs(lot)
    known = {key for key in world.truth.running if key.subject == lot.id and key.watch != BESIDE}
    for key in known | {Key(watch, "lot", lot.id) for watch in found}:
        world.truth.foresee(key, found.get(key.watch), now)


def rounds(world: "World", now: int) -> None:
    """Work out again which places want walking."""
    live = [lot for lot in world.lots.values() if lot.live]
    for place in DAILY:
        seen = [lot.seen_at for lot in live if lot.place == place]
        last = max(min(seen), world.closed_at.get(place, 0)) if seen else None
        _round(world, "place", place, last, "11:00", now)
    newest = max(max(lot.seen_at for lot in live), world.closed_at.get("", 0))
    _round(world, "nursery", world.nursery.site, newest, "17:00", now)


def _round(world: "World", kind: str, name: str, last: int | None, clock: str, now: int) -> None:
    due = None if last is None else needs.unwalked_from(last, world.calendar, clock)
    span = None if due is None else (due, needs.FOREVER)
    world.truth.foresee(Key("round-missing", kind, name), span, now)
