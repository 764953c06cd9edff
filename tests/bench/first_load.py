"""First load and offline reload with 500 lots on a slow phone and a slow line.

The processor is slowed four times and the line is Chrome DevTools' "Slow 4G": 1.6 Mbit/s down,
0.75 Mbit/s up, 150 ms of latency, as its documentation names the preset. The baseline of the same
run is a bare page that shows the same number of list items from as many bytes in one file.
"""

import gzip
import tempfile
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from e2e.house import House, lot_events, place
from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.figures import Figure, middle, spread
from tests.browser import FRONTEND, PHONE, browser_arguments, find_chromium

LOTS, PLACES, TRIES, SLOWER = 500, 10, 5, 4
LINE = {
    "offline": False, "latency": 150,
    "downloadThroughput": 1_600_000 / 8, "uploadThroughput": 750_000 / 8,
}  # fmt: skip
USABLE = "() => document.querySelectorAll('.stop').length === %d"
BARE = """<!doctype html><meta name="viewport" content="width=device-width"><title>bare</title>
<ul id="list"></ul><script>const bytes = "%s";
for (let n = 0; n < %d; n += 1) {
  document.getElementById("list").append(Object.assign(document.createElement("li"), { textContent: n }));
}</script>"""


def slow(page: Page) -> Any:
    """Slow a page's processor and its line."""
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", LINE)
    return session


def fill(house: House, lots: int) -> None:
    """Put lots on record over the places."""
    where = [place(house, f"Place {number}", number) for number in range(PLACES)]
    for start in range(0, lots, 250):
        events = []
        for number in range(start, min(start + 250, lots)):
            look = ("looked", {"moisture": 3, "fungus": "none"}, 1.0)
            cold = ("cold_started", {"where": "fridge"}, 20.0)
            _, made = lot_events(house, f"L{number:03}", where[number % PLACES], 30, cold, look)
            events += made
        house.record(events)


def bare_page(size: int, lots: int) -> tuple[ThreadingHTTPServer, str]:
    """Serve a page of as many packed bytes that shows as many items."""
    # Text that does not pack: what counts is what comes over the line.
    noise = "".join(f"{n * 2654435761 % 2**32:08x}" for n in range(size // 4))
    body = gzip.compress((BARE % (noise[: size * 2], lots)).encode())

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Encoding", "gzip")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server, f"http://127.0.0.1:{server.server_port}/"


def shell_bytes() -> int:
    """Return the packed bytes of what is asked for before the first paint."""
    page = (FRONTEND / "index.html").read_text("utf-8")
    names = [part.split('"')[0] for part in page.split('href="')[1:]]
    files = [
        FRONTEND / name.lstrip("/") for name in names if (FRONTEND / name.lstrip("/")).is_file()
    ]
    return sum(len(gzip.compress(file.read_bytes(), 9)) for file in files)


def timed(page: Page, act: Any, condition: str) -> float:
    """Return the seconds from an act until a condition holds on the page."""
    since = time.perf_counter()
    act()
    page.wait_for_function(condition, timeout=120_000, polling=20)
    return time.perf_counter() - since


def one_try(browser: Browser, house: House, link: str, bare: str, lots: int) -> dict[str, float]:
    """Return the seconds of a first load, an offline reload, and the bare page."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    plain = context.new_page()
    slow(plain)
    found = {
        "bare": timed(
            plain,
            lambda: plain.goto(bare),
            f"() => document.querySelectorAll('li').length === {lots}",
        )
    }
    plain.close()
    slow(page)
    usable = USABLE % PLACES
    # A first load is that of a phone that is paired but holds nothing yet.
    paired = context.request.post(
        f"{house.address}/api/v1/pairings/redeem",
        data={"secret": link.rsplit("/", 1)[1], "device": "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"},
        headers={"Origin": house.address},
    )
    assert paired.ok, paired.text()
    found["first"] = timed(
        page, lambda: page.goto(house.address), "() => document.querySelector('.page-round main')"
    )
    found["whole"] = found["first"] + timed(page, lambda: None, usable)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null", timeout=120_000)
    context.set_offline(True)
    page.close()
    page = context.new_page()
    slow(page)
    context.set_offline(True)
    found["reload"] = timed(page, lambda: page.goto(house.address, wait_until="commit"), usable)
    context.close()
    return found


def measure(lots: int = LOTS, tries: int = TRIES) -> list[Figure]:
    """Return first load and offline reload, in seconds and against the bare page."""
    with tempfile.TemporaryDirectory() as name, sync_playwright() as running:
        house = House(Path(name) / "house")
        house.start()
        fill(house, lots)
        server, bare = bare_page(shell_bytes(), lots)
        browser = running.chromium.launch(
            executable_path=find_chromium(running), args=browser_arguments()
        )
        seen = []
        for _ in range(tries):
            link = house.call("POST", "/api/v1/pairings", {"role": "worker"})["link"]
            seen.append(one_try(browser, house, link, bare, lots))
        browser.close()
        server.shutdown()
        house.stop()
    of = {name: [one[name] for one in seen] for name in seen[0]}
    ratio = [one["first"] / one["bare"] for one in seen]
    again = [one["reload"] / one["bare"] for one in seen]
    return [
        Figure("first load to the painted round", middle(of["first"]), "s", 2.5, note=spread(of["first"])),
        Figure(f"first load until {lots} lots are there", middle(of["whole"]), "s", note=spread(of["whole"])),
        Figure(f"offline reload to usable, {lots} lots", middle(of["reload"]), "s", 0.8, note=spread(of["reload"])),
        Figure("first load against a bare page of as many bytes", middle(ratio), "times", note=spread(ratio)),
        Figure("offline reload against that bare page", middle(again), "times", note=spread(again)),
        Figure("packed before the first paint", shell_bytes() / 1024, "KB", 60),
    ]  # fmt: skip
