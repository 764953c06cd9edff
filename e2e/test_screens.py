"""Every screen can be read in the sun, hit with a wet thumb, and used without seeing colours."""

import uuid
from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.measure import sticks_out, too_close, too_faint, too_low, too_small, type_of
from lathhouse.demo.scenario import lot_id, place_id
from lathhouse.domain.instants import to_text
from lathhouse.domain.labels import lot_code
from lathhouse.store import access
from lathhouse.sync.push import push

pytest_plugins = ["e2e.demo"]

ARTEFACTS = Path(__file__).parent.parent / "artefacts" / "screens"
# A control anywhere, and one of the daily round: STYLE "Screens". The round's own come from what a
# wet or gloved thumb needs, 15-20 mm, and from Parhi, Karlson and Bederson 2006 for a dry one.
CONTROL_PX, ROUND_PX, APART_PX = 60, 96, 19
CONTRAST = 7
FRIDGE, SHELF = f"#/walk/{place_id('Shed fridge')}", f"#/walk/{place_id('Seed shelf')}"
SOUTH = f"#/walk/{place_id('Lath house, south bench')}"


def something_else(page: Page) -> None:
    """Open the questions of a lot that is quiet."""
    page.get_by_role("button", name="Something else").click()


def skip_all(page: Page) -> None:
    """Skip lot after lot until the place is done."""
    told = page.locator(".told")
    while not told.count():
        page.clock.run_for(500)
        page.get_by_role("button", name="Skip").click()


def skip_and_close(page: Page) -> None:
    """Skip every lot and close the place."""
    skip_all(page)
    page.clock.run_for(500)
    page.get_by_role("button", name="Close").click()
    expect(page.locator(".told h2")).to_contain_text("closed", ignore_case=True)


def nothing(_: Page) -> None:
    """Leave the screen as it opens."""


Steps = Callable[[Page], None]
SCREENS: dict[str, tuple[str, Steps]] = {
    "round": ("#/", nothing),
    "walk-alarmed": (FRIDGE, nothing),
    "walk-quiet": (SHELF, nothing),
    "walk-something-else": (SHELF, something_else),
    "walk-emerging": (SOUTH, nothing),
    "walk-place-done": (SHELF, skip_all),
    "walk-closed": (SHELF, skip_and_close),
    "lot": (f"#/lot/{lot_id('AP-26-1')}", nothing),
    "lot-emerging": (f"#/lot/{lot_id('AP-25-1')}", nothing),
    "lot-potted": (f"#/lot/{lot_id('MV-22-1')}", nothing),
    "lots": ("#/lots", nothing),
    "add": ("#/add", nothing),
    "act-count": (f"#/act/counted/{lot_id('AP-25-1')}", nothing),
    "act-cold": (f"#/act/cold_started/{lot_id('CJ-26-1')}", nothing),
    "act-bleach": (f"#/act/sanitise_started/{lot_id('AU-26-1')}", nothing),
    "act-lost": (f"#/act/lost/{lot_id('CC-25-1')}", nothing),
    "alerts": ("#/alerts", nothing),
    "unsent": ("#/unsent", nothing),
    "settings": ("#/settings", nothing),
    "watches": ("#/watches", nothing),
    "crop": ("#/crop/viburnum-opulus", nothing),
    "pair": ("#/pair/spent-already", nothing),
}
ROUND_SCREENS = ["round", *(name for name in SCREENS if name.startswith("walk-"))]


Show = Callable[..., Page]


@pytest.fixture
def show(open_app: OpenApp) -> Show:
    """Open the app on a demo and go to a screen by name: `show(demo, "lot", width=320)`."""

    def opened(served: Served, name: str, **shape: object) -> Page:
        route, steps = SCREENS[name]
        page = open_app(served, **shape)
        until_filled(page)
        if route != "#/":
            page.evaluate("(route) => { location.hash = route; }", route)
            expect(page.locator(".page-round")).to_have_count(0)
        expect(page.locator("main")).not_to_be_empty()
        page.clock.run_for(500)
        steps(page)
        return page

    return opened


