"""A phone that leaves the nursery is emptied, and loses nothing by it (OWASP ASVS 5.0, V14.3.1)."""

from collections.abc import Callable

from playwright.sync_api import Page, expect
from tests.browser import PersistentPhone

from e2e.house import House, lot_events, pair, place, until, until_in_touch

pytest_plugins = ["e2e.house"]
RECORD = """async (lot) => {
  const { record } = await import("/store/record.js");
  await record("looked", lot, { moisture: 3 });
}"""
SIGNED_OUT = "import('/store/house.js').then((house) => house.contact.value.state === 'signed-out')"
# What of the nursery is left: rows and records, and what is kept under a name.
LEFT = """async () => {
  const { reading, STORES } = await import("/store/database.js");
  const counts = await reading((db) => Promise.all(STORES.map((name) => db.count(name))));
  return Object.fromEntries(STORES.map((name, n) => [name, counts[n]]));
}"""


def cut_off(house: House, page: Page) -> None:
    """Cut the phone off, and let it hear of it."""
    (phone,) = [one for one in house.call("GET", "/api/v1/phones")["phones"] if one["lets_in"]]
    house.call("POST", f"/api/v1/phones/{phone['id']}/cut-off", {})
    # Only now: with a signal before, it would have sent what it holds.
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    until(page, SIGNED_OUT)


def go(page: Page, route: str) -> None:
    page.evaluate("(route) => { location.hash = route; }", route)


def test_a_phone_is_emptied_once_it_is_cut_off_and_all_is_sent(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    lot, events = lot_events(house, "L1", place(house, "Bench", 1), 9)
    house.record(events)
    phone = persistent_phone("grower")
    page = pair(phone.open(), house)
    empty = page.get_by_role("button", name="Empty this phone now")
    go(page, "#/empty")
    expect(page.get_by_text("This phone is let in still.")).to_be_visible()
    expect(empty).to_have_count(0)

    page.context.set_offline(True)
    page.evaluate(RECORD, lot)
    cut_off(house, page)
    go(page, "#/")
    said = page.locator(".foot .left")
    expect(said).to_contain_text("The owner must let this phone in again.")
    said.click()
    expect(
        page.get_by_text("They go once the owner has let it in again, or as a file.")
    ).to_be_visible()
    page.get_by_role("link", name="Empty this phone").click()
    expect(page.get_by_text("1 record is on this phone alone.")).to_be_visible()
    expect(page.get_by_role("button", name="Save a file of what is unsent")).to_be_visible()
    expect(empty).to_have_count(0)

    # Let in to look on only, it keeps them, and says how they get to the server.
    link = house.call("POST", "/api/v1/pairings", {"role": "viewer"})["link"]
    page.goto(link)
    expect(page.get_by_text("This phone is paired.")).to_be_visible(timeout=60_000)
    go(page, "#/unsent")
    expect(page.get_by_text("They go as a file, or once the owner lets it record")).to_be_visible()

    link = house.call("POST", "/api/v1/pairings", {"role": "worker"})["link"]
    page = pair(page.context, house, link)
    until_in_touch(page)
    assert len(house.events("looked")) == 1
    cut_off(house, page)
    go(page, "#/empty")
    empty.click()
    expect(page.get_by_text("This phone is empty. Nothing of the nursery")).to_be_visible(
        timeout=60_000
    )
    expect(page.get_by_role("link", name="Empty this phone")).to_have_count(0)
    left = page.evaluate(LEFT)
    assert len(left) > 6
    assert {name: count for name, count in left.items() if count and name != "meta"} == {}
    assert page.evaluate("() => Object.keys(localStorage)") == []
