"""Phones, a server and a person, who go through a schedule; then everything heals and is judged."""

import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright

from tests.browser import PHONE, browser_arguments
from tests.faults.drafts import Said
from tests.faults.schedule import PHONES, Step
from tests.faults.server import Faulty
from tests.faults.verdict import judge

ROUNDS = 8
TIMERS_MS = 61_000
OUT = "signed-out"
EMPTY: dict[str, Any] = {}


class Phone:
    """One phone: its page outlives the app in it."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.open = self.emptied = self.cut_off = False
        # A phone that lay in a drawer all through a schedule has nothing to tell.
        self.used = True
        self.disk: Any = None

    def call(self, script: str, given: Any = None) -> Any:
        return self.page.evaluate(script, given)

    def read(self) -> dict[str, list[list[Any]]]:
        found: dict[str, list[list[Any]]] = self.call("() => handset.read()")
        return found

    def held(self) -> set[str]:
        """Return the ids of its own events that it holds."""
        return {key for key, _ in self.read().get("events", [])}


class World:
    """Everything that a schedule acts upon; used again from schedule to schedule."""

    def __init__(self, playwright: Playwright, chromium: str, folder: Path) -> None:
        self.server = Faulty(folder)
        self.profile = tempfile.TemporaryDirectory(
            prefix="lathhouse-phones-", ignore_cleanup_errors=True
        )
        self.context: BrowserContext = playwright.chromium.launch_persistent_context(
            self.profile.name, executable_path=chromium, args=browser_arguments(), **PHONE
        )
        self.phones = [self._handset(number) for number in range(PHONES)]
        self.made: Counter[str] = Counter()
        for phone in self.phones:
            self._pair_first(phone)
        self.first = self.server.copy()
        self.cookies = self.context.cookies()

    def _handset(self, number: int) -> Phone:
        page = self.context.new_page()
        address = self.server.address(f"p{number}")
        page.goto(f"{address}/phone.html")
        page.wait_for_function("() => document.title === 'ready'")
        return Phone(page)

    def _pair_first(self, phone: Phone) -> None:
        """Pair a new phone, and keep its disk as it is then: each schedule begins there."""
        phone.call("() => handset.begin({})")
        phone.call("() => handset.step('open', null, {})")
        phone.call("(s) => handset.step('pair', s, {})", self.server.link())
        phone.call("() => handset.step('nudge', 'online', {})")
        phone.disk = phone.read()

    def close(self) -> None:
        self.context.close()
        self.server.close()
        self.profile.cleanup()

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
        self.server.passed_ms = 0
        self.server.put_back(self.first, new_epoch=False)
        for kept in self.server.copies[1:]:
            kept.unlink()
        # The first day's can be restored where nobody has made another.
        self.server.copies = [self.first]
        self.said = Said()
        self.verified = 0
        # Events of which no copy is left anywhere, and those that only the server has.
        self.excused: set[str] = set()
        self.server_only: set[str] = set()
        self.lost_from: set[int] = set()
        # A phone that was paired anew has another session, which the first day does not know.
        self.context.clear_cookies()
        self.context.add_cookies(self.cookies)
        for phone in self.phones:
            if phone.used:
                phone.call("(disk) => handset.begin(disk)", phone.disk)
            phone.open = phone.emptied = phone.cut_off = phone.used = False

    def act(self, number: int, act: str, given: Any, step: Step = EMPTY) -> Any:
        """Let a phone do something, and take down what it said."""
        phone = self.phones[number]
        phone.used = True
        how = {name: step[name] for name in ("net", "die_at") if name in step}
        how["passed"] = self.server.passed_ms
        result = phone.call("([a, g, h]) => handset.step(a, g, h)", [act, given, how])
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
        self.server.deliver([0] * len(self.server.held))
        for number in self.used():
            self.act(number, "recover", None)
            self.ready(number)
        for turn in range(ROUNDS):
            late = self.not_at_rest()
            if not late:
                return
            self.server.passed_ms += TIMERS_MS
            for number in late:
                self.act(number, "wait", {"ms": TIMERS_MS, "asleep": False})
                if turn == 0:
                    self.act(number, "look", None)
                if self.phones[number].call("() => handset.app.house.contact.value.state") == OUT:
                    self.pair(number)

    def used(self) -> list[int]:
        return [number for number, phone in enumerate(self.phones) if phone.used]

    def not_at_rest(self) -> list[int]:
        """Return the phones that lack something of the server's, or on which something waits."""
        calm = [0, 0, "in-touch", self.server.revision()]
        return [number for number in self.used() if self.phones[number].call(REST) != calm]

    def pair(self, number: int) -> None:
        self.act(number, "pair", self.server.link())
        self.phones[number].cut_off = False

    def gone_from(self, number: int) -> None:
        """A phone's disk is about to be lost: what only it has is excused, then."""
        there = self.server.events().keys()
        for name in self.phones[number].held() | self.said.ids_of(number):
            (self.server_only if name in there else self.excused).add(name)
        self.lost_from.add(number)


