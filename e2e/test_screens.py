"""Every screen can be read in the sun, hit with a wet thumb, and used without seeing colours."""

import re
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route, expect
from tests.browser import FRONTEND, PHONE
from tests.photos import jpeg

from e2e.demo import OpenApp, Served, Visits, until_filled
from e2e.measure import spills, sticks_out, too_close, too_faint, too_low, too_small, type_of
from lathhouse.demo.scenario import lot_id, place_id
from lathhouse.demo.story import name_id
from lathhouse.domain.instants import DAY_MS, to_text
from lathhouse.domain.labels import lot_code
from lathhouse.store import access
from lathhouse.store.site_clock import SiteClock
from lathhouse.sync.push import push

pytest_plugins = ["e2e.demo"]

ARTEFACTS = Path(__file__).parent.parent / "artefacts" / "screens"
# A control anywhere, and one of the daily round: STYLE "Screens". The round's own come from what a
# wet or gloved thumb needs, 15-20 mm, and from Parhi, Karlson and Bederson 2006 for a dry one.
CONTROL_PX, ROUND_PX, APART_PX = 60, 96, 19
CONTRAST, SMALLEST_PX, LISTED_MAX = 7, 16, 100
ROUND = ".round-act, .big .answer, .page-round .foot > .act"
TEXT_SIZE = "(size) => document.documentElement.style.setProperty('font-size', size)"


def something_else(page: Page) -> None:
    """Open everything that can be said of a look."""
    page.get_by_role("button", name="Something else").click()


def answered(page: Page) -> None:
    """Answer the first question of a lot that asks."""
    page.get_by_role("group", name="Mould?").get_by_role("button", name="spots").click()


def tried(page: Page) -> None:
    """Change a limit, and try it on the record."""
    page.get_by_role("button", name="due, hours: one less").first.click()
    page.locator(".foot").get_by_role("button", name="Try").click()
    expect(page.locator(".trial [role=status]")).to_contain_text("Now ")


def for_a_place(page: Page) -> None:
    """Ask for the limits of one place."""
    page.get_by_role("button", name="one place").click()
    page.get_by_label("Which place").select_option(label="Shed fridge")


def leaving(page: Page) -> None:
    """Open the reason why an alert can wait."""
    page.get_by_role("button", name="Leave until").first.click()
    expect(page.get_by_role("group", name="Why can it wait?")).to_be_visible()


def two_years(page: Page) -> None:
    """Show two years by kind."""
    page.get_by_role("button", name="Show 24 months").click()
    page.get_by_role("button", name="By kind").click()


def sown_outdoors(page: Page) -> None:
    """Ask what the seasons do to seed sown at once."""
    page.get_by_role("button", name="sown outdoors at once").click()


def figures_there(page: Page) -> None:
    """Wait for the month's figures."""
    expect(page.locator(".ringing li").first).to_be_visible()


def wrong_record(page: Page) -> None:
    """Open the correction of the newest record."""
    page.get_by_role("button", name="Wrong?").first.click()
    page.get_by_role("button", name="Correct it").click()


def an_address(page: Page) -> None:
    """Make a calendar address where there is none, or a new one."""
    page.get_by_role("button", name=re.compile("Make my address|Renew it")).click()
    expect(page.locator(".page-calendar .link")).to_be_visible()


def typing_in(page: Page) -> None:
    """Begin to type in from paper, whatever was begun before."""
    page.evaluate(
        "() => import('/screens/typing.js').then(({ typing }) => { typing.value = null; })"
    )
    page.get_by_role("button", name="Begin").click()
    expect(page.locator(".page-typed .code")).to_be_visible()


def typing_a_box(page: Page) -> None:
    """Go on to the boxes of the paper, and say when the first of them was ticked."""
    typing_in(page)
    page.evaluate(
        "() => import('/screens/typing.js').then(({ typing }) => {"
        " typing.value = { ...typing.value, at: typing.value.ids.length }; })"
    )
    page.get_by_label("Done at").fill("08:05")


def cautions_first(page: Page) -> None:
    """Put the mixing back to the first of a day, when the cautions come first."""
    page.evaluate(
        "() => import('/store/preferences.js').then((kept) => { kept.cautionsRead.value = ''; })"
    )
    expect(page.get_by_role("button", name="I have read this")).to_be_visible()


