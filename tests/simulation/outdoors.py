"""What the world notes of weather and covers, and what of it is due of whom."""

from typing import TYPE_CHECKING, Any

from lathhouse.demo.scenario import FRIDGE, PLACES, place_id
from lathhouse.domain.instants import parse_instant
from tests.simulation.episodes import Key, Span
from tests.simulation.ledger import Lot, cover_of

if TYPE_CHECKING:
    from tests.simulation.world import World

Data = dict[str, Any]
KINDS = {place_id(name): kind for name, kind, _ in PLACES}
# Where frost does not come.
SHELTERED = frozenset(place for place, kind in KINDS.items() if kind in ("chamber", "shelf"))
HOUSES = frozenset(place for place, kind in KINDS.items() if kind == "house")


def told(world: "World", kind: str, data: Data, at: int) -> None:
    """Note a reading, a forecast, or that a whole place was covered or bared."""
    if kind == "read":
        _read(world, data, at)
    elif kind in ("covered", "uncovered"):
        place, yard = data["place"], world.yard
        yard.covers.pop(place, None)
        if kind == "covered":
            yard.covers[place] = cover_of(data, at)
        else:
            yard.bared_at[place] = at


def _read(world: "World", data: Data, at: int) -> None:
    kind, value, place = data["quantity_kind"], data["value"], data.get("place")
    if kind == "forecast_low_c":
        world.yard.lows[day_of(world, data["for_night_of"])] = value
    elif kind == "forecast_high_c":
        world.yard.highs[day_of(world, data["for_day"])] = value
    elif kind == "temp_c" and place == place_id(FRIDGE):
        world.was_read(at)
    elif kind == "temp_c":
        world.yard.felt(place or world.nursery.site, value, at)


def day_of(world: "World", date: str) -> int:
    """Return the day of a local date."""
    return world.calendar.day_of(parse_instant(f"{date}T12:00:00+10:00"))


def read_corner(world: "World") -> None:
    """Let the probe of the frost corner send what it reads."""
    temp_c, humidity_percent = world.weather.reading(world.now)
    corner = world.corner_probe
    corner.send(temp_c, humidity_percent)
    world.yard.felt(corner.place, temp_c, world.now)
    world.yard.felt_hot(corner.place, temp_c, world.now)
    reckon(world, world.now)


def reckon(world: "World", now: int) -> None:
    """Work out again what frost, covers and heat ask of anybody."""
    yard, site = world.yard, world.nursery.site
    live = [lot for lot in world.lots.values() if lot.live]
    here: dict[str, list[Lot]] = {place: [] for place in KINDS}
    for lot in live:
        here[lot.place].append(lot)
    seen = yard.hot_places(live, world.closed_at)
    found: dict[tuple[str, str, str], Span | None] = {
        ("frost-tonight", "nursery", site): yard.frost_tonight(live, now),
        ("heat-plants", "nursery", site): yard.heat_plants(seen, now),
        ("frost-now", "nursery", site): yard.frost_now(site, live),
    }
    for place, lots in here.items():
        found["frost-now", "place", place] = yard.frost_now(place, lots)
        found["heat-people", "place", place] = yard.heat_people(place)
        found["cover-left-on", "place", place] = yard.cover_left_on(place, lots, now)
    for key, span in found.items():
        world.truth.foresee(Key(*key), span, now)
