"""The round is painted from few modules, and the page asks for all of them at once."""

import gzip
from urllib.parse import urlsplit

from playwright.sync_api import Page, Route, expect
from tests.browser import FRONTEND

from e2e.demo import OpenApp, Served

pytest_plugins = ["e2e.demo"]

MODULES_MAX, PACKED_MAX_BYTES = 16, 60 * 1024
# What sets the house in motion once the round stands there.
AFTERWARDS = ("/store/start.js", "/store/updates.js", "/ui/keeper.js")


def test_the_round_is_painted_from_sixteen_modules_and_sixty_kilobytes(
    demo: Served, open_app: OpenApp
) -> None:
    """All that comes before the first paint is in the page's own list, and that list is short."""
    held: list[Route] = []
    loaded: set[str] = set()

    def watch(page: Page) -> None:
        page.on("request", lambda request: loaded.add(urlsplit(request.url).path))
        for path in AFTERWARDS:
            page.route(f"**{path}", lambda route: held.append(route))

    page = open_app(demo, before=watch)
    expect(page.locator("main")).to_contain_text("no record yet")
    modules = sorted(path for path in loaded - set(AFTERWARDS) if path.endswith(".js"))
    asked = page.evaluate(
        """() => [...document.querySelectorAll("link[rel=modulepreload]")]
            .map((link) => new URL(link.href).pathname)"""
    )
    assert modules == sorted(asked)
    assert len(modules) <= MODULES_MAX, modules
    packed = sum(
        len(gzip.compress((FRONTEND / path.lstrip("/")).read_bytes(), 9)) for path in modules
    )
    assert packed <= PACKED_MAX_BYTES, packed
    for route in held:
        route.continue_()


def test_the_app_starts_again_with_no_server_and_no_signal(
    own_demo: Served, open_app: OpenApp
) -> None:
    """From the second visit on every screen opens offline, for the worker keeps them all."""
    page = open_app(own_demo)
    expect(page.locator(".stop")).to_have_count(12)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.context.set_offline(True)
    page.reload()
    expect(page.locator(".stop")).to_have_count(12)
    for route, name in (("#/alerts", "alerts"), ("#/add", "add"), ("#/watches", "watches")):
        page.evaluate("(route) => { location.hash = route; }", route)
        expect(page.locator(f".page-{name}")).to_be_visible()
    page.context.set_offline(False)