def keep(page: Page, name: str) -> None:
    """Keep a picture of the screen among the run's artefacts."""
    ARTEFACTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"{name}.png")
    page.screenshot(path=ARTEFACTS / f"{name}-whole.png", full_page=True)


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_is_read_by_everyone_and_hit_by_a_thumb(
    show: Show, demo: Served, name: str
) -> None:
    """axe finds nothing, contrast is 7:1, controls are 60 px, three sizes and two weights."""
    page = show(demo, name)
    keep(page, name)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert too_faint(page, CONTRAST) == []
    assert too_small(page, CONTROL_PX) == []
    assert sticks_out(page) == []
    sizes, weights = type_of(page)
    assert len(weights) <= 2, weights
    assert min(sizes) >= 15, sizes


@pytest.mark.parametrize("name", ROUND_SCREENS)
def test_the_rounds_own_controls_are_made_for_a_wet_thumb(
    show: Show, demo: Served, name: str
) -> None:
    """What records and what goes on is 96 px high, with 19 px between one and the next."""
    page = show(demo, name)
    assert too_low(page, ROUND_PX, ".round-act") == []
    assert too_close(page, APART_PX, ".round-act") == []


@pytest.mark.parametrize("name", SCREENS)
@pytest.mark.parametrize("width", [320, 430])
def test_a_screen_fits_a_narrow_and_a_wide_phone(
    show: Show, demo: Served, name: str, width: int
) -> None:
    """Nothing sticks out sideways, and every control keeps its size."""
    page = show(demo, name, width=width)
    keep(page, f"{name}-{width}")
    assert sticks_out(page) == []
    assert too_small(page, CONTROL_PX) == []


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_holds_text_of_twice_the_size(show: Show, demo: Served, name: str) -> None:
    """At 200 % text nothing sticks out sideways and nothing is cut."""
    page = show(demo, name)
    page.evaluate("() => document.documentElement.style.setProperty('font-size', '200%')")
    keep(page, f"{name}-200")
    assert sticks_out(page) == []


@pytest.mark.parametrize("name", ["round", "walk-alarmed", "walk-quiet", "lot", "alerts"])
def test_the_dark_theme_is_read_as_well(show: Show, demo: Served, name: str) -> None:
    """In the cold store and at night: contrast is 7:1 there too."""
    page = show(demo, name, color_scheme="dark")
    keep(page, f"{name}-dark")
    assert too_faint(page, CONTRAST) == []


def test_an_alarmed_lot_offers_nothing_until_it_has_been_looked_at(
    show: Show,
    own_demo: Served,
) -> None:
    """Mould and roots first, then moisture; nothing is preset; the save says what it records."""
    page = show(own_demo, "walk-alarmed")
    expect(page.locator("h2", has_text="Acer palmatum")).to_be_visible()
    expect(page.locator("[aria-pressed=true]")).to_have_count(0)
    expect(page.get_by_role("button", name="Save:")).to_have_count(0)
    for question, answer in (("Mould?", "none"), ("Roots showing?", "none")):
        page.get_by_role("group", name=question).get_by_role("button", name=answer).click()
    page.get_by_role("group", name="How wet is it?").get_by_role(
        "button", name="moist", exact=True
    ).click()
    save = page.get_by_role("button", name="Save:")
    expect(save).to_contain_text("moist")
    expect(save).to_contain_text("no mould")
    expect(save).to_contain_text("no roots yet")
    save.click()
    expect(page.locator(".undo-bar")).to_contain_text("26-017-R")


