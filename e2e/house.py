"""The program as an owner runs it: its own command, in a process that can be stopped and killed."""

import json
import os
import signal
import ssl
import subprocess
import sys
import urllib.request
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect
from tests.ports import own_port

LATER_MS = 60_000
# Just over the time, after a change under the thumb, in which the walk takes a touch for the
# second half of the one before.
HEARS_AGAIN_MS = 450
STILL = f"""() => {{
  if (window.changedAt === undefined) {{
    window.changedAt = performance.now();
    new MutationObserver(() => {{ window.changedAt = performance.now(); }})
      .observe(document.body, {{ subtree: true, childList: true, attributes: true }});
  }}
  return performance.now() - window.changedAt > {HEARS_AGAIN_MS};
}}"""
Lot = dict[str, Any]


def ago(**length: float) -> str:
    """Return a time that long ago, as a phone writes it."""
    return (datetime.now(UTC) - timedelta(**length)).isoformat(timespec="milliseconds")


class House:
    """A server's folder, and the process that serves it."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder, self.options, self.port, self.link = folder, options, own_port(), ""
        self.said: list[str] = []
        # Where it has an authority of its own, what its scripts trust.
        self.trust: ssl.SSLContext | None = None
        self.process: subprocess.Popen[str] | None = None
        self.device, self.seq = str(uuid.uuid4()), 0
        self.token = ""

    def start(self) -> None:
        """Start it on its own port, and wait until it says where it is."""
        command = [*self.command(), "--data", str(self.folder), "--port", str(self.port)]
        self.process = subprocess.Popen(
            [*command, *self.options], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.rstrip("\n"))
            if "/#/pair/" in line:
                self.link = line.split(": ", 1)[1].strip()
            if line.startswith("Lathhouse is at "):
                self.port = int(line.strip().rstrip("/").rsplit(":", 1)[1])
                return
        raise AssertionError("the server ended before it said where it is")

    def command(self) -> list[str]:
        """Return what starts it."""
        return [sys.executable, "-m", "lathhouse", "serve"]

    def stop(self, how: int = signal.SIGTERM) -> None:
        """Stop it; SIGKILL leaves it no time to finish anything."""
        if self.process is not None:
            os.kill(self.process.pid, how)
            self.process.wait(timeout=60)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    def call(self, method: str, path: str, body: Any = None) -> Any:
        """Ask it something as the owner's script."""
        if not self.token:
            command = [sys.executable, "-m", "lathhouse", "tokens", "add", "script"]
            made = [*command, "--role", "owner", "--data", str(self.folder)]
            self.token = subprocess.run(
                made, check=True, capture_output=True, text=True
            ).stdout.split()[-1]
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.address + path, data, headers, method=method)
        with urllib.request.urlopen(request, timeout=60, context=self.trust) as answer:
            return json.loads(answer.read())

    def event(self, kind: str, lot: str | None, data: dict[str, Any], at: str) -> dict[str, Any]:
        """Return an event of the owner's script."""
        self.seq += 1
        numbered = {"id": str(uuid.uuid4()), "seq": self.seq, "kind": kind, "lot": lot}
        return {**numbered, "observed_at": at, "by": None, "data": data}

    def record(self, events: list[dict[str, Any]]) -> None:
        """Put events on record."""
        body = {"device": self.device, "sent_at": ago(), "events": events}
        said = self.call("POST", "/api/v1/sync/push", body)
        assert len(said["stored"]) == len(events), said

    def events(self, kind: str | None = None) -> list[dict[str, Any]]:
        """Return every event on record, or those of one kind."""
        found: list[dict[str, Any]] = []
        after = ""
        while True:
            page = self.call("GET", f"/api/v1/events?limit=1000{after}")
            found += page["events"]
            if page["next"] is None:
                return [event for event in found if kind in (None, event["kind"])]
            after = f"&after={page['next']}"

    def lots(self) -> dict[str, Lot]:
        """Return every lot as the server gives it to phones."""
        found: dict[str, Lot] = {}
        cursor, more = "0", True
        while more:
            page = self.call("GET", f"/api/v1/sync/pull?after={cursor}&limit=1000")
            found |= {lot["id"]: lot for lot in page["rows"]["lots"]}
            cursor, more = page["cursor"], page["more"]
        return found

    def alerts(self, state: str = "standing") -> dict[tuple[str, str | None], str]:
        """Return {(watch, lot): level} of the alerts in a state."""
        found = self.call("GET", f"/api/v1/alerts?state={state}&limit=1000")["alerts"]
        return {(alert["watch"], alert["lot"]): alert["level"] for alert in found}


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A server on its first day."""
    running = House(tmp_path / "house")
    running.start()
    yield running
    running.stop()


def place(house: House, name: str, order: int, kind: str = "bench", *, daily: bool = True) -> str:
    """Put a place on record; one that is walked daily rings where it was not."""
    row = {"id": str(uuid.uuid4()), "name": name, "order": order, "kind": kind, "daily": daily}
    house.record([house.event("place_changed", None, row, ago(days=60))])
    return row["id"]


def lot_events(
    house: House, label: str, where: str, days: float, *after: tuple[str, dict[str, Any], float]
) -> tuple[str, list[dict[str, Any]]]:
    """Return a lot's id and its first events; each of `after` is (kind, data, days ago)."""
    lot = str(uuid.uuid4())
    started = {"crop": "acer-palmatum", "label": label, "quantity": 200, "unit": "seeds"}
    first = house.event("lot_started", lot, {**started, "place": where}, ago(days=days))
    rest = [house.event(kind, lot, data, ago(days=then)) for kind, data, then in after]
    return lot, [first, *rest]


