"""Frost evening and morning: one alert, places covered by one touch each, without a network."""

import json

from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.house import LATER_MS, until
from lathhouse.store.models import Event, db

pytest_plugins = ["e2e.demo"]
AFTERNOON = "2026-09-10T15:00:00+10:00"
OPEN = ".cover-place:not(.on)"
COVERED = ".cover-place.on"
# Within one frame of the page's own time, however slow the machine is.
TWICE = """(open) => {
  document.querySelector(open).click();
  requestAnimationFrame(() => document.querySelector(open)?.click());
}"""
SETTLED = ".cover-list[aria-busy=false]"


def open_frost(server: Served, open_app: OpenApp, at: str) -> Page:
    """Open the covering list on a phone at a local time of the story's day."""
    server.clock.set(at)
    page = open_app(server, before=lambda page: page.clock.set_system_time(at))
    until_filled(page)
    page.evaluate("() => { location.hash = '#/frost'; }")
    expect(page.locator(".page-frost")).to_be_visible()
    return page


def meant(server: Served) -> list[float | None]:
    """Return for how cold a night each cover was put on, in order."""
    with server.app.app_context():
        rows = db.session.query(Event).filter(Event.kind == "covered", Event.lot_id.is_(None))
        told = [json.loads(row.body)["data"] for row in rows.order_by(Event.position)]
    return [data.get("for_low_c") for data in told]


def kinds(server: Served) -> list[str]:
    """Return the kinds of what was recorded about covers, in order."""
    with server.app.app_context():
        rows = db.session.query(Event).filter(Event.kind.in_(["covered", "uncovered"]))
        return [row.kind for row in rows.order_by(Event.position) if row.lot_id is None]


def test_offline_each_place_is_one_touch_and_the_alert_is_gone(own_demo: Served, open_app: OpenApp):
    page = open_frost(own_demo, open_app, AFTERNOON)
    expect(page.locator(".figure")).to_contain_text("2 °C")
    expect(page.locator(".frost-figure")).to_contain_text("21 h old")
    expect(page.locator(".frost-figure")).to_contain_text("between −1 and 2 °C")
    expect(page.locator(".frost-figure")).to_contain_text("17:49")
    # In walking order.
    expect(page.locator(f"{OPEN} strong").nth(0)).to_have_text("Lath house, south bench")
    expect(page.locator(f"{OPEN} strong").nth(1)).to_have_text("Frost corner")
    page.get_by_role("link", name="Back").tap()
    expect(page.locator("a.worst[href='#/frost']")).to_contain_text("Frost tonight: 2 °C")
    page.locator("a.worst[href='#/frost']").tap()
    page.context.set_offline(True)
    # A wet thumb taps twice: the next place has moved up under it, and stays as it is.
    page.evaluate(TWICE, OPEN)
    expect(page.locator(OPEN)).to_have_count(1)
    page.get_by_role("button", name="Undo").tap()
    expect(page.locator(OPEN)).to_have_count(2)
    expect(page.locator(SETTLED)).to_have_count(2)
    page.locator(OPEN).first.tap()
    expect(page.locator(OPEN)).to_have_count(1)
    expect(page.locator(SETTLED)).to_have_count(2)
    page.locator(OPEN).first.tap()
    expect(page.get_by_text("Nothing tender stands uncovered.")).to_be_visible()
    expect(page.locator(COVERED).last).to_contain_text("since today 15:00")
    expect(page.locator(SETTLED)).to_have_count(2)
    # It stays on, and stays what it was put on for: a colder figure is still asked about.
    page.get_by_role("button", name="It stays on until").last.tap()
    page.get_by_role("button", name="3 more days").tap()
    expect(page.locator(COVERED).last).to_contain_text("stays on until")
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.locator(".page-round")).to_be_visible()
    expect(page.get_by_text("Frost tonight")).to_have_count(0)
    page.context.set_offline(False)
    page.wait_for_function(
        "() => /server/.test(document.querySelector('[role=status]').textContent)",
        timeout=LATER_MS,
    )
    assert kinds(own_demo) == ["covered", "covered", "covered", "covered"]
    assert meant(own_demo) == [2, 2, 2, None]


def test_in_the_morning_a_touch_uncovers_or_says_that_it_stays_on(
    own_demo: Served, open_app: OpenApp
):
    page = open_frost(own_demo, open_app, "2026-09-10T09:30:00+10:00")
    here = page.locator(COVERED)
    expect(here).to_have_count(1)
    expect(here).to_contain_text("since yesterday 16:45, by Dev")
    page.get_by_role("button", name="It stays on until").tap()
    page.get_by_role("button", name="3 more days").tap()
    expect(here).to_contain_text("stays on until")
    # It is the same cover: since when and by whom stays as it was.
    expect(here).to_contain_text("since yesterday 16:45, by Dev")
    expect(page.locator(SETTLED)).to_have_count(2)
    here.tap()
    expect(page.locator(COVERED)).to_have_count(0)


