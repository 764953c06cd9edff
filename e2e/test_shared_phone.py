"""A phone that several people share asks who is recording, and takes the answer for what it is."""

from typing import Any

from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.house import until
from lathhouse.demo.scenario import place_id
from lathhouse.demo.story import name_id

pytest_plugins = ["e2e.demo"]
RESTED_MS = 2 * 3_600_000
SHARED = """() => import('/store/preferences.js').then((kept) => kept.setShared(true))"""
LOT = """(label) => import('/store/house.js').then((house) =>
  [...house.lots.value.values()].find((one) => one.label === label).id)"""
LOOKS_ON = """(id) => Promise.all([import('/store/house.js'), import('/store/record.js')])
  .then(([house, { record }]) => {
    const { revision, shipped, folded_at, ...row } = house.one('person', id);
    return record('person_changed', null, { ...row, role: 'viewer' });
  })"""
# As the server says it, in a row that this page has not read yet.
SAID_TO_LOOK_ON = """(id) => import('/store/database.js').then(({ durably }) =>
  durably(['rows'], async (tx) => {
    const row = await tx.objectStore('rows').get(`person:${id}`);
    const data = JSON.stringify({ ...JSON.parse(row.data), role: 'viewer' });
    await tx.objectStore('rows').put({ ...row, data });
  }))"""
LOOKS = """import('/store/house.js').then((house) =>
  house.pending.value.filter((one) => one.kind === 'looked'))"""


def last_look(page: Page, count: int) -> tuple[str | None, bool]:
    """Wait until so many looks are saved here; return whose the last is, and whether it is said."""
    until(page, f"{LOOKS}.then((looks) => looks.length === given)", count)
    event: dict[str, Any] = page.evaluate(f"() => {LOOKS}.then((looks) => looks.at(-1))")
    return event["by"], event.get("by_said", False)


def go(page: Page, route: str) -> None:
    page.evaluate("(route) => { location.hash = route; }", route)
    page.clock.run_for(500)


def look(page: Page) -> None:
    """Record the state that the button says of the lot that is shown."""
    page.get_by_role("button", name="Moist, no damping-off").click()
    page.clock.run_for(500)


def test_a_shared_phone_asks_at_the_start_of_each_round_and_after_a_rest(
    own_demo: Served, open_app: OpenApp
):
    """With no signal: one touch names somebody or nobody, and no record waits for an answer."""
    page = open_app(own_demo)
    until_filled(page)
    page.evaluate(SHARED)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.context.set_offline(True)
    bench = f"#/walk/{place_id('Lath house, south bench')}"
    go(page, bench)
    asked = page.locator(".page-who")
    expect(asked).to_contain_text("proves nothing")
    asked.get_by_role("button", name="Mele").click()
    expect(page.locator(".page-walk .where")).to_contain_text("said: Mele")
    page.clock.run_for(500)
    label = page.locator(".page-walk .label .code").inner_text()
    look(page)
    assert last_look(page, 1) == (name_id("Mele"), True)
    go(page, f"#/lot/{page.evaluate(LOT, label)}")
    expect(page.locator(".record").first).to_contain_text("said to be Mele")
    go(page, "#/")
    said = page.get_by_role("link", name="Recording, as was said: Mele")
    expect(said).to_be_visible()
    said.click()
    asked.get_by_role("button", name="Nobody named").click()
    expect(page.locator(".page-round")).to_contain_text("Recording: nobody named")
    go(page, bench)
    look(page)
    assert last_look(page, 2) == (None, False)
    page.clock.fast_forward(RESTED_MS)
    page.clock.run_for(60_000)
    expect(asked).to_be_visible()
    # A record of elsewhere does not wait for the answer; it names nobody.
    record = "(lot) => import('/store/record.js').then((one) => one.record('looked', lot, {}))"
    assert page.evaluate(record, page.evaluate(LOT, label))["by"] is None
    asked.get_by_role("button", name="Orla").click()
    expect(page.locator(".page-walk .where")).to_contain_text("said: Orla")
    page.evaluate("() => import('/store/preferences.js').then((kept) => kept.endRound())")
    go(page, "#/")
    go(page, f"#/walk/{place_id('Seed shelf')}")
    expect(asked).to_be_visible()
    # A cover is somebody's too: the tap waits for the answer and is recorded with it.
    go(page, "#/frost")
    page.locator(".cover-place:not(.on)").first.click()
    asked.get_by_role("button", name="Mele").click()
    until(
        page,
        "import('/store/house.js').then((house) => house.pending.value.at(-1).kind === 'covered')",
    )
    covered = page.evaluate(
        "() => import('/store/house.js').then((house) => house.pending.value.at(-1))"
    )
    assert (covered["by"], covered["by_said"]) == (name_id("Mele"), True)
    expect(page.locator(".page-frost")).to_contain_text("by Mele (as was said)")
    # Who only looks on by now records no more: it asks again, and does not offer the name.
    # What is recorded where nobody asks is nobody's.
    assert page.evaluate(record, page.evaluate(LOT, label))["by"] == name_id("Mele")
    page.evaluate(LOOKS_ON, name_id("Mele"))
    assert page.evaluate(record, page.evaluate(LOT, label))["by"] is None
    go(page, bench)
    expect(asked.get_by_role("button", name="Orla")).to_be_visible()
    expect(asked.get_by_role("button", name="Mele")).to_have_count(0)
    asked.get_by_role("button", name="Orla").click()
    expect(page.locator(".page-walk .where")).to_contain_text("said: Orla")
    page.evaluate(SAID_TO_LOOK_ON, name_id("Orla"))
    assert page.evaluate(record, page.evaluate(LOT, label))["by"] is None
    page.context.set_offline(False)