REST = """async () => {
  const { database, house } = handset.app;
  const waits = house.pending.value.length + ((await database.meta("afresh")) ? 1 : 0);
  const { state } = house.contact.value;
  return [waits, house.confirming.value.length, state, await database.meta("revision")];
}"""


def record(world: World, step: Step) -> None:
    if not world.ready(step["phone"]):
        return
    number = step["phone"]
    drafts, bad = world.said.drafts(step, world.server.now_ms())
    if drafts is None:
        return
    act, given = drafts
    said = world.act(number, act, given, step)
    world.said.heard(number, said, bad)
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
        world.act(step["phone"], act, step[name] if name else None, step)

    return do


def deliver(world: World, step: Step) -> None:
    world.made["late request delivered"] += min(len(world.server.held), len(step["which"]))
    world.server.deliver(step["which"])


def wait(world: World, step: Step) -> None:
    world.server.passed_ms += step["ms"]
    for number, phone in enumerate(world.phones):
        if phone.open:
            world.act(number, "wait", {"ms": step["ms"], "asleep": step["asleep"]})


def full(world: World, step: Step) -> None:
    world.made["phone full"] += step["is_full"]
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
    world.phones[last].call("(disk) => handset.write(disk)", disk)
    world.phones[last].cut_off = False


def cut_off(world: World, step: Step) -> None:
    if world.server.failing:
        return
    world.made["cut off"] += 1
    (device,) = [
        value for key, value in world.phones[step["phone"]].disk["meta"] if key == "device"
    ]
    world.server.cut_off(device)
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
    """Restore a copy that is no older than the newest backup that was found whole."""
    kept = world.server.copies[world.verified :]
    if not kept:
        return
    world.made["server restored"] += 1
    world.server.calm()
    world.server.put_back(kept[step["which"] % len(kept)], new_epoch=True)
    world.excused |= world.server_only - world.server.events().keys()


def restart(world: World, _step: Step) -> None:
    if world.server.failing:
        return
    world.made["server restarted"] += 1
    world.server.restart()


def server(act: str, name: str | None = None) -> Any:
    """Return a step in which the server begins or ends to fail."""

    def do(world: World, step: Step) -> None:
        world.made[step["do"]] += 1
        getattr(world.server, act)(*([step[name]] if name else []))

    return do


DO = {
    "record": record, "sync": sync, "open": open_app, "close": close_app, "mend": mend,
    "signal": simply("signal", "there"), "answers": simply("answers"), "deliver": deliver,
    "wait": wait, "clock": simply("clock", "ms"), "disconnect": simply("disconnect"),
    "full": full, "evict": evict, "age": simply("age"), "clone": clone, "cut_off": cut_off,
    "pair": pair, "copy": copy, "restore": restore, "restart": restart,
    "server_dies": server("die_at", "at"), "server_full": server("fill_disk"),
    "server_locked": server("lock"), "server_calm": server("calm"),
}  # fmt: skip
