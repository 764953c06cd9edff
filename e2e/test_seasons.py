"""A change of hemisphere, or of the owner's own first days, moves every plan at once, offline."""

from playwright.sync_api import Page, expect

from e2e.demo import OpenApp, Served, until_filled

pytest_plugins = ["e2e.demo"]
ANOTHERS = """() => import('/store/house.js').then(({ session }) => {
  session.value = { ...session.value, person: 'another' };
})"""


def collected(page: Page) -> str:
    """Return what the crop's own page says of collecting it."""
    page.evaluate("location.hash = '#/crop/syringa-vulgaris'")
    return page.locator(".crop-year li").first.inner_text()


def test_a_change_of_hemisphere_and_own_first_days_move_the_plan_at_once_without_signal(
    demo: Served, open_app: OpenApp
) -> None:
    page = open_app(demo)
    until_filled(page)
    assert "1 Mar 2027 – 31 May 2027" in collected(page)
    page.evaluate("location.hash = '#/nursery'")
    expect(page.get_by_role("button", name="north")).to_be_visible()
    # Never heard again: nothing of this reaches the server that other tests share.
    page.context.set_offline(True)
    page.get_by_role("button", name="north").click()
    expect(page.get_by_label("Latitude, degrees")).to_have_value("33.6")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("button", name="Save")).to_have_count(0)
    assert "1 Sep – 30 Nov" in collected(page)
    page.evaluate("location.hash = '#/nursery'")
    page.get_by_label("Spring", exact=True).fill("03-20")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("all four")
    for season, day in (("Summer", "06-21"), ("Autumn", "09-22"), ("Winter", "12-21")):
        page.get_by_label(season, exact=True).fill(day)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("button", name="Save")).to_have_count(0)
    assert "22 Sep – 20 Dec" in collected(page)
    # What is not saved stays on a way elsewhere and back, and goes with whose phone it was.
    page.evaluate("location.hash = '#/nursery'")
    page.get_by_label("Spring", exact=True).fill("03-21")
    assert "22 Sep – 20 Dec" in collected(page)
    page.evaluate("location.hash = '#/nursery'")
    expect(page.get_by_label("Spring", exact=True)).to_have_value("03-21")
    page.evaluate(ANOTHERS)
    expect(page.get_by_label("Spring", exact=True)).to_have_value("03-20")


def test_a_row_of_the_year_opens_its_lot(demo_page: Page) -> None:
    demo_page.evaluate("location.hash = '#/year'")
    rows = demo_page.locator(".page-year .year-group li a")
    expect(rows).to_have_count(30)
    first = rows.first.locator("strong").first.inner_text()
    rows.first.click()
    expect(demo_page.locator(".page-lot h1")).to_have_text(first)


def test_a_nursery_without_lots_is_told_what_will_be_drawn(
    empty_nursery: Served, open_app: OpenApp
) -> None:
    # Out of reach, or a phone that nobody let in would be told so in its place.
    def away(page: Page) -> None:
        page.route("**/api/**", lambda route: route.abort())

    page = open_app(empty_nursery, "#/year", before=away)
    expect(page.locator(".page-year .empty")).to_contain_text("No lots yet")
