"""What a phone offers is what its role may do: its table is the server's own, and a walk over every
screen touches everything that can be touched."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Response, expect
from tests.browser import PHONE
from tests.server import Clock

from e2e.demo import LATER_MS, Served, serve
from e2e.house import unsent, until_in_touch
from e2e.test_screens import SCREENS
from lathhouse.domain.instants import to_text
from lathhouse.errors import OwnersOnly
from lathhouse.store import access
from lathhouse.sync.owners import check_role
from lathhouse.sync.shapes import KINDS
from lathhouse.web.gate import roles_of
from lathhouse.web.requests import PUBLIC

pytest_plugins = ["e2e.demo"]
PEOPLE = ("owner", "worker", "viewer")
ONESELF, OTHER = "5d1f6f0e-5b0e-4c55-9c1e-0f7a52b0d7c4", "8c0f1a3e-0b57-4c8e-9a55-6f2a1c9f3e11"
# Screens on which a worker sees what the owner sets.
OWNERS_SCREENS = ("people", "nursery", "hours", "watch-band", "crop", "tokens", "reminders")
# Touches that would end the walk itself: they sign out, or print, which stops the browser.
LEFT_ALONE = "sign.*out|print"
# What these refuse is a passphrase or a link that does not hold, whoever tries.
PROOFS = ("/session/sign-in", "/passphrases/redeem", "/session/passphrase")
TOUCH_ALL = (Path(__file__).parent / "touch_all.js").read_text("utf-8")


@pytest.fixture(scope="module")
def roles_demo(loaded: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo's record on a server of its own, for phones of several roles."""
    folder = tmp_path_factory.mktemp("roles") / "data"
    yield from serve(shutil.copytree(loaded, folder), Clock())


def paired(browser: Browser, served: Served, role: str) -> Page:
    """Return the page of a phone that was let in as something."""
    site, now = served.app.config["SITE_ID"], to_text(served.clock())
    with served.app.app_context():
        secret = access.make_link(site, role, None, now, 10)
    page = browser.new_context(**PHONE).new_page()
    page.goto(f"{served.address}/#/pair/{secret}")
    expect(page.get_by_text("This phone is paired.")).to_be_visible(timeout=LATER_MS)
    until_in_touch(page)
    return page


def walked(page: Page, names: list[str], left_alone: str = LEFT_ALONE) -> dict[str, Any]:
    """Touch everything on screens; return what was touched, refused or led nowhere."""
    refused: list[str] = []

    def hear(answer: Response) -> None:
        if answer.status == 403 and not answer.url.endswith(PROOFS):
            refused.append(f"{answer.request.method} {answer.url}")

    page.on("response", hear)
    found: dict[str, Any] = {"touched": {}, "closed": {}, "refused": {}}
    for name in names:
        said = page.evaluate(TOUCH_ALL, [SCREENS[name][0], left_alone])
        found["touched"][name] = said["touched"]
        if said["closed"]:
            found["closed"][name] = said["closed"]
        if refused:
            found["refused"][name] = list(refused)
            refused.clear()
    return found


def waiting(page: Page) -> list[str]:
    """Return the kinds of what is unsent or was refused."""
    kinds: list[str] = page.evaluate(
        """() => import("/store/house.js").then((house) => [
          ...house.pending.value.map((event) => event.kind),
          ...house.tray.value.map((entry) => `${entry.event.kind}: ${entry.problem.detail}`)])"""
    )
    return kinds


def test_the_phone_s_table_is_the_server_s_own(browser: Browser, roles_demo: Served):
    """Generated from the routes and the kinds: a new one that is not everybody's needs its line."""
    served = roles_demo
    theirs = {}
    for rule in served.app.url_map.iter_rules():
        view = served.app.view_functions[rule.endpoint]
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            with served.app.test_request_context(method=method):
                roles = roles_of(view)
            let_in = [role for role in PEOPLE if role in roles or PUBLIC in roles]
            if rule.rule.startswith("/api/") and len(let_in) < len(PEOPLE):
                theirs[f"{method} {rule.rule}"] = let_in
    page = browser.new_page()
    page.goto(f"{served.address}/icon.svg")
    ours = page.evaluate(
        """async ([people, kinds]) => {
          const { DOORS, does } = await import("/store/may.js");
          const made = people.map((role) => [role, kinds.filter((kind) => does(role, kind))]);
          return { doors: DOORS, kinds: Object.fromEntries(made) };
        }""",
        [list(PEOPLE), list(KINDS)],
    )
    assert {door: sorted(roles) for door, roles in ours["doors"].items()} == {
        door: sorted(roles) for door, roles in theirs.items()
    }
    pushes = theirs["POST /api/v1/sync/push"]
    for role in PEOPLE:
        may = [
            kind for kind in KINDS if role in pushes and records(role, kind, None, {"id": OTHER})
        ]
        assert ours["kinds"][role] == may, role
    cases = [
        [role, ONESELF if own else None, {"id": who, "role": said}]
        for role in PEOPLE
        for own in (True, False)
        for who in (ONESELF, OTHER)
        for said in PEOPLE
    ]
    told = page.evaluate(
        """(cases) => import("/store/may.js")
          .then(({ mayChangeAs }) => cases.map((each) => mayChangeAs(...each)))""",
        cases,
    )
    assert told == [
        case[0] in pushes and records(case[0], "person_changed", case[1], case[2]) for case in cases
    ]
    page.close()


