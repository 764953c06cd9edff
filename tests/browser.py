"""A real Chromium for tests: found, or fetched where that is possible, or a plain failure."""

import contextlib
import os
import shutil
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import ClassVar

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, sync_playwright
from playwright.sync_api import Error as PlaywrightError

from tests.debian import install

FRONTEND = Path(__file__).parent.parent / "frontend"
PACKAGES = ("chromium", "fonts-dejavu-core", "libnss3-tools")
PHONE = {
    "viewport": {"width": 360, "height": 740},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
CSP = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; worker-src 'self'; object-src 'none'; base-uri 'none'"
)


def browser_arguments() -> list[str]:
    """Return the arguments with which Chromium runs here and asks nothing of the network."""
    quiet = ["--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    return [*quiet, "--disable-sync", "--no-first-run", *root]


def find_chromium(playwright: Playwright) -> str:
    """Return a Chromium's path: the system's, Playwright's own, or Debian's installed now.

    Fails, naming the package, where none can be had.
    """
    for name in ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable"):
        found = shutil.which(name)
        if found:
            return found
    if Path(playwright.chromium.executable_path).exists():
        return playwright.chromium.executable_path
    install(PACKAGES, lambda: shutil.which("chromium") is not None)
    found = shutil.which("chromium")
    if found:
        return found
    pytest.fail(
        "No Chromium: install Debian's package `chromium`, or Google Chrome.", pytrace=False
    )


def find_certutil() -> str:
    """Return the path of `certutil`, which writes the store of trust that Chromium reads.

    Fails, naming the package, where it cannot be had.
    """
    install(("libnss3-tools",), lambda: shutil.which("certutil") is not None)
    found = shutil.which("certutil")
    if found is None:
        pytest.fail("No certutil: install Debian's package `libnss3-tools`.", pytrace=False)
    return found


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """Playwright itself."""
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def chromium_path(playwright: Playwright) -> str:
    """Where Chromium is."""
    return find_chromium(playwright)


@pytest.fixture(scope="session")
def browser(playwright: Playwright, chromium_path: str) -> Iterator[Browser]:
    """One Chromium for the whole run."""
    running = playwright.chromium.launch(executable_path=chromium_path, args=browser_arguments())
    yield running
    running.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """A phone-sized, touched, empty browser context."""
    context = browser.new_context(**PHONE)
    yield context
    context.close()


class PersistentPhone:
    """A phone whose storage outlives its browser: one profile folder on the disk."""

    def __init__(self, playwright: Playwright, chromium_path: str, profile: Path) -> None:
        self.playwright, self.chromium_path, self.profile = playwright, chromium_path, profile
        self.context: BrowserContext | None = None

    def open(self) -> BrowserContext:
        """Start the browser on this phone's profile."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.profile),
            executable_path=self.chromium_path,
            args=browser_arguments(),
            **PHONE,
        )
        return self.context

    def kill(self) -> None:
        """End the browser as a dead battery would: SIGKILL, with nothing said to it before."""
        (pid,) = main_processes(self.profile)
        os.kill(pid, signal.SIGKILL)
        self.close()
        # A killed browser leaves its lock on the profile behind.
        for name in ("SingletonLock", "SingletonCookie", "SingletonSocket"):
            (self.profile / name).unlink(missing_ok=True)

    def close(self) -> None:
        """Close the browser, or let go of one that is dead already."""
        if self.context is not None:
            with contextlib.suppress(PlaywrightError):
                self.context.close()
            self.context = None


def main_processes(profile: Path) -> list[int]:
    """Return the ids of the browsers that run on a profile folder, without their children."""
    wanted = f"--user-data-dir={profile}".encode()
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            words = (entry / "cmdline").read_bytes().split(b"\0")
        except OSError:  # it ended while we looked
            continue
        if wanted in words and not any(word.startswith(b"--type=") for word in words):
            found.append(int(entry.name))
    return found


@pytest.fixture
def persistent_phone(
    playwright: Playwright, chromium_path: str, tmp_path: Path
) -> Iterator[Callable[[str], PersistentPhone]]:
    """Make phones that keep what they stored: `persistent_phone("shed")`."""
    made: list[PersistentPhone] = []

    def make(name: str) -> PersistentPhone:
        made.append(PersistentPhone(playwright, chromium_path, tmp_path / f"profile-{name}"))
        return made[-1]

    yield make
    for one in made:
        one.close()


class CoreHandler(SimpleHTTPRequestHandler):
    """Serves the front end's files under the shipped policy; `changed` replaces some of them."""

    changed: ClassVar[dict[str, str]] = {}
    extensions_map: ClassVar[dict[str, str]] = {
        **SimpleHTTPRequestHandler.extensions_map,
        ".js": "text/javascript",
    }

    def end_headers(self) -> None:
        """Add the policy under which the app runs."""
        self.send_header("Content-Security-Policy", CSP)
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def do_GET(self) -> None:
        """Answer with a file, a changed copy of it, or an empty page."""
        path = self.path.split("?")[0]
        if path == "/empty.html":
            self._answer(b"<!doctype html><title>empty</title>", "text/html")
        elif path in self.changed:
            self._answer(self.changed[path].encode(), "text/javascript")
        else:
            super().do_GET()

    def _answer(self, body: bytes, kind: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


def serve_core(changed: dict[str, str] | None = None) -> ThreadingHTTPServer:
    """Return a running server of the front end's files, some of them replaced by other text."""
    handler = type("Handler", (CoreHandler,), {"changed": changed or {}})
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(handler, directory=str(FRONTEND)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


@contextmanager
def core_page_of(browser: Browser, changed: dict[str, str] | None = None) -> Iterator[Page]:
    """Open a page that can import the phone's core, some of its files replaced by other text."""
    server = serve_core(changed)
    page = browser.new_page()
    try:
        page.goto(f"http://127.0.0.1:{server.server_port}/empty.html")
        yield page
    finally:
        page.close()
        server.shutdown()


@pytest.fixture(scope="session")
def core_page(browser: Browser) -> Iterator[Page]:
    """A page that can import the phone's core."""
    with core_page_of(browser) as page:
        yield page
