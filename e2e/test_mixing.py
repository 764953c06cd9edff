"""A bucket mixed by touch alone, a label that cannot be read, and the fridge's plot."""

from typing import Any

from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.house import LATER_MS
from lathhouse.demo.story import name_id
from lathhouse.store.models import Event, db

pytest_plugins = ["e2e.demo"]
SENT = "() => /all on the server/.test(document.querySelector('[role=status]').textContent)"


def open_at(server: Served, open_app: OpenApp, route: str, **more: Any) -> Page:
    page = open_app(server, **more)
    until_filled(page)
    page.evaluate("(route) => { location.hash = route; }", route)
    return page


def tap(page: Page, taps: list[str], name: str) -> None:
    page.get_by_role("button", name=name).first.tap()
    taps.append(name)


def test_a_bucket_is_mixed_by_touch_alone_in_at_most_six_taps(own_demo: Served, open_app: OpenApp):
    """15 % by volume of a bottle of 40 g/L: 600 mL in 4 L, 6,000 ppm (arithmetic)."""
    page, taps = open_at(own_demo, open_app, "#/bench"), list[str]()
    page.get_by_role("link", name="Mix bleach").first.tap()
    taps.append("Mix bleach")
    expect(page.get_by_text("Never with acids")).to_be_visible()
    for name in ("I have read this", "g/L available chlorine", "40 g/L"):
        tap(page, taps, name)
    for words in ("3,400 mL", "600 mL", "6,000 ppm"):
        expect(page.locator(".pour")).to_contain_text(words)
    tap(page, taps, "Mixed: start its clock")
    expect(page.locator(".tag")).to_contain_text("6,000 ppm", timeout=LATER_MS)
    assert len(taps) <= 6
    page.wait_for_function(SENT, timeout=LATER_MS)
    with own_demo.app.app_context():
        bodies = [row.body for row in db.session.query(Event).filter_by(kind="solution_mixed")]
    assert any('"product_ml":600' in body.replace(" ", "") for body in bodies)


def test_a_label_that_cannot_be_read_is_refused_with_what_to_do_instead(
    demo: Served, open_app: OpenApp
):
    page, taps = open_at(demo, open_app, "#/mixing"), list[str]()
    tap(page, taps, "I have read this")
    tap(page, taps, "It cannot be read")
    expect(page.get_by_role("alert")).to_contain_text("does not guess")
    expect(page.get_by_role("alert")).to_contain_text("test strip")
    expect(page.get_by_role("button", name="Mixed")).to_have_count(0)


def test_a_bare_ratio_shows_both_readings_and_mixes_neither(demo: Served, open_app: OpenApp):
    page, taps = open_at(demo, open_app, "#/mixing"), list[str]()
    for name in ("I have read this", "g/L available chlorine", "40 g/L", "wanted", "Said in"):
        tap(page, taps, name)
    tap(page, taps, "as the recipe writes it")
    tap(page, taps, "10 as written")
    expect(page.get_by_role("button", name="1 part in 10")).to_contain_text("4,000 ppm")
    expect(page.get_by_role("button", name="1 part to 10")).to_contain_text("3,636 ppm")
    expect(page.get_by_role("button", name="Mixed")).to_be_disabled()


def test_more_than_usual_asks_why_before_it_is_recorded(own_demo: Served, open_app: OpenApp):
    """15 % of a 12.5 % drum is 18,750 ppm (arithmetic); the limit of 10,000 is ours."""
    page, taps = open_at(own_demo, open_app, "#/mixing"), list[str]()
    for name in ("I have read this", "% available chlorine", "12.5 %"):
        tap(page, taps, name)
    expect(page.locator(".pour")).to_have_count(0)
    tap(page, taps, "Say why so strong")
    expect(page.get_by_role("heading", name="Why so strong?").first).to_be_visible()
    tap(page, taps, "A trial on a part of the lot")
    tap(page, taps, "Keep this reason")
    tap(page, taps, "Mixed: start its clock")
    expect(page.locator(".tag")).to_contain_text("18,750 ppm", timeout=LATER_MS)


def test_a_reading_by_hand_moves_the_fridges_plot_at_once(own_demo: Served, open_app: OpenApp):
    page = open_at(own_demo, open_app, "#/bench")
    page.locator(".cards a", has_text="Shed fridge").tap()
    expect(page.locator(".fridge-plot")).to_be_visible()
    expect(page.locator(".page-fridge")).to_contain_text("· middle ")
    page.get_by_label("Read it now").fill("4.6")
    page.locator(".page-fridge .foot").get_by_role("button", name="Save").tap()
    expect(page.locator(".fridge-now")).to_contain_text("4.6 °C")


def test_a_bucket_s_tag_is_printed_copied_and_leads_to_the_bench(demo_page: Page):
    page = demo_page
    page.evaluate("() => { window.printed = 0; window.print = () => { window.printed += 1; }; }")
    page.evaluate("(route) => { location.hash = route; }", f"#/tag/{name_id('bench bucket')}")
    foot = page.locator(".page-tag .foot")
    foot.get_by_role("button", name="Print").tap()
    page.wait_for_function("() => window.printed === 1")
    foot.get_by_role("button", name="Copy").tap()
    expect(foot.get_by_role("status")).to_contain_text("opi")
    foot.get_by_role("link", name="bench").tap()
    expect(page.locator(".page-bench")).to_be_visible()
