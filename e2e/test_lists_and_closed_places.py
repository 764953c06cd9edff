"""What never rings is listed for the season; a place that was sprayed says until when."""

import os

import pytest
from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from lathhouse.demo.scenario import code, lot_id, place_id

pytest_plugins = ["e2e.demo"]


@pytest.fixture
def phone(own_demo: Served, open_app: OpenApp) -> Page:
    """A phone on a demo of its own."""
    page = open_app(own_demo)
    until_filled(page)
    return page


def go(page: Page, route: str) -> None:
    page.evaluate("(route) => { location.hash = route; }", route)
    expect(page.locator(f".page-{route.split('/')[1] or 'round'}")).to_be_visible()


def picture(page: Page, name: str) -> None:
    """Keep a picture where the environment names a folder for them."""
    if folder := os.environ.get("LATHHOUSE_PICTURES"):
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


def test_what_is_to_be_potted_on_or_priced_is_listed_and_counts_as_no_alert(phone: Page) -> None:
    """The demo's witch hazel with circling roots and its dogwood of a second winter."""
    season = phone.get_by_role("link", name="2 lots on this season's lists")
    expect(season).to_be_visible()
    picture(phone, "round")
    season.tap()
    listed = phone.locator(".page-season .cards li")
    expect(listed).to_have_count(2)
    expect(listed.first).to_contain_text(code("CK-23-1"))
    picture(phone, "season")
    listed.filter(has_text=code("HV-25-1")).get_by_role("link").tap()
    expect(phone.locator(".page-lot")).to_contain_text("On this season's list: Pot on")
    go(phone, "#/alerts")
    expect(phone.locator(".alert", has_text=code("HV-25-1"))).to_have_count(0)
    picture(phone, "lot-listed")


def test_a_sprayed_place_and_its_lots_say_until_when(phone: Page) -> None:
    """Entry and sale by the label's own intervals; recorded on this phone, said at once."""
    phone.evaluate(
        """async ([lot, place]) => {
          const { record } = await import("/store/record.js");
          const { now } = await import("/store/house.js");
          const spray = { product: "oil spray", reason: "scale", rate_value: 10, rate_unit: "mL/L",
            operator: "Orla", started_at: now.value, ended_at: now.value, rei_hours: 24,
            sale_hold_days: 3, places: [place] };
          await record("treated", lot, spray);
        }""",
        [lot_id("AP-23-1"), place_id("Four-litre bed A")],
    )
    expect(phone.locator(".stop", has_text="Four-litre bed A")).to_contain_text(
        "do not enter until"
    )
    picture(phone, "round-closed")
    go(phone, f"#/lot/{lot_id('AP-23-1')}")
    lot = phone.locator(".page-lot")
    expect(lot).to_contain_text("Sprayed: do not enter until tomorrow 08:4")
    expect(lot).to_contain_text("(oil spray)")
    picture(phone, "lot-closed")
    go(phone, f"#/walk/{place_id('Four-litre bed A')}/{lot_id('AP-23-1')}")
    expect(phone.locator(".page-walk .caution")).to_contain_text("do not enter until")
    picture(phone, "walk-closed")


def test_what_was_recorded_of_a_closed_lot_asks_which_of_the_two_is_right(phone: Page) -> None:
    """F26, with no signal: closed, counted by somebody who did not know, kept, then taken back."""
    lot = lot_id("AP-23-1")
    phone.evaluate(
        """async (lot) => {
          const { record } = await import("/store/record.js");
          const { now } = await import("/store/house.js");
          const ago = (minutes) => new Date(Date.parse(now.value) - minutes * 60_000).toISOString();
          await record("lot_closed", lot, { why: "sold out" }, { observedAt: ago(90) });
          await record("looked", lot, { moisture: 2 }, { observedAt: ago(30) });
        }""",
        lot,
    )
    go(phone, f"#/lot/{lot}")
    asked = phone.locator(".after-closing")
    expect(asked).to_contain_text("Closed, and not over?")
    picture(phone, "lot-after-closing")
    asked.get_by_role("button", name="Both are right").tap()
    expect(asked).to_have_count(0)
    phone.get_by_role("button", name="Undo").tap()
    asked.get_by_role("button", name="take back the closing").tap()
    expect(asked).to_have_count(0)
    closed_at = "import('/store/house.js').then((h) => h.lots.value.get(given).closed_at)"
    assert phone.evaluate(f"(given) => {closed_at}", lot) is None
