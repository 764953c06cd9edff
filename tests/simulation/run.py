"""Running the world against the real server: one clock, the alert clock's ticks, the day's work."""

import heapq
import random
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import func, select

from lathhouse.demo.load import load
from lathhouse.demo.scenario import FRIDGE, place_id
from lathhouse.demo.story import name_id
from lathhouse.domain.instants import to_text
from lathhouse.reminders.clock import catch_up, tick
from lathhouse.store.backup_age import note_backup
from lathhouse.store.models import Subject, db
from tests.server import Clock, close_nursery, open_nursery
from tests.simulation import answers, covering, outdoors, steps
from tests.simulation.calendar import HOUR_MS, Calendar
from tests.simulation.days import plan_day
from tests.simulation.episodes import Key
from tests.simulation.faults import Faults, plan_faults
from tests.simulation.people import NEAR, People
from tests.simulation.post import Post
from tests.simulation.rings import Mirror, key_of
from tests.simulation.weather import Weather
from tests.simulation.world import PAIRED, World
from tests.simulation.yard import COOL_C, MILD_C

TICKS_MAX = 1000
PHONE = {"Orla": "orla", "Dev": "shed"}
HOT_C = 26


class Run:
    """One simulated stretch of days."""

    def __init__(self, folder: Path, days: int, seed: int, away: str) -> None:
        self.days, self.seed, self.faults = days, seed, Faults.of(days, away)
        self.clock = Clock()
        self.nursery = open_nursery(f"sqlite:///{folder / 's.sqlite'}", folder, self.clock)
        self.calendar = Calendar(self.clock.ms)
        with self.nursery.app.app_context():
            load(self.nursery.site, self.clock.ms, 0)
            catch_up(self.nursery.site, self.clock.ms)
        rng = random.Random(seed)
        weather = Weather(seed, self.calendar, days)
        self.world = World(self.nursery, self.calendar, rng, weather)
        self.people = People(self.world, rng, self.later, self.repair)
        self.post = Post(self.nursery, self.calendar)
        for name, phone in self.world.phones.items():
            person = PAIRED[name][1]
            self.post.subscribe(phone, name_id(person) if person else None)
        self.mirror = Mirror(self.nursery)
        self.mirror.look()
        self.queue: list[tuple[int, int, Callable[[], None]]] = []
        self.count = 0
        self.out_of_order: set[int] = {0, 1}
        self.repairs: list[int] = []

    def put(self, at: int, act: Callable[[], None]) -> None:
        """Plan something for a moment ahead."""
        if at > self.clock.ms:
            self.count += 1
            heapq.heappush(self.queue, (at, self.count, act))

    def later(self, minutes: float, act: Callable[[], None]) -> None:
        """Plan something some minutes from now."""
        self.work(self.clock.ms + steps.minutes(minutes), act, NEAR)

    def work(self, at: int, act: Callable[[], None], reach_minutes: float) -> None:
        """Plan an act whose records are sent so many minutes later, back where there is signal."""

        def done() -> None:
            act()
            for name, phone in self.world.phones.items():
                if phone.outbox:
                    at = self.clock.ms + steps.minutes(reach_minutes)
                    self.put(at, lambda name=name: self.sync(name))

        self.put(at, done)

    def sync(self, name: str) -> None:
        """Let a phone send, where it has anything to send."""
        if self.world.phones[name].outbox:
            self.world.sync(name)

    def repair(self, days: int) -> int | None:
        """Bring a new probe in some days from now; return when, or None where none is wanted."""
        if not self.world.probe.dead or self.repairs:
            return None
        today = self.calendar.day_of(self.clock.ms)
        at = self.calendar.at(self.calendar.next_working(today + days - 1), "10:05")
        self.repairs.append(at)
        self.put(at, lambda: setattr(self.world.probe, "dead", False))
        return at

    def go(self, progress: Callable[[int, int], None] = lambda _day, _days: None) -> "Run":
        """Run it through; say at the beginning of each day how far it is."""
        end = self.calendar.at(self.days, "00:00")
        self.out_of_order |= plan_faults(self.faults, self.world, self.put)
        for day in range(self.days):
            self.put(self.calendar.at(day, "00:01"), lambda day=day: plan_day(self, day))
            self.put(self.calendar.at(day, "00:01"), lambda day=day: progress(day, self.days))
            self.put(self.calendar.at(day, "02:00"), self._back_up)
        plan_day(self, 0)
        while self.queue and self.queue[0][0] < end:
            at, _, act = heapq.heappop(self.queue)
            self._tick_until(at)
            self.clock.ms = max(self.clock.ms, at)
            act()
            self.mirror.look()
        self._tick_until(end)
        self.clock.ms = end
        self._finish()
        return self

    def _back_up(self) -> None:
        """Note the night's backup; that one is made is tried elsewhere."""
        with self.nursery.app.app_context():
            note_backup(self.nursery.site, to_text(self.clock.ms))
        self.world.backed_up(self.clock.ms)

    def _tick_until(self, at: int) -> None:
        """Let the alert clock tick at every moment at which it has something to do."""
        for _ in range(TICKS_MAX):
            coming = [due for due in (self._next_deadline(), self.post.next_due()) if due]
            if not coming or min(coming) > at:
                return
            self.clock.ms = max(self.clock.ms, min(coming))
            self.post.take()
            with self.nursery.app.app_context():
                tick(self.nursery.site, self.clock.ms)
            self.mirror.look()
        raise RuntimeError("the alert clock never comes to rest")

    def _next_deadline(self) -> int | None:
        with self.nursery.app.app_context(), db.engine.connect() as connection:
            found = connection.execute(select(func.min(Subject.next_deadline))).scalar()
        return Clock(found).ms if found else None

    def noon(self) -> None:
        """Let nature take its day's course in every lot."""
        for lot in list(self.world.lots.values()):
            if lot.live:
                self.world.nature.noon(lot, self.clock.ms)

    def read_probe(self) -> None:
        """Send what the fridge's probe reads, while it lives."""
        if not self.world.probe.dead:
            self.world.probe.send(self.world.nature.fridge_c(self.clock.ms))
            self.world.was_read(self.clock.ms)

    def read_corner(self) -> None:
        """Send every hour what may matter, with what follows it.

        A probe sends all day; what is left out here begins and ends nothing (`yard.py`).
        """
        world, now = self.world, self.clock.ms
        covered = bool(covering.covered(self.people))
        air = [world.weather.air_c(at) for at in (now - HOUR_MS, now)]
        near = any(c <= MILD_C or c >= HOT_C or (covered and c >= COOL_C) for c in air)
        if near:
            outdoors.read_corner(world)

    def read_list(self, who: str) -> None:
        """Let somebody read their list: the server's, or what a phone that is off knows itself."""
        if self.world.phones[PHONE[who]].is_off(self.clock.ms):
            found = [(key, 2) for key in self.world.truth.true_now(self.clock.ms)]
        else:
            found = [(key_of(row), row["priority"]) for row in self.mirror.standing()]
        answers.go_through(self.people, who, sorted(found, key=lambda one: (one[1], one[0])))

    @property
    def sent(self) -> int:
        """How many events the phones have sent."""
        return sum(phone.sent for phone in self.world.phones.values())

    def _finish(self) -> None:
        fridge = Key("chamber-band", "place", place_id(FRIDGE))
        self.world.truth.done[fridge] = self.world.nature.out_of_band()
        self.world.still_unsent()
        self.world.truth.finish(self.clock.ms)
        self.mirror.finish()
        close_nursery(self.nursery)