def test_one_tap_records_the_state_that_the_button_says(show: Show, own_demo: Served) -> None:
    """A quiet lot: the button names the state, and one touch saves it and goes on."""
    page = show(own_demo, "walk-quiet")
    lot = page.locator(".label h2").inner_text()
    button = page.locator(".main-act.round-act")
    expect(button).to_contain_text("Moist, no mould, no roots yet")
    button.click()
    expect(page.locator(".undo-bar")).to_contain_text("moist, no mould")
    expect(page.locator(".label h2")).not_to_have_text(lot)


def test_a_touch_just_after_a_change_of_lot_is_ignored(show: Show, own_demo: Served) -> None:
    """Within 0.4 s a second tap of the same thumb records nothing on the next lot."""
    page = show(own_demo, "walk-quiet")
    page.clock.pause_at("2026-09-10T09:00:00+10:00")
    page.locator(".main-act.round-act").click()
    expect(page.locator(".undo-bar")).to_contain_text("Saved")
    second = page.locator(".label .code").inner_text()
    page.locator(".main-act.round-act").click()
    expect(page.locator(".label .code")).to_have_text(second)
    page.clock.run_for(450)
    page.locator(".main-act.round-act").click()
    expect(page.locator(".told, .label .code")).not_to_have_text(second)


def test_undo_takes_back_and_returns_to_the_lot(show: Show, own_demo: Served) -> None:
    """For ten seconds a real button takes the last record back; the history keeps both."""
    page = show(own_demo, "walk-quiet")
    first = page.locator(".label .code").inner_text()
    page.locator(".main-act.round-act").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".label .code")).to_have_text(first)


def test_what_is_unsent_is_counted_in_plain_words(show: Show, own_demo: Served) -> None:
    """Offline the round says how many records are saved here and not sent."""
    page = show(own_demo, "walk-quiet")
    page.context.set_offline(True)
    page.locator(".main-act.round-act").click()
    expect(page.locator(".undo-bar")).to_contain_text("Saved on this phone")
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.get_by_role("status").first).to_contain_text("1 saved here, not sent")
    page.context.set_offline(False)


def test_an_empty_nursery_says_what_to_do_first(open_app: OpenApp, empty_nursery: Served) -> None:
    """Unpaired, it says how to pair; paired and empty, it asks for a place and a lot."""
    page = open_app(empty_nursery)
    expect(page.locator("main")).to_contain_text("not paired")
    keep(page, "unpaired")
    with empty_nursery.app.app_context():
        secret = access.owner_link(
            empty_nursery.app.config["SITE_ID"], to_text(empty_nursery.clock())
        )
    page.evaluate("(secret) => { location.hash = `#/pair/${secret}`; }", secret)
    expect(page.get_by_role("status").first).to_contain_text("paired")
    keep(page, "paired")
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.locator("main")).to_contain_text("place")
    keep(page, "first-start")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert too_small(page, CONTROL_PX) == []


def test_five_hundred_lots_stay_a_bounded_list(open_app: OpenApp, own_demo: Served) -> None:
    """The list of lots shows a screenful or two and says how many more there are."""
    fill(own_demo, 500)
    page = open_app(own_demo)
    until_filled(page)
    page.evaluate("() => { location.hash = '#/lots'; }")
    expect(page.locator("main")).to_contain_text("more")
    assert page.locator("main li").count() <= 100
    keep(page, "lots-500")


def fill(served: Served, number: int) -> None:
    """Record the starts of many lots in the shed fridge."""
    now, fridge = to_text(served.clock()), place_id("Shed fridge")
    more = {"quantity": 100, "unit": "seeds", "place": fridge}
    events = [
        {
            "id": str(uuid.uuid4()),
            "seq": index + 1,
            "kind": "lot_started",
            "lot": str(uuid.uuid4()),
            "observed_at": now,
            "by": None,
            "data": {"crop": "acer-palmatum", "label": lot_code(25, 100 + index), **more},
        }
        for index in range(number)
    ]
    with served.app.app_context():
        known = {"role": "owner", "silent_ok": True, "name": "a script"}
        push(served.app.config["SITE_ID"], str(uuid.uuid4()), events, now, served.clock(), known)