def read_cautions(page: Page) -> None:
    """Read the cautions, and go on to what the bottle says."""
    cautions_first(page)
    page.get_by_role("button", name="I have read this").click()
    expect(page.locator(".page-question")).to_be_visible()


def labelled(page: Page) -> None:
    """Say what the label says."""
    read_cautions(page)
    page.get_by_role("button", name="g/L available chlorine").click()
    page.get_by_role("button", name="40 g/L").click()


def wanted(page: Page) -> None:
    """Ask for another strength, by the keypad."""
    labelled(page)
    page.get_by_role("button", name="wanted").click()
    page.get_by_role("button", name="another number").click()


def too_much(page: Page) -> None:
    """Ask for a thousand litres in one go, and be asked why."""
    labelled(page)
    page.get_by_role("button", name="made up to").click()
    page.get_by_role("button", name="another number").click()
    for key in "1000":
        page.get_by_role("group", name="How much?").get_by_text(key, exact=True).click()
    page.get_by_role("button", name="Take this number").click()
    page.get_by_role("button", name="Say why so much").click()
    expect(page.locator(".page-question")).to_contain_text("1,000 L in one go: really?")


def asked_who(page: Page) -> None:
    """Take an alarm on where nobody is named."""
    page.get_by_role("button", name="I have it").first.click()
    expect(page.get_by_role("group", name="Who has it?")).to_be_visible()


def more_of_a_soak(page: Page) -> None:
    """Open what else can be done with a soak."""
    soak = page.locator(".bench-row", has_text="soaking").first
    soak.get_by_role("button", name="More").click()


def name_moving(page: Page) -> None:
    """Have the server tell of a move of the name, with a new certificate to trust."""
    trust = {"help": "http://192.168.1.20:8320/", "fingerprint": ":".join(["5D"] * 32)}
    names = {"from": "rows.local", "to": "beds.local", "begun_at": "2026-09-10T08:40:00.000Z"}
    move = {**names, "address": "https://beds.local:8321/", "trust": trust}
    page.evaluate(
        "(move) => import('/store/house.js').then(({ nameMove }) => { nameMove.value = move; })",
        move,
    )
    expect(page.locator(".move-steps")).to_be_visible()


def nothing(_: Page) -> None:
    """Leave the screen as it opens."""


def walk(place: str) -> str:
    """Return the route that walks a place."""
    return f"#/walk/{place_id(place)}"


def act(kind: str, lot: str) -> str:
    """Return the route that records an act on a lot."""
    return f"#/act/{kind}/{lot_id(lot)}"


