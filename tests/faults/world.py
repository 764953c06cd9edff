"""Phones, a server and a person, who go through a schedule; then everything heals and is judged."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from tests.faults import files
from tests.faults.drafts import Said
from tests.faults.handsets import Chromium, Line
from tests.faults.schedule import HOUR_MS, PHONES, Step
from tests.faults.server import Faulty
from tests.faults.verdict import judge

ROUNDS = 8
TIMERS_MS = 61_000
OUT = "signed-out"
EMPTY: dict[str, Any] = {}
Disk = dict[str, list[list[Any]]]


class Phone:
    """One phone: its page outlives the app in it."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.forget()
        # A phone that lay in a drawer all through a schedule has nothing to tell.
        self.used = False
        self.device = ""

    def forget(self) -> None:
        """Be as on the first day."""
        self.open = self.emptied = self.cut_off = False
        self.clock_is_set = self.is_full = False
        self.east_min = 0
        # The ids of its own events in its own backup, which at first is that of the first day.
        self.backup: set[str] = set()

    def call(self, act: str, *given: Any) -> Any:
        return self.line.ask(act, *given)

    def read(self) -> Disk:
        found: Disk = self.call("read")
        return found

    def held(self) -> set[str]:
        """Return the ids of its own events that it holds, and the names of its own pictures."""
        return own(self.read())

    def pair_first(self, secret: str) -> None:
        """Pair a new phone; each schedule begins with its disk as it is then."""
        self.line.ready()
        disk = self.call("pairFirst", secret)
        (self.device,) = [value for key, value in disk["meta"] if key == "device"]


def own(disk: Disk) -> set[str]:
    """Return the ids of a disk's own events, and the names of its own pictures."""
    pictures = {key for key, kept in disk.get("photos", []) if kept["mine"]}
    return pictures | {key for key, _ in disk.get("events", [])}


class World:
    """Everything that a schedule acts upon; used again from schedule to schedule."""

    def __init__(self, chromium: str, folder: Path) -> None:
        self.server = Faulty(folder)
        first, *others = [f"{self.server.address(number)}/phone.html" for number in range(PHONES)]
        self.browser = Chromium(chromium, folder, f"{first}?{'&'.join(others)}")
        self.phones = [Phone(line) for line in self.server.lines]
        self.made: Counter[str] = Counter()
        for phone in self.phones:
            phone.pair_first(self.server.link())
        self.server.tick()
        self.first = self.server.copy()
        self.server.first_cookies = dict(self.server.cookies)

    def close(self) -> None:
        self.server.close()
        self.browser.close()

    def load_apart(self, apart: bool) -> None:
        """Let apps load their modules as they are shipped, file by file, or all in one script."""
        for phone in self.phones:
            phone.call("loadApart", apart)

    # -- a schedule

    def run(self, schedule: list[Step]) -> list[str]:
        """Go through a schedule from the first day on; return what is wrong once all has healed."""
        self.begin()
        for step in schedule:
            DO[step["do"]](self, step)
        self.heal()
        self.made.update(self.server.ended())
        return judge(self)

    def begin(self) -> None:
        self.server.calm()
        self.server.held.clear()
        self.server.passed_ms = self.server.wrong_ms = 0
        self.server.put_back(self.first, new_epoch=False)
        # Some phone has agreed with it on that day.
        self.server.clock.hear(self.server.now_ms())
        for kept in self.server.copies[1:]:
            kept.unlink()
        # The first day's can be restored where nobody has made another.
        self.server.copies = [self.first]
        self.said = Said()
        self.verified = 0
        # Events of which no copy is left anywhere, and those that only the server has.
        self.excused: set[str] = set()
        self.server_only: set[str] = set()
        # Devices of which something may be gone for good: their numbers may have a gap.
        self.bereft: set[str] = set()
        # (device, number) of records that no server had called stored, of which no copy is left.
        self.gone: set[tuple[str, int]] = set()
        self.files = files.Files()
        # Whether a backup was restored that is older than one that was found whole.
        self.older = False
        for phone in self.phones:
            if phone.used:
                phone.call("begin")
            phone.forget()
            phone.used = False

    def act(self, number: int, act: str, given: Any, step: Step = EMPTY) -> Any:
        """Let a phone do something, and take down what it said."""
        phone = self.phones[number]
        phone.used = True
        how = {name: step[name] for name in ("net", "die_at") if name in step}
        how["passed"] = self.server.passed_ms
        result = phone.call("step", act, given, how)
        self.made.update(f"request: {fault}" for fault in result["met"] if fault != "none")
        if phone.open and not result["alive"] and act not in ("evict", "age"):
            self.made["phone killed"] += 1
        phone.open = result["alive"]
        self.said.saved(number, result["saved"])
        return result["said"]

    def ready(self, number: int) -> bool:
        """Open the app where it is closed; return whether it could be opened."""
        if not self.phones[number].open:
            self.act(number, "open", None)
        return self.phones[number].open

    def heal(self) -> None:
        """Nothing goes wrong any more; people open their phones, and time passes."""
        self.server.calm()
        if self.server.wrong_ms:
            self.server.set_clock(0, restarts=False)
        self.server.deliver([0] * len(self.server.held))
        files.bring_last(self, "before")
        for number in self.used():
            self.act(number, "recover", None)
            self.ready(number)
        self.come_to_rest()
        if self.files.at_last("after"):
            files.bring_last(self, "after")
            self.come_to_rest()

    def come_to_rest(self) -> None:
        for turn in range(ROUNDS):
            # As a server that runs does every few seconds: its clock may be believed again.
            self.server.tick()
            late = self.not_at_rest()
            if not late:
                return
            self.server.passed_ms += TIMERS_MS
            for number in late:
                self.act(number, "wait", {"ms": TIMERS_MS, "asleep": False})
                if turn == 0:
                    self.act(number, "look", None)
                    self.act(number, "try_now", None)
                if self.phones[number].call("state") == OUT:
                    self.pair(number)

    def used(self) -> list[int]:
        return [number for number, phone in enumerate(self.phones) if phone.used]

    def not_at_rest(self) -> list[int]:
        """Return the phones that lack something of the server's, or on which something waits."""
        calm = [0, 0, "in-touch", *self.server.known()]
        return [number for number in self.used() if self.phones[number].call("rest") != calm]

    def pair(self, number: int) -> None:
        if self.phones[number].call("state") == OUT:
            # An emptied phone whose cookie a restored server does not know is a new phone to all.
            self.phones[number].emptied = False
        self.act(number, "pair", self.server.link())
        self.phones[number].cut_off = False

    def gone_from(self, number: int, but: Iterable[str] = ()) -> None:
        """A phone's disk is about to be lost: what only it has is excused, then."""
        there = self.server.names()
        disk = self.phones[number].read()
        self.bereft |= {value for key, value in disk.get("meta", []) if key == "device"}
        waits = {entry["id"] for name in ("outbox", "refused") for _, entry in disk.get(name, [])}
        held = [
            event for key, event in disk.get("events", []) if key in waits.difference(there, but)
        ]
        self.gone |= {(event["device"], event["seq"]) for event in held}
        for name in (own(disk) | self.said.ids_of(number)).difference(but):
            (self.server_only if name in there else self.excused).add(name)

    def let_pass(self, ms: int, asleep: bool) -> None:
        """Let time pass for everybody."""
        self.server.passed_ms += ms
        for number, phone in enumerate(self.phones):
            if phone.open:
                self.act(number, "wait", {"ms": ms, "asleep": asleep})

    def local(self, phone: Phone) -> datetime:
        """Return what a right clock on a phone's wall shows now."""
        here = timezone(timedelta(minutes=phone.east_min))
        return datetime.fromtimestamp(self.server.now_ms() / 1000, here)


