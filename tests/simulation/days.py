"""What is planned of each day as it begins."""

from typing import TYPE_CHECKING

from tests.simulation import covering, outdoors
from tests.simulation.calendar import HOUR_MS, MINUTE_MS
from tests.simulation.people import WORKS
from tests.simulation.world import PROBE_MINUTES

if TYPE_CHECKING:
    from tests.simulation.run import Run

SYNCS = {"orla": ("06:35", "12:30", "20:30"), "mele": ("07:02", "12:30", "15:58")}
LISTS = (("Dev", "07:35"), ("Orla", "08:30"), ("Dev", "11:50"), ("Dev", "14:30"), ("Orla", "16:05"))
# After these hours weather asks for something else than before (`yard.py`).
WEATHER_TURNS = ("00:30", "12:00", "14:00")


def plan_day(run: "Run", day: int) -> None:
    """Plan what happens on a day anyway: readings, weather, rounds, contacts, lists."""
    at, working = run.calendar.at, run.calendar.is_working(day)
    run.put(at(day, "12:00"), run.noon)
    first = at(day, "00:00") + 20 * MINUTE_MS
    for half_hour in range(0, 24 * 60, PROBE_MINUTES):
        run.put(first + half_hour * MINUTE_MS, run.read_probe)
    for hour in range(24):
        run.put(at(day, "00:25") + hour * HOUR_MS, run.read_corner)
    for clock in WEATHER_TURNS:
        run.put(at(day, clock), lambda: outdoors.reckon(run.world, run.clock.ms))
    for when, act, reach in covering.plan(run.people, day):
        run.work(when, act, reach)
    for hour in range(0, 24, 6):
        run.put(at(day, "00:30") + hour * HOUR_MS, lambda: run.world.sync("shed"))
    for name, clocks in SYNCS.items():
        if name == "orla" or run.calendar.weekday(day) in WORKS["Mele"]:
            for clock in clocks:
                run.put(at(day, clock), lambda name=name: run.world.sync(name))
    if not working:
        return
    for when, act, reach in run.people.plan(day):
        run.work(when, act, reach)
    for who, clock in LISTS:
        run.work(at(day, clock), lambda who=who: run.read_list(who), 10)
