"""The first morning: an empty folder, a link on the owner's phone, the first lot by touch."""

from playwright.sync_api import Browser, expect
from tests.browser import PHONE

from e2e.house import LATER_MS, House, Walker, pair, until_in_touch
from e2e.measure import spills, sticks_out

pytest_plugins = ["e2e.house"]

NAMED = """() => import('/screens/save_unsent.js')
  .then(({ nameAt }) => nameAt(new Date('2026-09-10T20:40:00Z')))"""
TWIN = """async () => {
  const { device } = await import("/store/house.js");
  const at = new Date().toISOString();
  const twin = { id: crypto.randomUUID(), seq: 1, kind: "noted", lot: null, observed_at: at,
    by: null, data: { text: "twin" } };
  const body = JSON.stringify({ device: device.value, sent_at: at, events: [twin] });
  const headers = { "content-type": "application/json" };
  const answer = await fetch("/api/v1/sync/push", { method: "POST", headers, body });
  const said = await answer.json();
  return said.stored ? ["stored", said.stored.length] : [answer.status, said];
}"""


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


def test_an_owner_link_opens_once_and_the_owner_sees_which_phone_is_which(
    house: House, browser: Browser
):
    """What a phone is told of a link, and what the owner is told of phones, people and tokens."""
    first, second = (browser.new_context(**PHONE, timezone_id="Pacific/Auckland") for _ in range(2))
    owner = pair(first, house)
    page = second.new_page()
    page.goto(house.link)
    expect(page.get_by_text("This link was used already or is too old")).to_be_visible(
        timeout=LATER_MS
    )
    page.goto(f"{house.address}/#/lots")
    expect(page.get_by_text("This phone is not paired", exact=True)).to_be_visible()
    second.close()

    # The same link on the phone that it paired, and a reload after that.
    owner.goto(house.link)
    for _ in range(2):
        expect(owner.get_by_text("This phone is paired already.")).to_be_visible(timeout=LATER_MS)
        expect(owner.get_by_text("Kept on this phone:")).to_be_visible(timeout=LATER_MS)
        assert owner.evaluate("() => location.hash") == "#/pair"
        owner.reload()
    owner.route("**/api/v1/pairings/redeem", lambda route: route.abort())
    owner.evaluate("() => { location.hash = '#/pair/another'; }")
    again = owner.get_by_role("button", name="Try again")
    expect(again).to_be_visible(timeout=LATER_MS)
    owner.unroute("**/api/v1/pairings/redeem")
    # It may have tried again by itself by now.
    owner.evaluate("""() => [...document.querySelectorAll("button")]
      .find((one) => one.textContent.includes("Try again"))?.click()""")
    expect(owner.get_by_text("This phone is paired already.")).to_be_visible(timeout=LATER_MS)

    owner.evaluate("() => { location.hash = '#/nursery'; }")
    expect(owner.get_by_label("Time zone")).to_have_value("Pacific/Auckland")
    expect(owner.get_by_role("group", name="Hemisphere")).to_be_visible()
    expect(owner.get_by_role("group", name="First day of each season")).to_have_count(0)
    owner.get_by_label("Name", exact=True).fill("The lath house")
    # A way elsewhere and back loses nothing of it.
    owner.get_by_role("link", name="Back").click()
    owner.get_by_role("link", name="name, time zone").click()
    expect(owner.get_by_label("Name", exact=True)).to_have_value("The lath house")
    owner.get_by_role("button", name="Save").click()
    expect(owner.get_by_role("alert")).to_contain_text("in which half of the world")
    owner.get_by_role("button", name="south", exact=True).click()
    owner.get_by_role("button", name="Save").click()
    expect(owner.get_by_role("button", name="Save")).to_have_count(0)

    owner.evaluate("() => { location.hash = '#/people'; }")
    long = "Anne" * 18
    owner.get_by_label("Name", exact=True).fill(long)
    owner.get_by_role("button", name="viewer: looks only").click()
    owner.get_by_role("button", name="Add", exact=True).click()
    shown = owner.locator(".people summary strong", has_text=long)
    expect(shown).to_be_visible()
    worker = owner.get_by_role("button", name="worker: records, takes on alerts").last
    expect(worker).to_have_attribute("aria-pressed", "true")
    assert sticks_out(owner) + spills(owner) == []
    phones = owner.locator(".people").last
    expect(phones.locator(".this-phone")).to_have_count(1)
    phones.get_by_role("button", name="Name it").click()
    phones.get_by_label("What this phone is called").fill("Shed door")
    phones.get_by_role("button", name="Save").click()
    expect(phones.locator("strong")).to_have_text("Shed door")
    until_in_touch(owner)
    assert house.call("GET", "/api/v1/phones")["phones"][0]["name"] == "Shed door"

    owner.get_by_role("link", name="Scripts and sensors").click()
    owner.get_by_role("button", name="Make it").click()
    expect(owner.get_by_role("alert")).to_have_text("What it is for is missing.")
    owner.get_by_label("What it is for").fill("fridge")
    owner.get_by_role("button", name="Make it").click()
    expect(owner.get_by_role("button", name="Copy it")).to_be_visible(timeout=LATER_MS)
    expect(owner.get_by_role("button", name="Make it")).to_have_count(0)
    owner.get_by_role("button", name="It is kept").click()
    owner.evaluate("() => { location.hash = '#/settings'; }")
    expect(owner.get_by_role("button", name=long)).to_have_count(0)
    # Nor does a viewer carry a phone that records.
    owner.evaluate("() => { location.hash = '#/reminders'; }")
    expect(owner.locator(".page-reminders .choice").first).to_be_visible()
    expect(owner.get_by_role("button", name=long)).to_have_count(0)
    # The saved file has the day of the phone's own calendar (Auckland: UTC+12, IANA tzdata).
    assert owner.evaluate(NAMED) == "lathhouse-unsent-2026-09-11-08-40.txt"

    # A phone that was set up from a backup of this one sends another record under the same number.
    assert owner.evaluate(TWIN) == ["stored", 1]
    owner.evaluate("() => { location.hash = '#/people'; }")
    expect(phones.locator(".error")).to_contain_text("Two phones use one number")
    owner.get_by_role("button", name="Cut off").click()
    expect(phones).to_contain_text("This is the phone in your hand.")
    expect(phones).to_contain_text("No other phone is let in as the owner's.")
    owner.get_by_role("button", name="Cut it off now").click()
    expect(owner.get_by_role("alert")).to_have_text("This phone is not let in any more.")
    first.close()