def photo_taken(page: Page) -> None:
    """Take a picture, and see it as it will be saved."""
    file = {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": jpeg(1200, 900)}
    page.locator(".take-photo input[capture]").set_input_files(file)
    expect(page.locator(".photo-shown")).to_be_visible()


Steps = Callable[[Page], None]


def typing_frost(page: Page) -> None:
    """Open the number pad for tonight's low."""
    page.get_by_role("button", name="Type the low").click()


def reading_frost(page: Page) -> None:
    """Open the form that takes a forecast's text."""
    page.get_by_role("button", name="Read a forecast").click()


SCREENS: dict[str, tuple[str, Steps]] = {
    "round": ("#/", nothing),
    "walk-alarmed": (walk("Shed fridge"), nothing),
    "walk-answered": (walk("Shed fridge"), answered),
    "walk-quiet": (walk("Seed shelf"), nothing),
    "walk-something-else": (walk("Seed shelf"), something_else),
    "walk-emerging": (walk("Lath house, south bench"), nothing),
    "walk-potted": (walk("Ten-litre stand"), nothing),
    "lot": (f"#/lot/{lot_id('AP-26-1')}", nothing),
    "lot-emerging": (f"#/lot/{lot_id('AP-25-1')}", nothing),
    "lot-potted": (f"#/lot/{lot_id('MV-22-1')}", wrong_record),
    "photo": (f"#/photo/{lot_id('AP-26-1')}", nothing),
    "photo-taken": (f"#/photo/{lot_id('AP-26-1')}", photo_taken),
    "lots": ("#/lots", nothing),
    "year": ("#/year", nothing),
    "year-two": ("#/year", two_years),
    "add": ("#/add", nothing),
    "act-count": (act("counted", "AP-25-1"), nothing),
    "act-cold": (act("cold_started", "CJ-26-1"), nothing),
    "act-bleach": (act("sanitise_started", "AU-26-1"), nothing),
    "act-lost": (act("lost", "CC-25-1"), nothing),
    "act-scarified": (act("scarified", "AU-26-1"), nothing),
    "act-moved": (act("moved", "CC-25-1"), nothing),
    "bench": ("#/bench", nothing),
    "people": ("#/people", nothing),
    "move": ("#/move", name_moving),
    "who": ("#/who", nothing),
    "tokens": ("#/tokens", nothing),
    "signin": ("#/signin", nothing),
    "passphrase": ("#/passphrase", nothing),
    "passphrase-link": ("#/passphrase/a-link", nothing),
    "bench-more": ("#/bench", more_of_a_soak),
    "start-soak": ("#/start/soak", nothing),
    "start-bleach": ("#/start/sanitise", nothing),
    "mixing-cautions": ("#/mixing", cautions_first),
    "mixing-label": ("#/mixing", read_cautions),
    "mixing": ("#/mixing", labelled),
    "mixing-wanted": ("#/mixing", wanted),
    "mixing-much": ("#/mixing", too_much),
    "frost": ("#/frost", nothing),
    "frost-figure": ("#/frost", typing_frost),
    "frost-file": ("#/frost", reading_frost),
    "cautions": ("#/cautions/bleach", nothing),
    "tag": (f"#/tag/{name_id('bench bucket')}", nothing),
    "fridge": (f"#/fridge/{place_id('Shed fridge')}", nothing),
    "alerts": ("#/alerts", nothing),
    "alerts-leave": ("#/alerts", leaving),
    "alerts-who": ("#/alerts", asked_who),
    "ringing": ("#/ringing", figures_there),
    "season": ("#/season", nothing),
    "watch-band": ("#/watch/ec-band", nothing),
    "morning": ("#/morning", nothing),
    "calendar": ("#/calendar", nothing),
    "calendar-address": ("#/calendar", an_address),
    "typed": ("#/typed", nothing),
    "typed-lot": ("#/typed", typing_in),
    "typed-box": ("#/typed", typing_a_box),
    "unsent": ("#/unsent", nothing),
    "take": ("#/take", nothing),
    "empty": ("#/empty", nothing),
    "reminders": ("#/reminders", nothing),
    "settings": ("#/settings", nothing),
    "nursery": ("#/nursery", nothing),
    "hours": ("#/hours", nothing),
    "places": ("#/places", nothing),
    "watches": ("#/watches", nothing),
    "watch": ("#/watch/look-due", nothing),
    "watch-fixed": ("#/watch/cold-six-weeks", nothing),
    "watch-tried": ("#/watch/fungus-recheck", tried),
    "watch-place": ("#/watch/chamber-band", for_a_place),
    "watch-times": ("#/watch/round-missing", nothing),
    "crops": ("#/crops", nothing),
    "crop": ("#/crop/viburnum-opulus", nothing),
    "crop-outdoors": ("#/crop/viburnum-opulus", sown_outdoors),
}


def go(page: Page, name: str) -> None:
    """Go to a screen by name, from wherever the app is."""
    route, steps = SCREENS[name]
    # By way of a screen of no name, so that nothing is left of the one before.
    for hash in ("#/unsent", route):
        page.evaluate("(route) => { location.hash = route; }", hash)
        of = hash.split("/")[1] or "round"
        # A mixing begins with its cautions, or with a question.
        shown = ".page-mixing, .page-question" if of == "mixing" else f".page-{of}"
        expect(page.locator(shown)).to_be_visible()
    page.clock.run_for(500)
    steps(page)
    page.clock.run_for(500)


def keep(page: Page, name: str) -> None:
    """Keep a picture of the screen among the run's artefacts."""
    ARTEFACTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"{name}.png")
    page.screenshot(path=ARTEFACTS / f"{name}-whole.png", full_page=True)


def faults_of(page: Page, name: str) -> dict[str, list[str]]:
    """Return what is wrong with a screen, by what was asked of it."""
    found = {"contrast": too_faint(page, CONTRAST), "control": too_small(page, CONTROL_PX)}
    if name == "round" or name.startswith("walk"):
        found["round's control"] = too_low(page, ROUND_PX, ROUND)
        found["too close"] = too_close(page, APART_PX, ROUND)
    sizes, weights = type_of(page)
    found["small print"] = [str(size) for size in sizes if size < SMALLEST_PX]
    found["weights"] = sorted(weights)[2:]
    found["axe"] = [
        f"{one['id']}: {node['html'][:160]}"
        for one in Axe().run(page).response["violations"]
        for node in one["nodes"]
    ]
    return found


