"""The first morning: an empty folder, a link on the owner's phone, the first lot by touch."""

from playwright.sync_api import Browser, expect
from tests.browser import PHONE

from e2e.house import LATER_MS, House, Walker, pair, until_in_touch

pytest_plugins = ["e2e.house"]


def test_an_owner_begins_with_nothing_and_has_a_lot_on_the_server(house: House, browser: Browser):
    context = browser.new_context(**PHONE)
    page = pair(context, house)
    walker = Walker(page)
    expect(page.get_by_text("Begin with a place and a lot")).to_be_visible(timeout=LATER_MS)
    walker.tap(page.get_by_role("link", name="Add a place"))
    page.get_by_label("Name of the place").fill("Shed fridge")
    walker.tap(page.locator(".foot .main-act"))
    expect(page.get_by_text("1 Shed fridge")).to_be_visible()
    page.goto(f"{house.address}/#/add")
    page.get_by_label("Which kind?").fill("acer palm")
    walker.tap(page.get_by_role("button", name="Acer palmatum").first)
    page.get_by_label("How many").fill("1,800")
    page.get_by_label("Where it stands").select_option(label="Shed fridge")
    walker.tap(page.locator(".foot .main-act"))
    expect(page.locator(".page-lot")).to_contain_text("1,800 seeds", timeout=LATER_MS)
    walker.begin()
    assert walker.look() is not None
    until_in_touch(page)

    (lot,) = house.lots().values()
    assert (lot["crop"], lot["quantity"], lot["unit"]) == ("acer-palmatum", 1800, "seeds")
    assert lot["last_look"] is not None
    assert [event["kind"] for event in house.events()].count("looked") == 1
    context.close()


def test_an_owner_link_opens_once(house: House, browser: Browser):
    first, second = browser.new_context(**PHONE), browser.new_context(**PHONE)
    pair(first, house)
    page = second.new_page()
    page.goto(house.link)
    expect(page.get_by_text("This phone is not paired:")).to_be_visible(timeout=LATER_MS)
    page.goto(f"{house.address}/#/lots")
    expect(page.get_by_text("This phone is not paired", exact=True)).to_be_visible()
    first.close()
    second.close()
