"""A new version of the app arrives while a form is open: the form is finished, then it switches."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser import FRONTEND
from tests.ports import own_port
from tests.server import Clock
from werkzeug.serving import make_server

from e2e.demo import OpenApp, Quiet, Served, let_go, until_filled
from lathhouse.app import create_app
from lathhouse.demo.scenario import lot_id
from lathhouse.settings import Settings
from lathhouse.store.models import Event, db

pytest_plugins = ["e2e.demo"]
LATER_MS = 60_000
LOOK = "() => document.dispatchEvent(new Event('visibilitychange'))"


class Versions:
    """A server of the demo whose front end can be replaced under the same address."""

    def __init__(self, data: Path, front: Path) -> None:
        self.data, self.front, self.clock, self.port = data, front, Clock(), own_port()
        self.app: Any = None
        self.start()

    def start(self) -> None:
        settings = Settings(data=self.data, demo=True, frontend=self.front, now_ms=self.clock)
        self.app = create_app(settings)
        self.server = make_server(
            "127.0.0.1", self.port, self.app, threaded=True, request_handler=Quiet
        )
        Thread(target=self.server.serve_forever, daemon=True).start()

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        let_go(self.app)

    def release(self) -> None:
        """Serve a new version, in which the title of the round is another."""
        words = self.front / "locales" / "en.js"
        text = words.read_text(encoding="utf-8")
        assert '"nav.round": "Round"' in text
        words.write_text(text.replace('"nav.round": "Round"', '"nav.round": "Walk about"'), "utf-8")
        self.stop()
        self.start()


@pytest.fixture
def versions(loaded: Path, tmp_path: Path) -> Iterator[Versions]:
    front = shutil.copytree(FRONTEND, tmp_path / "front")
    made = Versions(shutil.copytree(loaded, tmp_path / "data"), front)
    yield made
    made.stop()


def until_kept(page: Page) -> None:
    """Wait until the worker holds this version and answers for it."""
    page.wait_for_function("() => navigator.serviceWorker.controller !== null", timeout=LATER_MS)


def test_the_old_page_finishes_its_form_and_saves_and_then_updates(
    versions: Versions, open_app: OpenApp
):
    served = Served(f"http://127.0.0.1:{versions.port}", versions.app, versions.clock)
    page = open_app(served)
    until_filled(page)
    until_kept(page)
    lot = lot_id("CC-25-1")
    page.evaluate("(route) => { location.hash = route; }", f"#/act/lost/{lot}")
    page.get_by_role("group", name="How many").locator(".figure").tap()
    for digit in "12":
        page.get_by_role("button", name=digit, exact=True).first.tap()

    versions.release()
    page.evaluate(LOOK)
    news = page.locator(".news")
    expect(news).to_be_visible(timeout=LATER_MS)
    news.get_by_role("button").tap()
    # The person has agreed, but the form is open: the old page stays, with what was typed.
    expect(page.locator(".page-act output").first).to_have_text("12")
    page.get_by_role("button", name="frost").tap()
    page.locator(".foot").get_by_role("button", name="Save").tap()

    page.wait_for_function(
        "() => [...document.querySelectorAll('.ways a')]"
        ".some((way) => way.innerText === 'Walk about')",
        timeout=LATER_MS,
    )
    page.evaluate("(route) => { location.hash = route; }", f"#/lot/{lot}")
    expect(page.locator(".page-lot")).to_contain_text("Loss", timeout=LATER_MS)
    page.wait_for_function(
        "() => /server/.test(document.querySelector('[role=status]')?.textContent ?? '')",
        timeout=LATER_MS,
    )
    with versions.app.app_context():
        bodies = [row.body for row in db.session.query(Event).filter_by(lot_id=lot, kind="lost")]
    assert sum("frost" in str(body) for body in bodies) == 1