def pair(context: BrowserContext, house: House, link: str | None = None) -> Page:
    """Pair a phone by its link, and wait until it holds the whole app and the whole record."""
    page = context.pages[0] if context.pages else context.new_page()
    page.goto(link or house.link)
    expect(page.get_by_text("This phone is paired.")).to_be_visible(timeout=LATER_MS)
    page.evaluate("() => { location.hash = '#/'; }")
    until(page, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller)")
    until_in_touch(page)
    return page


def until(page: Page, condition: str, given: Any = None) -> None:
    """Wait until an expression of `given`, which may be a promise, holds on the page.

    (The browser driver's own wait takes any promise for true.)
    """
    page.evaluate(
        f"""async (given) => {{
          const end = performance.now() + {LATER_MS};
          while (!(await ({condition}))) {{
            if (performance.now() > end) throw new Error("not in time: " + {condition!r});
            await new Promise((go) => setTimeout(go, 50));
          }}
        }}""",
        given,
    )


def until_in_touch(page: Page) -> None:
    """Wait until nothing waits on the phone, and it has heard from the server."""
    until(
        page,
        "import('/store/house.js').then((house) => house.contact.value.state === 'in-touch'"
        " && house.pending.value.length + house.confirming.value.length === 0)",
    )


def offline(context: BrowserContext, house: House) -> None:
    """No signal at all: the server's process is gone, and the browser is cut off."""
    house.stop()
    context.set_offline(True)


def online(context: BrowserContext, house: House) -> None:
    """The signal is back, and the server runs again."""
    house.start()
    context.set_offline(False)


def phone_lots(page: Page) -> dict[str, Lot]:
    """Return every lot as the phone shows it."""
    return page.evaluate(
        "() => import('/store/house.js').then((house) => Object.fromEntries(house.lots.value))"
    )


# What belongs to a row and not to the lot: how it is kept, and the moment at which it was sent.
KEPT = ("base", "tail", "checkpoint", "checkpoint_at", "next_deadline", "revision", "day")


def plain(lots: dict[str, Lot]) -> dict[str, Lot]:
    """Return lots without what belongs to their rows."""
    return {
        id: {name: value for name, value in lot.items() if name not in KEPT}
        for id, lot in lots.items()
    }


def unsent(page: Page) -> int:
    """Return how many records are kept on the phone alone."""
    return page.evaluate(
        "() => import('/store/house.js').then((house) => house.pending.value.length)"
    )


class Walker:
    """A grower's thumb on the walk."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def tap(self, target: Locator) -> None:
        """Touch something, as soon as the screen stands still and hears touches again."""
        expect(target).to_be_visible(timeout=LATER_MS)
        self.page.wait_for_function(STILL, timeout=LATER_MS)
        target.tap(timeout=LATER_MS)

    def begin(self) -> None:
        """From the round on to the first place that waits."""
        self.page.evaluate("() => { location.hash = '#/'; }")
        self.tap(self.page.locator(".page-round .main-act"))

    def code(self) -> str | None:
        """Return the code on the plant label that is shown, or None after the last one."""
        shown = self.page.locator(".page-walk .label .code, .page-walk .told")
        expect(shown.first).to_be_visible(timeout=LATER_MS)
        code = self.page.locator(".page-walk .label .code")
        return code.inner_text() if code.count() else None

    def look(self, answers: tuple[str, ...] = ("none", "none", "moist")) -> str | None:
        """Look at the lot that is shown: its questions where it has some, then the button."""
        code = self.code()
        if code is None:
            return None
        for answer in answers:
            question = self.page.locator(".foot fieldset")
            if question.count() == 0:
                break
            self.tap(question.get_by_role("button", name=answer, exact=True))
        return self.save(code, self.page.locator(".foot > .main-act"))

    def look_closer(self, *answers: str) -> str | None:
        """Look at the lot that is shown, and say everything that is seen."""
        code = self.code()
        self.tap(self.page.get_by_role("button", name="Something else"))
        for answer in answers:
            form = self.page.locator("form.look")
            self.tap(form.get_by_role("button", name=answer, exact=True))
        return self.save(code, self.page.locator(".look-foot > .main-act"))

    def save(self, code: str | None, button: Locator) -> str | None:
        """Save what was said of the lot that is shown, and go on to the next."""
        self.tap(button)
        self.page.wait_for_function(
            "(code) => document.querySelector('.page-walk .label .code')?.innerText !== code",
            arg=code,
            timeout=LATER_MS,
        )
        return code

    def count(self, digits: str) -> None:
        """Count the seedlings of the lot that is shown, on the keypad."""
        self.tap(self.page.get_by_role("link", name="Count"))
        for digit in digits:
            self.page.get_by_role("button", name=digit, exact=True).first.tap(timeout=LATER_MS)
        self.tap(self.page.locator(".foot").get_by_role("button", name="Save"))

    def close_place(self) -> bool:
        """Close the place; return whether another one waits and was walked on to."""
        self.tap(self.page.get_by_role("button", name="Close "))
        expect(self.page.locator(".told h2")).to_contain_text("closed", timeout=LATER_MS)
        onward = self.page.get_by_role("link", name="Then on to")
        if onward.count() == 0:
            return False
        self.tap(onward)
        expect(self.page.locator(".told")).to_have_count(0, timeout=LATER_MS)
        return True
