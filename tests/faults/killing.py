"""Schedules with real deaths: SIGKILL to the phone's browser and to the server's own process."""

import random
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from urllib.error import URLError

from e2e.house import House, pair, phone_lots, plain, until, until_in_touch
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page, Playwright

from tests.browser import PersistentPhone

PHONES, STEPS = 2, 5
# The command itself; once armed with a number, it ends at so many statements after it has
# written an event, the commit being one of them.
SERVED = """
import os, signal, sys
from pathlib import Path
from sqlalchemy import event
from sqlalchemy.engine import Engine
from lathhouse.cli import main

armed = Path(sys.argv.pop(1))

def count(connection):
    left = connection.info.get("left")
    if left is None:
        return
    connection.info["left"] = left - 1
    if left <= 0:
        os.kill(os.getpid(), signal.SIGKILL)

@event.listens_for(Engine, "before_cursor_execute")
def executing(connection, cursor, statement, *rest):
    if statement.startswith("INSERT INTO events ") and armed.exists():
        connection.info["left"] = int(armed.read_text())
    count(connection)

@event.listens_for(Engine, "commit")
def committing(connection):
    count(connection)
    connection.info.pop("left", None)

main()
"""
TAP = """([lots, count]) => {
  void (async () => {
    const { record } = await import("/store/record.js");
    for (let n = 0; n < count; n += 1) {
      const lot = lots[n % lots.length];
      const event = await record("looked", lot, { moisture: 1 + (n % 5) });
      window.told(event.id);
    }
  })();
}"""
START = """async (drafts) => {
  const { recordAll } = await import("/store/record.js");
  for (const event of await recordAll(drafts)) window.told(event.id);
}"""

STATE = "() => import('/store/house.js').then((house) => house.contact.value.state)"
SAYS = """async () => {
  const { contact, pending, confirming, trouble, session } = await import("/store/house.js");
  return JSON.stringify([contact.value, pending.value.length, confirming.value.length,
    trouble.value, session.value, location.href, (await navigator.locks.query()).held.length]);
}"""
# The phone tries again, and has either succeeded since, or been told that it is signed out.
AGAIN = """async () => {
  const { contact } = await import("/store/house.js");
  const before = contact.value.last_sync_at;
  dispatchEvent(new Event("online"));
  return before;
}"""
HEARD = """import('/store/house.js').then(({ contact: { value } }) =>
  value.state === 'signed-out' || (value.state === 'in-touch' && value.last_sync_at !== given))"""


