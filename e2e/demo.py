"""The demo nursery on the morning of its story, and a phone that has just opened it."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from tests.browser import PHONE
from tests.server import NOW, Clock
from werkzeug.serving import WSGIRequestHandler, make_server

from lathhouse.app import create_app
from lathhouse.demo.load import load
from lathhouse.reminders.clock import catch_up
from lathhouse.settings import Settings
from lathhouse.store.models import db

LATER_MS = 30_000


class Quiet(WSGIRequestHandler):
    """A handler that keeps connections open and says nothing."""

    protocol_version = "HTTP/1.1"

    def log(self, type: str, message: str, *args: Any) -> None:
        """Say nothing."""


@dataclass
class Served:
    """A running server."""

    address: str
    app: Any
    clock: Clock


def serve(folder: Path, clock: Clock, *, demo: bool = False) -> Iterator[Served]:
    """Run the real application over HTTP on loopback, with a clock of its own."""
    app = create_app(Settings(data=folder, demo=demo, now_ms=clock))
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Quiet)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield Served(f"http://127.0.0.1:{server.server_port}", app, clock)
    server.shutdown()
    thread.join()
    server.server_close()
    let_go(app)


def let_go(app: Any) -> None:
    """Close the database's connections."""
    with app.app_context():
        db.engine.dispose()


@pytest.fixture(scope="session")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo's record, to be copied and not written to."""
    folder, clock = tmp_path_factory.mktemp("loaded"), Clock()
    app = create_app(Settings(data=folder, demo=True, now_ms=clock))
    with app.app_context():
        load(app.config["SITE_ID"], clock())
        catch_up(app.config["SITE_ID"], clock())
    let_go(app)
    return folder


@pytest.fixture(scope="session")
def demo(loaded: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo nursery at the morning of its story, shared by tests that only look at it."""
    folder = tmp_path_factory.mktemp("shared") / "data"
    yield from serve(shutil.copytree(loaded, folder), Clock(), demo=True)


@pytest.fixture
def own_demo(loaded: Path, tmp_path: Path) -> Iterator[Served]:
    """A demo nursery of the test's own, to write to."""
    yield from serve(shutil.copytree(loaded, tmp_path / "data"), Clock(), demo=True)


@pytest.fixture
def empty_nursery(tmp_path: Path) -> Iterator[Served]:
    """A server on its first day, with nothing on record."""
    yield from serve(tmp_path / "data", Clock())


OpenApp = Callable[..., Page]


class Visits:
    """Contexts that a test has opened, and what went wrong on their pages."""

    def __init__(self, browser: Browser) -> None:
        self.browser = browser
        self.contexts: list[BrowserContext] = []
        self.faults: list[str] = []

    def open(
        self,
        server: Served,
        route: str = "#/",
        *,
        before: Callable[[Page], None] = lambda _: None,
        **more: Any,
    ) -> Page:
        """Open the app on a phone of its own, at the morning of the story.

        `before` may prepare the page; `more` shapes the phone.
        """
        context = self.browser.new_context(**{**PHONE, **more})
        self.contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: self.faults.append(f"{error.message}\n{error.stack}"))
        page.on("console", lambda said: self.faults.append(said.text) if is_fault(said) else None)
        page.clock.install(time=datetime.fromisoformat(NOW))
        before(page)
        page.goto(f"{server.address}/{route}")
        return page

    def end(self) -> None:
        """Close them; a fault on any page fails the test."""
        for context in self.contexts:
            context.close()
        assert not self.faults, "\n".join(self.faults)


@pytest.fixture
def open_app(browser: Browser) -> Iterator[OpenApp]:
    """Open the app: `open_app(server, "#/", color_scheme="dark")`."""
    visits = Visits(browser)
    yield visits.open
    visits.end()


@pytest.fixture(scope="session")
def demo_page(browser: Browser, demo: Served) -> Iterator[Page]:
    """One phone on the shared demo, for tests that only look; none may record anything."""
    visits = Visits(browser)
    page = visits.open(demo)
    until_filled(page)
    yield page
    visits.end()


def is_fault(said: Any) -> bool:
    """Say whether the console tells of a fault: not of a server that was refused or away."""
    return said.type == "error" and "Failed to load resource" not in said.text


def until_filled(page: Page) -> None:
    """Wait until the demo's rows have come and the round shows them."""
    expect(page.locator(".stop")).to_have_count(12, timeout=LATER_MS)
    page.wait_for_function(
        "() => /server/.test(document.querySelector('[role=status]')?.textContent ?? '')",
        timeout=LATER_MS,
    )