def measured(page: Page, name: str) -> None:
    """Keep a picture of the screen, and find nothing wrong with it."""
    keep(page, name)
    assert {what: said for what, said in faults_of(page, name).items() if said} == {}


def test_every_screen_of_the_app_is_measured() -> None:
    """Each route in the app's own table has its line above; pairing has a test of its own."""
    table = (FRONTEND / "app.js").read_text("utf-8")
    routes = set(re.findall(r'^  (\w+): \[\(\) => import\("./screens/', table, re.MULTILINE))
    measured = {route.split("/")[1] for route, _ in SCREENS.values()} - {""}
    assert routes == measured | {"pair"}


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_is_read_by_everyone_and_hit_by_a_thumb(demo_page: Page, name: str) -> None:
    """At 360 px: axe finds nothing, contrast 7:1, controls 60 px and 96 px on the round."""
    go(demo_page, name)
    keep(demo_page, name)
    found = faults_of(demo_page, name)
    demo_page.emulate_media(color_scheme="dark")
    keep(demo_page, f"{name}-dark")
    found["contrast in the dark"] = too_faint(demo_page, CONTRAST)
    demo_page.emulate_media(color_scheme="light")
    assert {what: said for what, said in found.items() if said} == {}


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_fits_other_phones_and_larger_text(demo_page: Page, name: str) -> None:
    """320 and 430 px wide, and 200 % text: nothing sticks out, every control keeps its size."""
    found = {}
    go(demo_page, name)
    try:
        for width in (320, 430):
            demo_page.set_viewport_size({"width": width, "height": 740})
            keep(demo_page, f"{name}-{width}")
            found[f"{width} px"] = sticks_out(demo_page) + too_small(demo_page, CONTROL_PX)
            found[f"spills at {width} px"] = spills(demo_page)
        demo_page.set_viewport_size(PHONE["viewport"])
        demo_page.evaluate(TEXT_SIZE, "200%")
        keep(demo_page, f"{name}-200")
        found["200 %"] = sticks_out(demo_page) + spills(demo_page)
    finally:
        demo_page.evaluate(TEXT_SIZE, "")
        demo_page.set_viewport_size(PHONE["viewport"])
    assert {what: said for what, said in found.items() if said} == {}


def test_screens_say_what_they_mean(demo_page: Page) -> None:
    """A soak counts in hours, a plot has dates, and a place half covered says so in both lists."""
    page = demo_page
    page.evaluate("(route) => { location.hash = route; }", f"#/lot/{lot_id('CC-26-1')}")
    expect(page.locator(".page-lot main")).to_contain_text("25 h of a soak of")
    go(page, "fridge")
    expect(page.locator(".fridge-plot text", has_text="12 Jul")).to_have_count(1)
    go(page, "frost")
    corner = page.locator(".cover-place", has_text="Frost corner")
    expect(corner.filter(has_text="1 of 2 tender lots covered")).to_have_count(1)
    expect(corner.filter(has_text="1 of 2 tender lots not covered")).to_have_count(1)
    go(page, "year")
    expect(page.locator("main strong", has_text="sow now")).to_have_count(1)
    # What is drawn is at hand in the first view, and out of the rows' way until it is asked for.
    expect(page.get_by_text("What is drawn")).to_be_in_viewport()
    expect(page.locator(".year-legend p").first).to_be_hidden()
    page.get_by_text("What is drawn").tap()
    expect(page.locator(".year-legend p").first).to_be_in_viewport()
    marks = page.locator(".year-legend .mark-line").evaluate_all(
        "(all) => all.map((e) => e.outerHTML)"
    )
    assert len(set(marks)) == len(marks) > 7
    go(page, "watch-band")
    expect(page.get_by_role("group", name="lowest EC, mS/cm")).to_be_visible()
    asked = "([n]) => import('/ui/limits.js').then(({ hourStep }) => n.map(hourStep))"
    assert page.evaluate(asked, [[0, 11, 12, 47, 48, 96]]) == [1, 1, 6, 6, 24, 24]


def test_the_morning_list_of_the_demo_is_two_sheets(demo_page: Page) -> None:
    """Twenty-one lots with their boxes and blanks, on A4; a third is one too many."""
    go(demo_page, "morning")
    pdf = demo_page.pdf(format="A4")
    ARTEFACTS.joinpath("morning.pdf").write_bytes(pdf)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2