def record(world: World, step: Step) -> None:
    if not world.ready(step["phone"]):
        return
    number = step["phone"]
    drafts, bad = world.said.drafts(step, world.server.now_ms())
    if drafts is None:
        return
    act, given = drafts
    phone = world.phones[number]
    days = {str(world.local(phone).date())}
    said = world.act(number, act, given, step)
    days.add(str(world.local(phone).date()))
    world.said.heard(number, said, bad)
    if step["act"] != "earlier" and not phone.clock_is_set:
        world.said.days.update(dict.fromkeys(said.get("value") or [], days))
    if said.get("error"):
        world.made[f"not saved: {said['error']}"] += 1


def sync(world: World, step: Step) -> None:
    if world.ready(step["phone"]):
        world.act(step["phone"], "nudge", "online", step)


def open_app(world: World, step: Step) -> None:
    world.act(step["phone"], "open", None, step)


def close_app(world: World, step: Step) -> None:
    world.act(step["phone"], "close", None)


def mend(world: World, step: Step) -> None:
    if world.ready(step["phone"]):
        how = {"why": "a slip"} if step["give_up"] else {"data": {"moisture": 4}}
        world.act(step["phone"], "mend", how, step)


def simply(act: str, name: str | None = None) -> Any:
    """Return a step that one act of the phone is."""

    def do(world: World, step: Step) -> None:
        world.made[step["do"]] += 1
        world.act(step["phone"], act, step.get(name) if name else None, step)

    return do


def deliver(world: World, step: Step) -> None:
    world.made["late request delivered"] += min(len(world.server.held), len(step["which"]))
    world.server.deliver(step["which"])


def wait(world: World, step: Step) -> None:
    world.let_pass(step["ms"], step["asleep"])


def clock(world: World, step: Step) -> None:
    world.made["clock"] += 1
    world.phones[step["phone"]].clock_is_set = True
    world.act(step["phone"], "clock", step["ms"])


def zone(world: World, step: Step) -> None:
    """A phone is in some zone, and it is nearly midnight there, or just past it."""
    phone = world.phones[step["phone"]]
    world.made["near midnight"] += 1
    phone.east_min = step["east_min"]
    world.act(step["phone"], "zone", phone.east_min)
    here = world.local(phone)
    minutes = (step["at"] - here.hour * 60 - here.minute) % (24 * 60)
    world.let_pass(minutes * 60_000, asleep=True)


