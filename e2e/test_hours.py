"""Hours of work and quiet: the owner sets them; a worker is offered what they may do."""

import uuid

from playwright.sync_api import Browser, BrowserContext, Page, expect
from tests.browser import PHONE

from e2e.house import LATER_MS, House, ago, pair, until, until_in_touch

pytest_plugins = ["e2e.house"]

HOUSE = "import('/store/house.js')"


def people(house: House) -> dict[str, str]:
    """Put an owner and a worker on record; return {name: id}."""
    roles = {"Orla": "owner", "Dev": "worker"}
    rows = [{"id": str(uuid.uuid4()), "name": name, "role": roles[name]} for name in roles]
    house.record([house.event("person_changed", None, row, ago(days=3)) for row in rows])
    return {row["name"]: row["id"] for row in rows}


def carried(browser: Browser, house: House, role: str, person: str) -> tuple[BrowserContext, Page]:
    """Return a paired phone of somebody."""
    context = browser.new_context(**PHONE)
    link = house.call("POST", "/api/v1/pairings", {"role": role, "person": person})["link"]
    return context, pair(context, house, link)


def go(page: Page, screen: str) -> None:
    page.evaluate("(screen) => { location.hash = `#/${screen}`; }", screen)
    expect(page.locator(f".page-{screen}")).to_be_visible(timeout=LATER_MS)


def test_an_owner_sets_the_hours_and_a_worker_sees_them_and_sets_their_own(
    house: House, browser: Browser
) -> None:
    known = people(house)
    context, owner = carried(browser, house, "owner", known["Orla"])
    go(owner, "hours")
    _, work_to, quiet_from, _ = owner.locator("input[type=time]").all()
    # A time of a twelve-hour clock takes 148 px in Chromium, its button included: ours, measured.
    owner.set_viewport_size({"width": 320, "height": 740})
    widths = "(all) => all.map((one) => one.offsetWidth)"
    assert min(owner.locator("input[type=time]").evaluate_all(widths)) >= 150
    owner.set_viewport_size(PHONE["viewport"])
    work_to.fill("06:00")
    owner.get_by_role("button", name="Sat").tap()
    owner.get_by_role("button", name="Save").tap()
    expect(owner.get_by_role("alert")).to_have_text("Work must end later in the day than 07:00.")
    work_to.fill("15:30")
    quiet_from.fill("19:00")
    owner.get_by_role("button", name="Save").tap()
    until(owner, f"{HOUSE}.then((here) => here.nursery().work_to === '15:30')")
    until_in_touch(owner)
    # On its first day a nursery has neither name nor currency; nothing of that is refused.
    (row,) = house.call("GET", "/api/v1/sync/pull?after=0&limit=1000")["rows"]["nursery"]
    assert (row["work_to"], row["quiet_from"], row["working_days"]) == (
        "15:30",
        "19:00",
        [1, 2, 3, 4, 5],
    )
    go(owner, "reminders")
    expect(owner.get_by_role("button", name="earlier in line")).to_have_count(1)
    context.close()

    context, worker = carried(browser, house, "worker", known["Dev"])
    go(worker, "hours")
    expect(worker.get_by_text("Mon–Fri, 07:00–15:30")).to_be_visible(timeout=LATER_MS)
    expect(worker.locator(".page-hours input, .page-hours button")).to_have_count(0)
    go(worker, "reminders")
    expect(worker.locator(".line li")).to_have_count(2)
    expect(worker.get_by_role("button", name="earlier in line")).to_have_count(0)
    # What is offered is taken: their own quiet hours, from the nursery's until they say otherwise.
    expect(worker.get_by_label("Quiet from")).to_have_value("19:00")
    worker.get_by_label("Quiet from").fill("18:00")
    worker.get_by_role("button", name="Save").tap()
    own = "here.people().some((one) => one.quiet_from === '18:00')"
    until(worker, f"{HOUSE}.then((here) => {own})")
    until_in_touch(worker)
    until(worker, f"{HOUSE}.then((here) => here.trayCount.value === 0)")
    rows = house.call("GET", "/api/v1/sync/pull?after=0&limit=1000")["rows"]["people"]
    assert {one["name"]: one.get("quiet_from") for one in rows} == {"Orla": None, "Dev": "18:00"}
    context.close()
