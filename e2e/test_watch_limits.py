"""The owner moves a limit by touch, sees first what it would have raised, and the alerts follow."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.house import until
from lathhouse.demo.scenario import lot_id, place_id
from lathhouse.reminders.clock import catch_up

pytest_plugins = ["e2e.demo"]
LATER_MS = 30_000
# What a trial found is seen at once, between the head of the page and its foot.
READABLE = """() => {
  const [said, foot] = [".trial .large", ".foot"].map(
    (one) => document.querySelector(one).getBoundingClientRect());
  return said.top >= 0 && said.bottom <= foot.top;
}"""
MOULDY = lot_id("HV-26-1")
FOUND = """import('/store/house.js')
  .then((house) => [...house.findings.value.values()].flat()
  .filter((one) => one.watch === 'fungus-recheck').map((one) => [one.subject.id, one.level]))"""


@pytest.fixture
def phone(own_demo: Served, open_app: OpenApp) -> Page:
    """The owner's phone on a demo of its own."""
    page = open_app(own_demo)
    until_filled(page)
    return page


def open_watch(page: Page, watch: str) -> None:
    page.evaluate("(watch) => { location.hash = `#/watch/${watch}`; }", watch)
    expect(page.locator(".page-watch")).to_be_visible()


def figure(page: Page, label: str, nth: int = 0) -> Any:
    return page.get_by_role("group", name=label, exact=True).nth(nth)


def until_found(page: Page, levels: list[list[str]]) -> None:
    """Wait until the phone itself finds these [lot, level] of the mould watch."""
    told = f"{FOUND}.then((found) => JSON.stringify(found) === JSON.stringify(given))"
    until(page, told, levels)


