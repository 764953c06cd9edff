"""A phone with the shipped store, and a server whose network can be made to fail."""

import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.phone.network import Network


class Phone:
    """One page of the app, as its person sees it."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def run(self, script: str, argument: Any = None) -> Any:
        """Run a function of the page and return what it gives."""
        return self.page.evaluate(script, argument)

    def until_settled(self) -> None:
        """Wait until no version of the app is being fetched, and none waits.

        (A promise always seems true to `until`: this asks the browser again and again.)
        """
        self.run(
            """async () => {
              const end = performance.now() + 90_000;
              for (;;) {
                const { installing, waiting } = await navigator.serviceWorker.getRegistration();
                if (!installing && !waiting) return;
                if (performance.now() > end) throw new Error("a version is still on its way");
                await new Promise((go) => setTimeout(go, 50));
              }
            }"""
        )

    def until(self, condition: str, argument: Any = None) -> None:
        """Wait until an expression, which is no promise, holds on the page."""
        self.page.wait_for_function(f"(given) => {condition}", arg=argument, timeout=90_000)

    def record(
        self, kind: str, lot: str | None, data: dict[str, Any] | None = None, **more: Any
    ) -> dict[str, Any]:
        """Record an event, and return it once it is saved."""
        return self.run(
            "([kind, lot, data, more]) => phone.record.record(kind, lot, data, more)",
            [kind, lot, data or {}, more],
        )

    def start_lot(self, **data: Any) -> str:
        lot = str(uuid.uuid4())
        started = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}
        self.record("lot_started", lot, {**started, **data})
        return lot

    def lot(self, lot: str) -> dict[str, Any] | None:
        return self.run("(id) => phone.house.lots.value.get(id) ?? null", lot)

    def watches(self, lot: str) -> dict[str, str]:
        """Return {watch: level} of what the phone itself finds on a lot."""
        return self.run("(id) => phone.watches(`lot:${id}`)", lot)

    def until_sent(self) -> None:
        """Wait until nothing is unsent."""
        self.until("phone.house.pending.value.length === 0")

    def until_in_touch(self) -> None:
        """Wait until a whole pass is through and everything the server has is here."""
        self.until(
            "phone.house.contact.value.state === 'in-touch' && phone.sync.state.doing === 'rest'"
            " && phone.house.pending.value.length + phone.house.confirming.value.length === 0"
        )

    def nudge(self) -> None:
        self.run("() => phone.sync.nudge('online')")

    def stored(self, store: str) -> list[Any]:
        """Return what one store of the phone's database holds."""
        return self.run("(name) => phone.database.reading((db) => db.getAll(name))", store)

    def meta(self, name: str) -> Any:
        return self.run("(name) => phone.database.meta(name)", name)


@pytest.fixture
def network(tmp_path: Path) -> Iterator[Network]:
    """The server, and the network before it."""
    running = Network(tmp_path)
    yield running
    running.heal()
    running.stop()
    running.close_app()


OpenPhone = Callable[..., Phone]


@pytest.fixture
def open_phone(phone: BrowserContext, network: Network) -> OpenPhone:
    """Open the app in a page: `open_phone(request_ms=1000, worker=1)`."""

    def opened(context: BrowserContext | None = None, **query: Any) -> Phone:
        return open_app((context or phone).new_page(), network.address, **query)

    return opened


def open_app(page: Page, address: str, **query: Any) -> Phone:
    """Open the app on a page, and wait until it is ready."""
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    page.goto(f"{address}/index.html?{asked}")
    page.wait_for_function("() => document.title === 'ready'")
    return Phone(page)


@pytest.fixture
def app(open_phone: OpenPhone) -> Phone:
    """The app open on one phone, in touch with the server."""
    opened = open_phone()
    opened.until_in_touch()
    return opened
