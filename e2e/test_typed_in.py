"""The list is printed, the phone dies, and the paper is typed in next day with its true times."""

from datetime import UTC, datetime, timedelta

from playwright.sync_api import BrowserContext, Page, expect
from tests.browser import PHONE

from e2e.house import (
    LATER_MS,
    House,
    lot_events,
    offline,
    online,
    pair,
    place,
    unsent,
    until,
    until_in_touch,
)

pytest_plugins = ["e2e.house"]
LOTS = 5
TIMES = ("07:10", "07:12", "07:15", "07:20", "07:31")
PRINTS = "() => { window.printed = 0; window.print = () => { window.printed += 1; }; }"


def go(page: Page, route: str) -> None:
    """Go to a screen."""
    page.evaluate("(route) => { location.hash = route; }", route)
    expect(page.locator(f".page-{route.removeprefix('#/')}")).to_be_visible(timeout=LATER_MS)


def test_a_paper_walk_is_typed_in_offline_with_the_times_at_which_it_was(
    house: House, browser: object
):
    """The nursery's zone is UTC; all five lots are due a look after eight days in the cold."""
    shed = place(house, "Shed fridge", 1, daily=False)
    ids: dict[str, str] = {}
    for number in range(LOTS):
        code = f"26-{number:03}"
        ids[code], first = lot_events(house, code, shed, 9, ("cold_started", {}, 8))
        house.record(first)
    due = {lot for (watch, lot), _ in house.alerts().items() if watch == "cold-look"}
    assert due == set(ids.values())

    context: BrowserContext = browser.new_context(**PHONE)  # type: ignore[attr-defined]
    page = pair(context, house)
    go(page, "#/morning")
    expect(page.locator(".sheet-lot")).to_have_count(LOTS, timeout=LATER_MS)
    page.evaluate(PRINTS)
    page.get_by_role("button", name="Print it").click()
    page.wait_for_function("() => window.printed === 1")
    order = [row.split()[0] for row in page.locator(".sheet-lot strong").all_inner_texts()]

    # The phone is dead all day; the next morning it starts again with no signal.
    offline(context, house)
    page.reload()
    until(page, "import('/store/house.js').then((house) => house.ready.value)")
    go(page, "#/typed")
    expect(page.locator(".page-typed main")).to_contain_text(f": {LOTS}")
    yesterday = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
    page.get_by_label("Day").fill(tomorrow)
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("alert")).to_contain_text("still to come")
    # A sheet of the server's is opened by its link, in its own order.
    page.evaluate(
        "(route) => { location.hash = route; }", f"#/typed/{yesterday}/06:50/{order[2]},{order[0]}"
    )
    expect(page.get_by_label("Day")).to_have_value(yesterday)
    expect(page.locator(".page-typed main")).to_contain_text("made at 06:50: 2 lots")
    page.get_by_role("button", name=f": {LOTS} lots").click()
    page.get_by_label("Day").fill(yesterday)
    page.get_by_role("button", name="Begin").click()
    # Nothing is recorded unless it is said: the large button leaves the first lot blank.
    page.get_by_role("button", name="Left blank").click()
    expect(page.locator(".page-typed .code")).to_have_text(order[1])
    page.get_by_role("button", name="Previous").click()
    assert unsent(page) == 0
    for number, (code, time) in enumerate(zip(order, TIMES, strict=True), start=1):
        expect(page.locator(".page-typed .code")).to_have_text(code)
        expect(page.locator(".where")).to_contain_text(f"{number} of {LOTS}")
        page.get_by_label("Looked at on").fill(time)
        answers = (("Mould?", "none"), ("Roots showing?", "none"), ("How wet is it?", "moist"))
        for question, answer in answers:
            group = page.get_by_role("group", name=question)
            group.get_by_role("button", name=answer, exact=True).click()
        page.get_by_role("button", name="Save:").click()
        if number == 2:
            # Taken back and typed in again: it is there once.
            page.get_by_role("button", name="Undo").click()
            expect(page.locator(".page-typed .code")).to_have_text(code)
            page.get_by_label("Note").fill("again")
            page.get_by_role("button", name="Save a look with this note").click()
    expect(page.locator(".told")).to_contain_text(f"{LOTS} of {LOTS} typed in")
    # Five looks, the one taken back, and its taking back.
    assert unsent(page) == LOTS + 2

    online(context, house)
    until_in_touch(page)
    voided = {event["data"]["of"] for event in house.events("voided")}
    looks = {event["lot"]: event for event in house.events("looked") if event["id"] not in voided}
    assert len(looks) == LOTS
    for code, time in zip(order, TIMES, strict=True):
        look = looks[ids[code]]
        assert look["typed"] is True
        assert look["at"] == f"{yesterday}T{time}:00.000Z"
        assert look["recorded_at"] > look["observed_at"]
        assert house.lots()[ids[code]]["last_look"]["at"] == look["at"]
    assert [watch for watch, lot in house.alerts() if lot in due] == []
    context.close()
