"""The round is painted from few modules, and the page asks for all of them at once."""

import gzip
import re
from urllib.parse import urlsplit

from playwright.sync_api import Page, Route, expect
from tests.browser import FRONTEND

from e2e.demo import OpenApp, Served

pytest_plugins = ["e2e.demo"]

# Ours; nearly half of it are the words of every screen, which grow with the screens.
MODULES_MAX, PACKED_MAX_BYTES = 17, 66 * 1024
# What sets the house in motion once the round stands there.
AFTERWARDS = ("/store/start.js", "/store/updates.js", "/ui/keeper.js")


def imported(path: str) -> set[str]:
    """Return a module and all that it imports, at any depth."""
    found: set[str] = set()
    waiting = [path]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            file = FRONTEND / one.lstrip("/")
            names = re.findall(r'(?:from|import) "(\.[^"]+)"', file.read_text("utf-8"))
            waiting += [
                f"/{(file.parent / name).resolve().relative_to(FRONTEND).as_posix()}"
                for name in names
            ]
    return found


def test_what_comes_next_is_asked_for_in_one_go() -> None:
    """The list in `app.js` is all that setting the house in motion needs, and nothing else."""
    text = (FRONTEND / "app.js").read_text("utf-8")
    listed = "".join(re.findall(r'"([^"]*)"', text.split("const NEXT = ")[1].split(";")[0])[:-1])
    needed = {name for path in AFTERWARDS for name in imported(path)} - imported("/app.js")
    assert {f"/{name}.js" for name in listed.split()} == needed


def test_the_round_is_painted_from_few_modules_and_few_kilobytes(
    demo: Served, open_app: OpenApp
) -> None:
    """All that comes before the first paint is in the page's own list, and that list is short."""
    held: list[Route] = []
    before: set[str] = set()

    def note(path: str) -> None:
        # The round is painted before the first of these is asked for.
        if path in AFTERWARDS:
            painted.append(path)
        if not painted:
            before.add(path)

    painted: list[str] = []

    def watch(page: Page) -> None:
        page.on("request", lambda request: note(urlsplit(request.url).path))
        for path in AFTERWARDS:
            page.route(f"**{path}", lambda route: held.append(route))

    page = open_app(demo, before=watch)
    expect(page.locator("main")).to_contain_text("no record yet")
    modules = sorted(path for path in before if path.endswith(".js"))
    index = (FRONTEND / "index.html").read_text("utf-8")
    asked = re.findall(r'<link rel="modulepreload" href="([^"]+)"', index)
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