# A lot in new flush that stands in no place, and a cover of its own over the first lot of a bench.
LOOSE_AND_PART = """async (bench) => {
  const { record } = await import("/store/record.js");
  const { lots, places } = await import("/store/house.js");
  const id = crypto.randomUUID();
  const pots = { crop: "acer-palmatum", label: "26-LOOSE", quantity: 9, unit: "plants" };
  await record("lot_started", id, { ...pots, container_l: 2 });
  await record("looked", id, { new_flush: true });
  const place = places().find(({ name }) => name === bench).id;
  const { openPlaces } = await import("/ui/frost_list.js");
  const there = openPlaces().open.find((one) => one.place?.id === place).lots;
  await record("covered", there[0].lot.id, { for_low_c: 2 });
  return [there[0].lot.id, there.length];
}"""
OWN = """(id) => import("/store/house.js").then(({ lots, places }) => {
  const lot = lots.value.get(id);
  return [lot.cover?.until ?? null, places().find((one) => one.id === lot.place).covered ?? null];
})"""


def test_lots_without_a_place_and_covers_over_a_part_of_one_are_handled_like_others(
    own_demo: Served, open_app: OpenApp
):
    page = open_frost(own_demo, open_app, AFTERNOON)
    bench, loose = "Lath house, south bench", "Lots without a place"
    lot, tender = page.evaluate(LOOSE_AND_PART, bench)
    assert tender > 1
    # In walking order, what stands nowhere last; a bench in both lists says which part is in each.
    expect(page.locator(f"{OPEN} strong")).to_have_text([bench, "Frost corner", loose])
    expect(page.locator(COVERED).first).to_contain_text(f"1 of {tender} tender")
    # The cover over a part stays on over that part: nothing else is covered by that.
    page.get_by_role("button", name="It stays on until").first.tap()
    page.get_by_role("button", name="3 more days").tap()
    expect(page.locator(COVERED).first).to_contain_text("stays on until")
    expect(page.locator(f"{OPEN} strong")).to_have_text([bench, "Frost corner", loose])
    assert page.evaluate(OWN, lot) == ["2026-09-14", None]
    expect(page.locator(SETTLED)).to_have_count(2)
    page.locator(OPEN).last.tap()
    expect(page.locator(f"{COVERED} strong")).to_have_text([bench, "Frost corner", loose])
    expect(page.get_by_role("status").filter(has_text=loose)).to_be_visible()
    expect(page.locator(SETTLED)).to_have_count(2)
    page.locator(COVERED).last.tap()
    expect(page.locator(f"{OPEN} strong")).to_have_text([bench, "Frost corner", loose])


def test_a_typed_low_takes_the_place_of_the_old_one(own_demo: Served, open_app: OpenApp):
    page = open_frost(own_demo, open_app, AFTERNOON)
    page.get_by_role("button", name="Type the low").tap()
    page.get_by_role("button", name="below zero").tap()
    for key in ("1", ".", "5"):
        page.get_by_role("group", name="Forecast low").get_by_text(key, exact=True).tap()
    page.get_by_role("button", name="Save").tap()
    expect(page.locator(".figure")).to_contain_text("−1.5 °C")
    expect(page.locator(".frost-figure")).to_contain_text("0 min old")
    expect(page.locator(".frost-figure")).to_contain_text("between −4.5 and −1.5 °C")


def test_a_colder_figure_asks_for_a_second_cover_where_one_was_put_on(
    own_demo: Served, open_app: OpenApp
):
    """More than 2 °C colder than it was put on for (ours)."""
    page = open_frost(own_demo, open_app, AFTERNOON)
    for left in (1, 0):
        page.locator(OPEN).first.tap()
        expect(page.locator(OPEN)).to_have_count(left)
        expect(page.locator(SETTLED)).to_have_count(2)
    second = page.get_by_role("button", name="Second cover on")
    expect(second).to_have_count(0)
    page.get_by_role("button", name="Type the low").tap()
    page.get_by_role("button", name="below zero").tap()
    page.get_by_role("group", name="Forecast low").get_by_text("3", exact=True).tap()
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_text("Put on for 2 °C; tonight −3 °C.")).to_have_count(2)
    assert (second.first.bounding_box() or {})["height"] >= 60
    second.first.tap()
    expect(second).to_have_count(1)
    expect(page.get_by_role("status").filter(has_text="has a second cover")).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(second).to_have_count(2)
    for left in (1, 0):
        expect(page.locator(SETTLED)).to_have_count(2)
        second.first.tap()
        expect(second).to_have_count(left)
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.locator(".weather")).to_contain_text("−3°")
    expect(page.get_by_text("Frost tonight")).to_have_count(0)