class Host(House):
    """The server's own command, in a process that ends where it is told to."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.armed = folder.with_suffix(".armed")

    def start(self) -> None:
        self.armed.unlink(missing_ok=True)
        super().start()

    def command(self) -> list[str]:
        return [sys.executable, "-c", SERVED, str(self.armed), "serve"]

    def is_dead(self) -> bool:
        return self.process is None or self.process.poll() is not None

    def run(self, *words: str) -> str:
        """Run a command of the program on this folder."""
        command = [sys.executable, "-m", "lathhouse", *words]
        return subprocess.run(command, check=True, capture_output=True, text=True).stdout


class Killing:
    """Two phones with profiles on the disk, and a server, killed again and again."""

    def __init__(self, playwright: Playwright, chromium: str, folder: Path) -> None:
        self.folder, self.made, self.told = folder, Counter[str](), set[str]()
        self.host = Host(folder / "house")
        self.phones = [
            PersistentPhone(playwright, chromium, folder / f"p{n}") for n in range(PHONES)
        ]
        self.pages: list[Page | None] = [None] * PHONES
        self.lots: list[str] = []
        self.restored = 0

    def run(self, seed: int) -> list[str]:
        """Run a schedule from its seed; return what is wrong after it has healed."""
        self.chance = random.Random(seed)
        try:
            self.begin()
            for _ in range(STEPS):
                self.chance.choices(ACTS, WEIGHTS)[0](self)
            return self.heal() or self.judge()
        finally:
            for phone in self.phones:
                phone.close()
            self.kill_server()

    def begin(self) -> None:
        self.host.start()
        for number, phone in enumerate(self.phones):
            link = self.link() if number else self.host.link
            self.pages[number] = self.heard(pair(phone.open(), self.host, link))
        self.start_lots(0)

    def link(self) -> str:
        """Return a new link that pairs a phone."""
        return str(self.host.call("POST", "/api/v1/pairings", {"role": "owner"})["link"])

    def heard(self, page: Page) -> Page:
        """Let a page tell what its app has called saved."""
        page.expose_function("told", lambda name: self.told.add(name))
        return page

    def start_lots(self, number: int) -> None:
        drafts = []
        for _ in range(2):
            self.lots.append(new_id(self.chance))
            data = {
                "crop": "acer-palmatum",
                "label": f"L{len(self.lots)}",
                "quantity": 200,
                "unit": "seeds",
            }
            drafts.append({"kind": "lot_started", "lot": self.lots[-1], "data": data})
        self.page(number).evaluate(START, drafts)

    def page(self, number: int) -> Page:
        """Return a phone's page, its browser started again where it was killed."""
        found = self.pages[number]
        if found is None:
            context = self.phones[number].open()
            found = self.heard(context.pages[0] if context.pages else context.new_page())
            found.goto(self.host.address)
            self.pages[number] = found
        return found

    # -- what happens

    def tap(self) -> None:
        """A phone records as fast as it can, and maybe its battery dies amid that."""
        number, count = self.chance.randrange(PHONES), self.chance.randint(5, 60)
        page, before = self.page(number), len(self.told)
        page.evaluate(TAP, [self.lots, count])
        dies_at = self.chance.choice([None, self.chance.randint(1, count)])
        while len(self.told) < before + (dies_at or count):
            page.evaluate("() => 1")  # lets the page's calls through
        if dies_at:
            self.kill_phone(number)

    def kill_phone(self, number: int) -> None:
        self.phones[number].kill()
        self.pages[number] = None
        self.made["phone killed"] += 1

    def start_more(self) -> None:
        self.start_lots(self.chance.randrange(PHONES))

    def kill_server(self) -> None:
        if not self.host.is_dead():
            self.host.stop(signal.SIGKILL)
            self.made["server killed"] += 1

    def arm_server(self) -> None:
        """The next push that writes an event is the server's last act, at some statement of it."""
        self.revive()
        self.host.armed.write_text(str(self.chance.randint(0, 14)))
        self.tap()

    def revive(self) -> None:
        if self.host.is_dead():
            self.note_death()
            self.host.start()

    def note_death(self) -> None:
        """A server that ended by itself was killed in its transaction."""
        if self.host.process is not None:
            assert self.host.process.wait() == -signal.SIGKILL
            assert self.host.process.stdout is not None
            self.host.process.stdout.close()
            self.host.process = None
            self.made["server killed in a transaction"] += 1

    def restore(self) -> None:
        """A backup is made, work goes on, the computer burns down; a new one gets the backup."""
        self.revive()
        made = self.host.run("backup", "--data", str(self.host.folder)).strip().splitlines()[-1]
        self.tap()
        self.kill_server()
        self.note_death()
        self.restored += 1
        again = self.folder / f"house-{self.restored}"
        self.host.run("restore", made, "--data", str(again))
        self.host.folder = again
        self.host.start()
        self.made["server restored"] += 1

    # -- afterwards

    def heal(self) -> list[str]:
        """Nothing is killed any more, and each phone is looked at twice; return what stays ill."""
        self.disarm()
        for _ in range(2):
            for number in range(PHONES):
                page = self.page(number)
                try:
                    self.hear(number, page)
                except PlaywrightError as error:
                    return [f"phone {number} does not heal: {error.message}; {self.state(page)}"]
        return []

    def disarm(self) -> None:
        """Let the server live on: what was to be its last act is done by now, or is not."""
        self.host.armed.unlink(missing_ok=True)
        self.revive()
        try:
            # A write waits for the one before it, which may still end the process.
            self.link()
        except (URLError, ConnectionError):
            if self.host.process is not None:
                self.host.process.wait(timeout=20)
            self.revive()

    def hear(self, number: int, page: Page) -> None:
        until(page, HEARD, page.evaluate(AGAIN))
        if page.evaluate(STATE) == "signed-out":
            self.pair_again(number)
        until_in_touch(page)

    def state(self, page: Page) -> str:
        """Return what a phone that does not heal says of itself, and whether the server lives."""
        says = "the server is dead" if self.host.is_dead() else "the server lives"
        try:
            return f"{says}; {page.evaluate(SAYS)}; {page.inner_text('body')[:300]!r}"
        except PlaywrightError as error:
            return f"{says}; the page says nothing: {error.message}"

    def pair_again(self, number: int) -> None:
        """A browser writes its cookies to the disk half a minute late: some deaths sign it out."""
        self.made["signed out by its death"] += 1
        pair(self.phones[number].context, self.host, self.link())

    def judge(self) -> list[str]:
        events = self.host.events()
        times = Counter(event["id"] for event in events)
        wrong = [
            f"event {name} was called saved, and is there {times[name]} times"
            for name in self.told
            if times[name] != 1
        ]
        lots = plain(self.host.lots())
        for number in range(PHONES):
            if plain(phone_lots(self.page(number))) != lots:
                wrong.append(f"phone {number} shows other lots than the server")
        self.host.stop()
        said = self.host.run("check", "--data", str(self.host.folder)).strip().splitlines()
        return wrong + [line for line in said if not line.endswith(" 0 differences")]


def new_id(chance: random.Random) -> str:
    """Return a random version 4 UUID of a schedule's own."""
    digits = f"{chance.getrandbits(128):032x}"
    return f"{digits[:8]}-{digits[8:12]}-4{digits[13:16]}-8{digits[17:20]}-{digits[20:]}"


ACTS = [
    Killing.tap,
    Killing.start_more,
    Killing.kill_server,
    Killing.arm_server,
    Killing.revive,
    Killing.restore,
]
WEIGHTS = [5, 2, 2, 3, 1, 1]