def on_server(served: Served, watch: str) -> dict[str, Any]:
    """Return the levels of a watch as the server's standing alerts, after its clock has ticked."""
    with served.app.app_context():
        catch_up(served.app.config["SITE_ID"], served.clock())
    client = served.app.test_client()
    client.get("/api/v1/session")
    found = client.get("/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    return {one["subject"]["id"]: one["level"] for one in found if one["watch"] == watch}


def until_sent(page: Page) -> None:
    expect(page.locator(".where")).to_contain_text("all on the server", timeout=LATER_MS)
    until(
        page,
        "import('/store/house.js').then((house) =>"
        " house.pending.value.length + house.confirming.value.length === 0)",
    )


def test_the_owner_tries_a_limit_saves_it_and_the_alerts_follow(
    own_demo: Served, phone: Page
) -> None:
    """Mould is looked at again after a day instead of two: tried, saved, rung, and taken back."""
    open_watch(phone, "fungus-recheck")
    expect(phone.locator(".told-rule")).to_contain_text("late after 72 hours, alarm after 120")
    until_found(phone, [[MOULDY, "late"]])
    # By whole days down to two of them, from there by quarters of a day.
    for _ in range(3):
        figure(phone, "alarm, hours").get_by_role("button", name="one less").tap()
    phone.locator(".foot").get_by_role("button", name="Save").tap()
    expect(phone.get_by_role("alert")).to_contain_text("none less than the one before it")
    for label, touches in (("late, hours", 5), ("due, hours", 4)):
        for _ in range(touches):
            figure(phone, label).get_by_role("button", name="one less").tap()
    phone.locator(".foot").get_by_role("button", name="Try").tap()
    outcome = phone.locator(".trial [role=status]")
    expect(outcome).to_contain_text("Now 1, then 1", timeout=LATER_MS)
    expect(phone.locator(".trial .looks")).to_contain_text("alarm")
    phone.locator(".foot").get_by_role("button", name="Save").tap()
    expect(phone.locator(".undo-bar")).to_contain_text("Mould, look again changed")
    expect(phone.locator(".told-rule")).to_contain_text("alarm after 48 hours")
    until_found(phone, [[MOULDY, "alarm"]])
    until_sent(phone)
    assert on_server(own_demo, "fungus-recheck") == {MOULDY: "alarm"}
    phone.get_by_role("button", name="Undo").tap()
    expect(phone.locator(".told-rule")).to_contain_text("alarm after 120 hours")
    until_sent(phone)
    assert on_server(own_demo, "fungus-recheck") == {MOULDY: "late"}


def test_a_preview_counts_more_where_the_limit_is_shorter(phone: Page) -> None:
    """Looks at seedlings due after a day instead of three: the figure rises, and bars are drawn."""
    open_watch(phone, "look-due")
    for _ in range(2):
        figure(phone, "due, days", 2).get_by_role("button", name="one less").tap()
    phone.locator(".foot").get_by_role("button", name="Try").tap()
    outcome = phone.locator(".trial .large")
    expect(outcome).to_contain_text("Now ", timeout=LATER_MS)
    now, then = (int(part.split()[-1]) for part in outcome.inner_text().split(","))
    assert then > now > 0
    phone.wait_for_function(READABLE)
    assert phone.locator(".week-then").count() == 13


def test_limits_of_one_place_changed_offline_converge(own_demo: Served, phone: Page) -> None:
    """Off for one fridge, with no signal: the phone at once, the server once sent; then reset."""
    open_watch(phone, "fungus-recheck")
    phone.context.set_offline(True)
    phone.get_by_role("button", name="one place").tap()
    phone.get_by_label("Which place").select_option(label="Shed fridge")
    phone.get_by_role("button", name="On", exact=True).tap()
    phone.locator(".foot").get_by_role("button", name="Save").tap()
    expect(phone.locator(".told-rule")).to_contain_text("This watch is off")
    until_found(phone, [])
    expect(phone.locator(".where")).to_contain_text("1 saved here, not sent")
    phone.get_by_role("button", name="Try it as it is").tap()
    expect(phone.locator(".trial")).to_contain_text("needs the server")
    phone.context.set_offline(False)
    phone.evaluate("() => { location.hash = '#/unsent'; }")
    phone.get_by_role("button", name="Try now").tap()
    until_sent(phone)
    assert on_server(own_demo, "fungus-recheck") == {}
    open_watch(phone, "fungus-recheck")
    phone.get_by_role("button", name="one place").tap()
    place = phone.get_by_label("Which place")
    place.select_option(label="Shed fridge (its own limits)")
    phone.get_by_role("button", name="No limits of its own here").tap()
    expect(phone.locator(".told-rule")).not_to_contain_text("This watch is off")
    until_sent(phone)
    assert on_server(own_demo, "fungus-recheck") == {MOULDY: "late"}


def test_a_changed_watch_goes_back_to_what_ships(own_demo: Served, phone: Page) -> None:
    """Changed and sent, the row carries what ships, so that a phone goes back without asking."""
    open_watch(phone, "cold-look")
    figure(phone, "due, days").get_by_role("button", name="one more").tap()
    phone.locator(".foot").get_by_role("button", name="Save").tap()
    until_sent(phone)
    back = phone.get_by_role("button", name="Back to what ships")
    expect(back).to_be_visible()
    back.tap()
    expect(phone.locator(".told-rule")).to_contain_text("Due after 7 days")
    expect(back).to_have_count(0)
    until_sent(phone)
    until(
        phone,
        "import('/store/house.js').then((house) =>"
        " house.storedRows().get('watch').get('cold-look').after.due.days === 7)",
    )


def test_the_six_week_watch_says_that_it_stays_and_offers_nothing(phone: Page) -> None:
    open_watch(phone, "cold-six-weeks")
    expect(phone.locator(".page-watch main")).to_contain_text("This one stays as it is")
    expect(phone.locator(".amount, .trial")).to_have_count(0)


def test_who_is_no_owner_reads_the_rule_and_cannot_change_it(phone: Page) -> None:
    open_watch(phone, "look-due")
    phone.evaluate(
        "() => import('/store/house.js').then((house) => {"
        " house.session.value = { ...house.session.value, role: 'worker' }; })"
    )
    expect(phone.locator(".page-watch main")).to_contain_text("Only the owner's phone")
    expect(phone.locator(".told-rule")).to_be_visible()
    expect(phone.locator(".amount, .trial")).to_have_count(0)


def test_a_fridge_keeps_its_place_name_in_the_list_of_scopes(phone: Page) -> None:
    """A watch on places has limits for the nursery or one place, and none for a kind."""
    open_watch(phone, "chamber-band")
    expect(phone.get_by_role("button", name="one kind")).to_have_count(0)
    phone.get_by_role("button", name="one place").tap()
    fridge = f"option[value='{place_id('Shed fridge')}']"
    expect(phone.get_by_label("Which place").locator(fridge)).to_have_text("Shed fridge")
