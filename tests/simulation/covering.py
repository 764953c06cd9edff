"""What people do about the weather: write forecasts down, cover, uncover, look in on a hot day.

Chances and hours are our own choice. One cover in ten is forgotten, like any other look.
"""

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import TYPE_CHECKING

from lathhouse.demo.scenario import PLACES, place_id
from tests.simulation.ledger import Lot
from tests.simulation.yard import COLD_C, FROST_LOW_C

if TYPE_CHECKING:
    from tests.simulation.people import People

Plan = list[tuple[int, Callable[[], None], float]]
# A forecast is written down where it comes near to what matters.
WRITTEN_BELOW_C, WRITTEN_FROM_C, CHANGED_C = 5.0, 29.0, 1.0
# Before a second cold night covers are left on, said so, about once in three.
STAYS_ON = 0.3
COMES_IN = 0.8
AT_ONCE = 0.2


def plan(people: "People", day: int) -> Plan:
    """Return what people mean to do about the weather on any day: [(when, what, minutes)]."""
    at, told = people.world.calendar.at, people.world.weather.forecasts
    found: Plan = [
        (at(day, "06:30"), lambda: forecast(people, day, *told[day][1]), AT_ONCE),
        (at(day, "17:30"), lambda: forecast(people, day + 1, *told[day + 1][0]), AT_ONCE),
        (at(day, "21:15"), lambda: late_look(people, day), AT_ONCE),
    ]
    if people.world.calendar.is_working(day):
        found.append((at(day, "08:50"), lambda: uncover(people, "Dev", covered(people)), AT_ONCE))
    elif people.rng.random() < COMES_IN:
        found.append((at(day, "09:40"), lambda: uncover(people, "Orla", covered(people)), AT_ONCE))
        found.append((at(day, "16:30"), lambda: sunday_evening(people), AT_ONCE))
    return found


def forecast(people: "People", day: int, low_c: float, high_c: float) -> None:
    """Write down what is forecast, where it matters or is another figure than before."""
    yard, date = people.world.yard, _date(people, day)
    for kind, name, known, value, matters in (
        ("forecast_low_c", "for_night_of", yard.lows, low_c, low_c <= WRITTEN_BELOW_C),
        ("forecast_high_c", "for_day", yard.highs, high_c, high_c >= WRITTEN_FROM_C),
    ):
        before = known.get(day)
        new = matters if before is None else abs(value - before) >= CHANGED_C
        if new and not people.misses():
            people.do("Orla", "read", None, {"quantity_kind": kind, "value": value, name: date})


def late_look(people: "People", day: int) -> None:
    """Read the thermometer by the house on a cold evening, and go out once more if it freezes."""
    world = people.world
    if world.yard.lows.get(day, 99) > FROST_LOW_C or people.misses():
        return
    air_c = world.weather.air_c(world.now)
    people.do("Orla", "read", None, {"quantity_kind": "temp_c", "value": air_c})
    if air_c <= COLD_C:
        cover(people, "Orla")


def sunday_evening(people: "People") -> None:
    """Cover what lies bare, where the night's list stands."""
    if people.world.yard.frost_tonight(_live(people), people.world.now):
        cover(people, "Orla")


def cover(people: "People", who: str) -> None:
    """Cover, in walking order, each place where tender stock lies bare; one in ten is missed."""
    world = people.world
    low_c = world.yard.lows.get(world.calendar.day_of(world.now))
    bare = {lot.place for lot in world.yard.bare(_live(people), world.now, low_c)}
    for place in _in_order(bare):
        if not people.misses():
            people.do(who, "covered", None, {"place": place, "for_low_c": low_c})


def covered(people: "People") -> list[str]:
    """Return the places in which anything is covered, in walking order."""
    yard = people.world.yard
    return _in_order({lot.place for lot in _live(people) if yard.over(lot)} | yard.covers.keys())


def uncover(people: "People", who: str, places: Iterable[str]) -> None:
    """Take covers off, or say that they stay on until the next morning, where it will be cold."""
    world = people.world
    today = world.calendar.day_of(world.now)
    low_c = world.yard.lows.get(today, 99.0)
    for place in places:
        if people.misses():
            continue
        if low_c <= FROST_LOW_C and people.rng.random() < STAYS_ON:
            stays = {"place": place, "until": _date(people, today + 1), "for_low_c": low_c}
            people.do(who, "covered", None, stays)
        else:
            people.do(who, "uncovered", None, {"place": place})


def hot_walk(people: "People", who: str) -> None:
    """Walk the tunnels and the small pots: vents, water, shade."""
    for place in _in_order(people.world.yard.hot_places(_live(people), {}).keys()):
        people.walk(who, place)


def _live(people: "People") -> list[Lot]:
    return [lot for lot in people.world.lots.values() if lot.live]


def _date(people: "People", day: int) -> str:
    return (people.world.calendar.first + timedelta(days=day)).isoformat()


def _in_order(places: Iterable[str]) -> list[str]:
    wanted = set(places)
    return [place for place in (place_id(name) for name, _, _ in PLACES) if place in wanted]