def records(role: str, kind: str, person: str | None, data: dict[str, Any]) -> bool:
    """Say whether the server takes a kind from a role."""
    try:
        check_role({"kind": kind, "data": data}, role, person)
    except OwnersOnly:
        return False
    return True


def test_a_viewer_touches_everything_and_nothing_is_refused(browser: Browser, roles_demo: Served):
    page = paired(browser, roles_demo, "viewer")
    assert page.evaluate("() => import('/store/house.js').then((house) => house.looksOn())")
    expect(page.locator(".page-round .main-act")).to_have_count(0)
    found = walked(page, list(SCREENS))
    assert found["refused"] == {}
    assert found["closed"] == {}, "links to screens that have nothing for a viewer"
    assert waiting(page) == [], "recorded on a phone that records nothing"
    assert sum(map(len, found["touched"].values())) > 60
    for name in ("add", "act-count", "start-soak", "typed", "take", "tokens"):
        page.evaluate("(route) => { location.hash = route; }", SCREENS[name][0])
        expect(page.locator(".page-not-yours")).to_be_visible()
    # More has no question who records, and leads nowhere that has nothing for a viewer.
    page.evaluate("() => { location.hash = '#/settings'; }")
    expect(page.locator(".page-settings .whose")).to_have_count(1)
    expect(page.get_by_role("group", name="Who is recording")).to_have_count(0)
    expect(page.get_by_role("link", name="People and phones")).to_contain_text("what each may do")
    ways = page.evaluate(
        """() => import("/store/may.js").then(({ mayOpen }) =>
          [...document.querySelectorAll(".page-settings .cards a")].map((link) =>
            [link.hash, mayOpen(link.hash.slice(2))]))"""
    )
    assert len(ways) > 5
    assert [hash for hash, may in ways if not may] == []
    page.evaluate("() => { location.hash = '#/people'; }")
    expect(page.locator(".page-people .people > li").first).to_be_visible()
    expect(page.locator(".page-people main button, .page-people main .act")).to_have_count(0)
    page.context.close()


def test_a_worker_sees_what_the_owner_sets_and_is_offered_none_of_it(
    browser: Browser, roles_demo: Served
):
    page = paired(browser, roles_demo, "worker")
    # It stays one worker's: what somebody sets is their own only while the phone says it is theirs.
    others = page.evaluate(
        """() => Promise.all([import("/store/house.js"), import("/store/reaching.js")]).then(
          async ([house, { setCarrier }]) => {
            await setCarrier(house.people().find(({ role }) => role === "worker").id);
            return house.people().map(({ name }) => name);
          })"""
    )
    left_alone = "|".join([LEFT_ALONE, "it is shared", *others])
    found = walked(page, list(OWNERS_SCREENS), left_alone)
    assert found["refused"] == {}
    assert found["closed"] == {}
    until_in_touch(page)
    assert waiting(page) == []
    page.evaluate("() => { location.hash = '#/nursery'; }")
    expect(page.get_by_text("Only the owner does this")).to_be_visible()
    expect(page.get_by_label("Name").first).to_be_disabled()
    page.context.close()


def test_the_last_owner_stays_one(browser: Browser, roles_demo: Served):
    """One tap beside the mark would leave a nursery in which nobody may let anybody in."""
    page = paired(browser, roles_demo, "owner")
    page.evaluate("() => { location.hash = '#/people'; }")
    person = page.locator("details", has_text="Orla")
    person.locator("summary").tap()
    person.get_by_role("button", name="viewer").tap()
    expect(person.get_by_role("alert")).to_contain_text("Orla is the only owner")
    expect(person.get_by_role("alert")).to_be_in_viewport(ratio=1)
    assert unsent(page) == 0
    # Anybody else's role is beside the mark as easily: what one tap did, one tap takes back.
    other = page.locator("details", has_text="Jonas")
    other.locator("summary").tap()
    other.get_by_role("button", name="viewer").tap()
    expect(other.locator("summary")).to_contain_text("viewer")
    page.get_by_role("button", name="Undo").tap()
    expect(other.locator("summary")).to_contain_text("worker")
    page.context.close()