def test_after_midnight_a_typed_low_is_of_the_night_under_way(own_demo: Served, open_app: OpenApp):
    page = open_frost(own_demo, open_app, "2026-09-11T01:30:00+10:00")
    # The evening's forecast of the day before is not shown as if it were fresh.
    expect(page.locator(".frost-figure")).to_contain_text("This figure is old")
    expect(page.locator(".frost-figure")).to_contain_text("The sun set at 17:49")
    page.get_by_role("button", name="Type the low").tap()
    page.get_by_role("button", name="below zero").tap()
    page.get_by_role("group", name="Forecast low").get_by_text("6", exact=True).tap()
    expect(page.get_by_role("button", name="tonight, to the morning of 11 Sep")).to_be_visible()
    expect(page.get_by_role("button", name="night, to the morning of 12 Sep")).to_be_visible()
    page.get_by_role("button", name="Save").tap()
    expect(page.locator(".undo-bar")).to_contain_text("Low to the morning of 11 Sep: −6 °C")
    expect(page.locator(".figure")).to_contain_text("−6 °C")
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.locator(".weather")).to_contain_text("−6°")
    # The sun rises at about 06:06: until then it is the same night, on the round and in its flag.
    page.clock.set_system_time("2026-09-11T06:03:00+10:00")
    page.reload()
    expect(page.locator(".weather")).to_contain_text("−6°")
    expect(page.locator("a.worst[href='#/frost']")).to_contain_text("Frost tonight")


def test_months_later_the_round_says_that_no_figure_is_known_and_a_frost_is_the_first(
    own_demo: Served, open_app: OpenApp
):
    """Nothing covered for 120 days (ours) is another cold season."""
    page = open_frost(own_demo, open_app, "2026-09-10T09:30:00+10:00")
    page.locator(COVERED).tap()
    expect(page.locator(COVERED)).to_have_count(0)
    page.wait_for_function(
        "() => /server/.test(document.querySelector('[role=status]').textContent)"
    )
    page = open_frost(own_demo, open_app, "2027-03-10T15:00:00+11:00")
    page.evaluate("() => { location.hash = '#/'; }")
    told = page.locator(".weather")
    expect(told).to_contain_text(
        "No figure for tonight: type the low. The last, 2°, is 181 days old"
    )
    # A figure for tomorrow night is not told as tonight's last.
    page.evaluate("() => { location.hash = '#/frost'; }")
    page.get_by_role("button", name="Type the low").tap()
    page.get_by_role("button", name="tomorrow night").tap()
    page.get_by_role("group", name="Forecast low").get_by_text("3", exact=True).tap()
    page.get_by_role("button", name="Save").tap()
    expect(page.locator(".undo-bar")).to_contain_text("3 °C")
    expect(page.locator(".frost-figure")).not_to_contain_text("The last")
    page.evaluate("() => { location.hash = '#/'; }")
    expect(told).to_have_text("No figure for tonight: type the low")
    told.tap()
    expect(page.locator(".frost-figure")).to_contain_text("No forecast for tonight.")
    page.get_by_role("button", name="Read a forecast").tap()
    button = "(input) => getComputedStyle(input, '::file-selector-button').height"
    assert page.locator("input[type=file]").evaluate(button) == "60px"
    page.get_by_role("button", name="Go back").tap()
    page.get_by_role("button", name="Type the low").tap()
    page.get_by_role("group", name="Forecast low").get_by_text("2", exact=True).tap()
    page.get_by_role("button", name="Save").tap()
    expect(page.locator(".frost-figure")).to_contain_text("The first frost of this cold season")
    # What comes in meanwhile leaves a figure that is being typed alone.
    page.evaluate("() => { location.hash = '#/places'; }")
    height = page.get_by_label("Frost corner: height of its thermometer, m")
    height.fill("999")
    height.blur()
    expect(page.get_by_role("alert")).to_contain_text("Its thermometer hangs at, m")
    height.fill("1.5")
    height.blur()
    row = """import('/store/house.js').then((house) =>
      house.places().find((one) => one.name === 'Frost corner').sensor_height_m === 1.5)"""
    until(page, row)