def longer(route: Route) -> None:
    """Answer with the locale, every text in it a third longer, as another language might be."""
    text = route.fetch().text()
    line = re.compile(r'^(  "[^"]+": ")(.*)(",)$', re.MULTILINE)
    route.fulfill(
        body=line.sub(lambda m: m[1] + m[2] + " " + "mo" * (len(m[2]) // 6) + m[3], text),
        content_type="text/javascript",
    )


@pytest.fixture(scope="module")
def longer_page(browser: Browser, demo: Served) -> Iterator[Page]:
    """The app on the shared demo in words a third longer."""
    visits = Visits(browser)
    page = visits.open(
        demo,
        before=lambda page: page.route("**/locales/**/en.js", longer),
    )
    until_filled(page)
    yield page
    visits.end()


@pytest.mark.parametrize("name", ["round", "walk-alarmed", "walk-quiet", "lot", "alerts", "add"])
def test_a_screen_holds_words_that_are_a_third_longer(longer_page: Page, name: str) -> None:
    """Nothing sticks out sideways, and no control's words spill over its edge."""
    go(longer_page, name)
    keep(longer_page, f"{name}-longer")
    assert sticks_out(longer_page) + spills(longer_page) == []


@pytest.fixture
def walking(own_demo: Served, open_app: OpenApp) -> Page:
    """The app on a demo of its own, in front of three lots that are coming up."""
    page = open_app(own_demo)
    until_filled(page)
    go(page, "walk-emerging")
    return page


def test_an_alarmed_lot_offers_nothing_until_it_has_been_looked_at(walking: Page) -> None:
    """Mould and roots first, then moisture; nothing is preset; the save says what it records."""
    go(walking, "walk-alarmed")
    expect(walking.locator("h2", has_text="Acer palmatum")).to_be_visible()
    answers = (("Mould?", "none"), ("Roots showing?", "none"), ("How wet is it?", "moist"))
    for question, answer in answers:
        expect(walking.get_by_role("button", name="Save:")).to_have_count(0)
        expect(walking.locator("[aria-pressed=true]")).to_have_count(0)
        group = walking.get_by_role("group", name=question)
        group.get_by_role("button", name=answer, exact=True).click()
        walking.clock.run_for(500)
    save = walking.get_by_role("button", name="Save: moist, no mould, no roots yet")
    expect(save).to_contain_text("look again within a week")
    save.click()
    expect(walking.locator(".undo-bar")).to_contain_text("26-017-R")
    # What was saved lies under the answers: it hides no strip, and nothing moves as it goes.
    strip, foot = (walking.locator(part).bounding_box() for part in (".strip", ".foot"))
    assert strip
    assert foot
    assert strip["y"] + strip["height"] <= foot["y"]
    first = walking.locator(".foot .answer").first
    before = first.bounding_box()
    walking.clock.run_for(10_500)
    expect(walking.locator(".undo-bar")).to_have_count(0)
    assert first.bounding_box() == before
    # A question of five answers has its first one in the same spot.
    first.click()
    expect(walking.get_by_role("group", name="Roots showing?")).to_be_visible()
    assert (first.bounding_box() or {})["y"] == (before or {})["y"]


def test_one_tap_records_the_state_that_the_button_says(walking: Page) -> None:
    """A quiet lot: the button names the state, and one touch saves it and goes on."""
    first = walking.locator(".code").inner_text()
    expect(walking.locator(".where strong").first).to_have_text(f"{first} · 3 to see")
    walking.get_by_role("button", name="Moist, no damping-off").click()
    expect(walking.locator(".undo")).to_contain_text(f"{first} moist, no damping-off")
    expect(walking.locator(".code")).not_to_have_text(first)


def test_a_touch_just_after_a_change_of_lot_is_ignored(walking: Page) -> None:
    """Within 0.4 s a second tap of the same thumb records nothing on the next lot."""
    walking.clock.pause_at(walking.evaluate("() => Date.now() / 1000 + 1"))
    button = walking.get_by_role("button", name="Moist, no damping-off")
    button.click()
    expect(walking.locator(".where")).to_contain_text("2 to see")
    button.click()
    expect(walking.locator(".where")).to_contain_text("2 to see")
    walking.clock.run_for(450)
    button.click()
    expect(walking.locator(".where")).to_contain_text("last one")


# An offer to take back comes, and is over.
SWAPPED_NOW = """() => import('/screens/walking.js').then(({ last }) => {
  last.value = { events: [], lot: { label: 'A' }, at: null, words: 'moist' };
  last.value = null;
})"""


def test_undo_takes_back_and_returns_to_the_lot(walking: Page) -> None:
    """For ten seconds a real button takes the last record back; after that it is gone."""
    first = walking.locator(".code").inner_text()
    walking.get_by_role("button", name="Moist, no damping-off").click()
    walking.clock.run_for(500)
    walking.get_by_role("button", name="Undo").click()
    expect(walking.locator(".code")).to_have_text(first)
    walking.clock.run_for(500)
    walking.get_by_role("button", name="Moist, no damping-off").click()
    expect(walking.get_by_role("button", name="Undo")).to_be_visible()
    # A thumb that goes for it as it leaves its place does not go back a lot instead.
    walking.clock.run_for(10_500)
    expect(walking.get_by_role("button", name="Undo")).to_have_count(0)
    walking.clock.pause_at(walking.evaluate("() => Date.now() / 1000 + 1"))
    walking.evaluate(SWAPPED_NOW)
    previous = walking.get_by_role("button", name="Previous")
    previous.click()
    expect(walking.locator(".code")).not_to_have_text(first)
    walking.clock.run_for(450)
    previous.click()
    expect(walking.locator(".code")).to_have_text(first)


def test_closing_a_place_names_what_was_skipped_and_goes_on_along_the_path(walking: Page) -> None:
    """Skipped lots are named, quick ones offered again, and the way leads to the next place."""
    labels = []
    for _ in range(2):
        labels.append(walking.locator(".code").inner_text())
        walking.get_by_role("button", name="Skip").click()
        walking.clock.run_for(500)
    walking.get_by_role("button", name="Moist, no damping-off").click()
    told = walking.locator(".told")
    expect(told).to_contain_text(f"skipped: {', '.join(labels)}")
    expect(told).to_contain_text("under 2 seconds")
    expect(walking.get_by_role("button", name="Walk those again")).to_be_visible()
    keep(walking, "walk-place-done")
    walking.clock.run_for(500)
    walking.get_by_role("button", name="Close Lath house, south bench").click()
    expect(told).to_contain_text("closed 08:4")
    expect(walking.get_by_role("link", name="Then on to Seedling tunnel")).to_be_visible()
    keep(walking, "walk-closed")


def test_a_count_is_keyed_in_and_cannot_be_more_than_were_sown(walking: Page) -> None:
    """The keypad counts all that are up; an impossible count says what would be right."""
    go(walking, "act-count")
    for key in ("wipe the last digit", *"05"):
        walking.get_by_role("button", name=key, exact=True).click()
    expect(walking.locator("output")).to_have_text("13,105")
    walking.get_by_role("button", name="Save").click()
    expect(walking.get_by_role("alert")).to_contain_text("at most 3,600")
    walking.get_by_role("button", name="wipe the last digit").click()
    walking.get_by_role("button", name="one more").click()
    expect(walking.locator("output")).to_have_text("1,311")
    walking.get_by_role("button", name="Save").click()
    expect(walking.locator(".page-act")).to_have_count(0)
    walking.evaluate("(route) => { location.hash = route; }", SCREENS["lot-emerging"][0])
    expect(walking.locator(".page-lot main")).to_contain_text("1,311 of 3,600 up")


def test_a_correction_stands_beside_what_was_first_said(walking: Page) -> None:
    """A look said moist; it was dry: the history shows both, and the lot is asked about again."""
    go(walking, "lot")
    wrong_record(walking)
    walking.get_by_role("button", name="dry", exact=True).click()
    walking.get_by_role("button", name="Save the correction").click()
    record = walking.locator(".record").first
    expect(record).to_contain_text("dry, no mould")
    expect(record).to_contain_text("first said: all as expected: moist, no mould")


def test_what_is_unsent_is_counted_in_plain_words(walking: Page) -> None:
    """Offline every screen says how many records are saved here and not sent."""
    walking.context.set_offline(True)
    walking.get_by_role("button", name="Moist, no damping-off").click()
    expect(walking.locator(".where")).to_contain_text("1 saved here, not sent")
    go(walking, "round")
    expect(walking.get_by_role("status").first).to_contain_text("1 saved here, not sent")
    # A demo's visitor who lost the cookie is let in again without opening the app anew, though the
    # first question who it is comes to nothing.
    walking.context.clear_cookies()
    walking.route("**/api/v1/session", lambda route: route.abort(), times=1)
    with walking.expect_event("requestfailed", lambda one: one.url.endswith("/session")):
        walking.context.set_offline(False)
    go(walking, "unsent")
    walking.get_by_role("button", name="Try now").click()
    expect(walking.locator(".where")).to_contain_text("all on the server")


def test_a_new_lot_is_given_a_code_with_its_check_letter(walking: Page) -> None:
    """The next code is proposed; a slip of the pen is told apart, and nothing typed is lost."""
    go(walking, "add")
    walking.get_by_label("Which kind?").fill("kousa")
    walking.get_by_role("button", name="Cornus kousa").click()
    walking.get_by_label("How many").fill("1,200")
    label = walking.get_by_label("Code on its label")
    proposed = label.input_value()
    label.fill(proposed[:-1] + ("A" if proposed[-1] != "A" else "B"))
    walking.get_by_role("button", name="Start this lot").click()
    expect(walking.get_by_role("alert")).to_contain_text(f"Did you mean {proposed}?")
    expect(walking.get_by_label("How many")).to_have_value("1,200")
    label.fill(proposed)
    walking.get_by_role("button", name="Start this lot").click()
    expect(walking.locator("h1")).to_have_text(proposed)
    expect(walking.locator(".label")).to_contain_text("1,200 seeds")


def test_an_empty_nursery_says_what_to_do_first(empty_nursery: Served, open_app: OpenApp) -> None:
    """Unpaired, it says how to pair; paired and empty, it asks for a place and a lot."""
    page = open_app(empty_nursery)
    expect(page.locator("main")).to_contain_text("not paired")
    measured(page, "unpaired")
    page.evaluate("() => { location.hash = '#/pair/spent-already'; }")
    expect(page.locator("main")).to_contain_text("used already")
    measured(page, "pair-spent")
    with empty_nursery.app.app_context():
        site = empty_nursery.app.config["SITE_ID"]
        secret = access.owner_link(site, to_text(empty_nursery.clock()))
    page.evaluate("(secret) => { location.hash = `#/pair/${secret}`; }", secret)
    expect(page.locator("main")).to_contain_text("This phone is paired")
    measured(page, "paired")
    page.get_by_role("link", name="Open the round").click()
    expect(page.get_by_role("link", name="Add a place")).to_be_visible()
    measured(page, "first-start")
    told_of_its_clock(page, empty_nursery)
    with empty_nursery.app.app_context():
        at = to_text(empty_nursery.clock())
        secret = access.make_link(site, "worker", str(uuid.uuid4()), at, 10)
    page.context.clear_cookies()
    page.evaluate("(secret) => { location.hash = `#/pair/${secret}`; }", secret)
    expect(page.locator("main")).to_contain_text("This phone is another person's. Ask the owner")
    expect(page.locator("main")).not_to_contain_text("used already")


def told_of_its_clock(page: Page, served: Served) -> None:
    """See that the owner is told of a doubt about the server's clock, and no more once it ends."""
    at_ms = served.clock()
    clock = SiteClock(served.clock, lambda: 0)
    clock.begin(at_ms - 3 * DAY_MS)
    served.app.config["LATHHOUSE"].now_ms = clock
    page.evaluate("() => { location.hash = '#/unsent'; }")
    page.get_by_role("button", name="Try now").tap()
    expect(page.locator(".caution")).to_contain_text("The server's clock is in doubt. Set the date")
    measured(page, "unsent-clock")
    page.evaluate("() => { location.hash = '#/settings'; }")
    expect(page.get_by_role("link", name="The server's clock is in doubt")).to_be_visible()
    clock.hear(at_ms)
    page.evaluate("() => { location.hash = '#/unsent'; }")
    page.get_by_role("button", name="Try now").tap()
    expect(page.locator(".caution")).to_have_count(0)


def test_five_hundred_lots_stay_a_bounded_list(own_demo: Served, open_app: OpenApp) -> None:
    """The list of lots shows a screenful or two and says how many more there are."""
    fill(own_demo, 500)
    page = open_app(own_demo)
    until_filled(page)
    go(page, "lots")
    expect(page.locator("main")).to_contain_text("more: type a little more")
    assert page.locator("main li").count() <= LISTED_MAX
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
