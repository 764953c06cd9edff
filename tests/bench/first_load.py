"""First load and offline reload with 500 lots on a slow phone and a slow line.

The processor is slowed four times and the line is the "Slow 4G" of Lighthouse's throttling guide:
150 ms of latency, 1.6 Mbit/s down, 750 kbit/s up, given to each request by the browser's own
network emulation. The service worker and the server are not slowed. The baseline of the same
run is a bare page that shows the same number of list items from as many bytes in one file.
"""

import gzip
import tempfile
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from e2e.house import House, lot_events, place
from e2e.test_first_paint import MODULES_MAX, PACKED_MAX_BYTES
from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.figures import Figure, middle, spread
from tests.browser import FRONTEND, PHONE, browser_arguments, find_chromium

LOTS, PLACES, TRIES, SLOWER = 500, 10, 5, 4
LINE = {
    "offline": False, "latency": 150,
    "downloadThroughput": 1_600_000 / 8, "uploadThroughput": 750_000 / 8,
}  # fmt: skip
BARE = """<!doctype html><meta name="viewport" content="width=device-width"><title>bare</title>
<ul id="list"></ul><script>const bytes = "%s";
for (let n = 0; n < %d; n += 1) {
  const item = document.createElement("li");
  item.textContent = n;
  document.getElementById("list").append(item);
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


def shell_files() -> list[Path]:
    """Return the files that the page asks for before the first paint."""
    page = (FRONTEND / "index.html").read_text("utf-8")
    names = [part.split('"')[0] for part in page.split('href="')[1:]]
    files = [FRONTEND / name.lstrip("/") for name in names]
    return [file for file in files if file.is_file()]


def shell_bytes() -> int:
    """Return the packed bytes of those files."""
    return sum(len(gzip.compress(file.read_bytes(), 9)) for file in shell_files())


# The page itself notes when what is waited for is first there, by its own clock since navigation.
NOTES = """(() => {
  window.noted = {};
  const marks = { round: () => document.querySelector(".page-round main"),
    usable: () => document.querySelectorAll(".stop").length === %d,
    items: () => document.querySelectorAll("li").length === %d };
  const look = () => {
    for (const [name, holds] of Object.entries(marks)) {
      if (!(name in window.noted) && holds()) window.noted[name] = performance.now();
    }
  };
  new MutationObserver(look).observe(document, { childList: true, subtree: true });
})()"""


def noted(page: Page, name: str) -> float:
    """Return the seconds from the start of navigation until something was there."""
    page.wait_for_function(f"() => window.noted?.{name} !== undefined", timeout=120_000)
    return page.evaluate(f"() => window.noted.{name}") / 1000


def one_try(browser: Browser, house: House, link: str, bare: str, lots: int) -> dict[str, float]:
    """Return the seconds of a first load, an offline reload, and the bare page."""
    context = browser.new_context(**PHONE)
    context.add_init_script(NOTES % (PLACES, lots))
    plain, page = context.new_page(), context.new_page()
    slow(plain)
    plain.goto(bare)
    found = {"bare": noted(plain, "items")}
    plain.close()
    # A first load is that of a phone that is paired but holds nothing yet.
    paired = context.request.post(
        f"{house.address}/api/v1/pairings/redeem",
        data={"secret": link.rsplit("/", 1)[1], "device": "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"},
        headers={"Origin": house.address},
    )
    assert paired.ok, paired.text()
    slow(page)
    page.goto(house.address)
    found |= {"first": noted(page, "round"), "whole": noted(page, "usable")}
    page.wait_for_function("() => navigator.serviceWorker.controller !== null", timeout=120_000)
    context.set_offline(True)
    page.reload(wait_until="commit")
    found["reload"] = noted(page, "usable")
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

    modules = [file for file in shell_files() if file.suffix == ".js"]
    packed = sum(len(gzip.compress(file.read_bytes(), 9)) for file in modules)

    def seconds(what: str, name: str, aim: float | None = None) -> Figure:
        return Figure(what, middle(of[name]), "s", aim, note=spread(of[name]))

    return [
        seconds("first load to the painted round", "first", 2.5),
        seconds(f"first load until all of {lots} lots are there", "whole"),
        seconds(f"offline reload to usable, {lots} lots", "reload", 0.8),
        seconds("the bare page of as many bytes and items", "bare"),
        Figure("first load against the bare page", middle(ratio), "times", note=spread(ratio)),
        Figure("offline reload against the bare page", middle(again), "times", note=spread(again)),
        Figure("modules before the first paint", len(modules), "", MODULES_MAX),
        Figure("modules packed", packed / 1024, "KB", PACKED_MAX_BYTES / 1024),
        Figure("all that is packed before the first paint", shell_bytes() / 1024, "KB"),
    ]