def several(act: str, name: str | None = None) -> Any:
    """Return a step of an app that is open, in one tab or in several."""

    def do(world: World, step: Step) -> None:
        if world.ready(step["phone"]):
            world.made[f"tabs: {act}"] += 1
            world.act(step["phone"], act, step[name] if name else None, step)

    return do


def keep(world: World, step: Step) -> None:
    phone = world.phones[step["phone"]]
    phone.backup = phone.held()
    world.act(step["phone"], "keep", None)


def roll_back(world: World, step: Step) -> None:
    """A phone is given back a backup of itself: it has used numbers that it does not know of."""
    phone = world.phones[step["phone"]]
    world.made["rolled back"] += 1
    world.gone_from(step["phone"], but=phone.backup)
    phone.emptied = phone.cut_off = False
    world.act(step["phone"], "roll_back", None)


def full(world: World, step: Step) -> None:
    world.made["phone full"] += step["is_full"]
    world.phones[step["phone"]].is_full = step["is_full"]
    world.act(step["phone"], "full", step["is_full"])


def evict(world: World, step: Step) -> None:
    world.made["evicted"] += 1
    world.gone_from(step["phone"])
    # That it was paired is known from its cookie alone: a phone that is cut off knows nothing.
    world.phones[step["phone"]].emptied = not world.phones[step["phone"]].cut_off
    world.act(step["phone"], "evict", None)


def clone(world: World, step: Step) -> None:
    """The last phone is given the backup of another: both have one device's id from now on."""
    world.made["cloned"] += 1
    last = PHONES - 1
    world.gone_from(last)
    world.act(last, "close", None)
    disk = world.phones[step["of"]].read()
    world.phones[last].call("write", disk)
    # Its own record is gone, and it has another's: it cannot know that anything was lost.
    world.phones[last].cut_off = world.phones[last].emptied = False


def cut_off(world: World, step: Step) -> None:
    if world.server.failing:
        return
    world.made["cut off"] += 1
    world.server.cut_off(world.phones[step["phone"]].device)
    world.phones[step["phone"]].cut_off = True
    world.phones[step["phone"]].emptied = False


def pair(world: World, step: Step) -> None:
    if world.ready(step["phone"]) and not world.server.failing:
        world.pair(step["phone"])


def copy(world: World, step: Step) -> None:
    if step["verified"] and not world.server.failing:
        world.server.note_backup()
        world.verified = len(world.server.copies)
    world.server.copies.append(world.server.copy())


def restore(world: World, step: Step) -> None:
    """Restore a copy; older than the newest backup that was found whole, where the step says so."""
    kept = world.server.copies[0 if step.get("older") else world.verified :]
    if not kept:
        return
    place = step["which"] % len(kept)
    world.server.calm()
    world.server.put_back(kept[place], new_epoch=True)
    there = world.server.names()
    world.excused |= world.server_only - there
    if step.get("older") and place < world.verified:
        world.made["server restored to before what phones let go of"] += 1
        world.older = True
        held: set[str] = set().union(*(world.phones[number].held() for number in world.used()))
        told = world.said.told.keys() | world.said.pictures_told.keys()
        world.excused |= told - there - held
    world.made["server restored"] += 1


def restart(world: World, _step: Step) -> None:
    if world.server.failing:
        return
    world.made["server restarted"] += 1
    world.server.tick()
    world.server.restart()


def server_clock(world: World, step: Step) -> None:
    """The server's own clock is wrong, from a start on or while it runs, or is put right."""
    if world.server.failing or step["ms"] == world.server.wrong_ms:
        return
    how = f"wrong by {step['ms'] // HOUR_MS} hours" if step["ms"] else "right again"
    world.made[f"server's clock {how}"] += 1
    world.server.set_clock(step["ms"], restarts=step["restarts"])
    world.made["server's clock in doubt"] += world.server.clock.doubt is not None


def server(act: str, name: str | None = None) -> Any:
    """Return a step in which the server begins or ends to fail."""

    def do(world: World, step: Step) -> None:
        world.made[step["do"]] += 1
        getattr(world.server, act)(*([step[name]] if name else []))

    return do


def save_file(world: World, step: Step) -> None:
    files.save(world, step, record)


DO = {
    "record": record, "sync": sync, "open": open_app, "close": close_app, "mend": mend,
    "signal": simply("signal", "there"), "answers": simply("answers"), "deliver": deliver,
    "wait": wait, "clock": clock, "disconnect": simply("disconnect", "amid"),
    "zone": zone, "tab": several("tab"), "leave": several("leave", "which"),
    "everywhere": several("everywhere"), "keep": keep, "roll_back": roll_back,
    "save_file": save_file, "bring": files.bring,
    "full": full, "evict": evict, "age": simply("age"), "clone": clone, "cut_off": cut_off,
    "pair": pair, "copy": copy, "restore": restore, "restart": restart,
    "server_clock": server_clock, "server_dies": server("die_at", "at"),
    "server_full": server("fill_disk"), "server_locked": server("lock"),
    "server_calm": server("calm"),
}  # fmt: skip
