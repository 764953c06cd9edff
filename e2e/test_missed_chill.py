"""The alert that saves a chill: raised offline and on the server, cleared by a look."""

from collections.abc import Callable

from playwright.sync_api import expect
from tests.browser import PersistentPhone

from e2e.house import (
    LATER_MS,
    House,
    Walker,
    lot_events,
    offline,
    online,
    pair,
    place,
    until_in_touch,
)

pytest_plugins = ["e2e.house"]
SIX_WEEKS = "cold-six-weeks"


def test_a_chill_of_43_days_without_a_look_is_an_alarm_until_somebody_looks(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    """Six weeks at about 4 °C: common practice, no source."""
    fridge = place(house, "Shed fridge", 1, "shelf", daily=False)
    lot, events = lot_events(
        house, "26-017-R", fridge, 50, ("cold_started", {"where": "fridge", "temp_c": 4}, 43)
    )
    # Somebody was about: only the chill was missed.
    _, others = lot_events(house, "26-001-A", fridge, 9, ("looked", {}, 0.01))
    house.record(events + others)
    assert house.alerts()[SIX_WEEKS, lot] == "alarm"
    phone = persistent_phone("grower")
    page = pair(phone.open(), house)
    offline(phone.context, house)

    page.reload()
    expect(page.locator(".worst")).to_contain_text("26-017-R", timeout=LATER_MS)
    expect(page.locator(".worst")).to_contain_text("the six-week look is owed")
    expect(page.locator(".stop .level-alarm")).to_be_visible()

    walker = Walker(page)
    walker.begin()
    assert walker.look(("none", "none", "moist")) == "26-017-R"
    page.evaluate("() => { location.hash = '#/'; }")
    expect(page.locator(".where")).to_contain_text("1 saved here, not sent", timeout=LATER_MS)
    expect(page.locator(".stop .level-alarm")).to_have_count(0)

    online(phone.context, house)
    until_in_touch(page)
    assert (SIX_WEEKS, lot) not in house.alerts()
    assert (SIX_WEEKS, lot) in house.alerts("cleared")
    (look,) = [event for event in house.events("looked") if event["lot"] == lot]
    assert (look["data"]["fungus"], look["data"]["moisture"]) == ("none", 3)


def test_a_day_before_six_weeks_nothing_rings_and_the_day_itself_does(house: House):
    fridge = place(house, "Shed fridge", 1, "shelf", daily=False)
    early, events = lot_events(house, "A", fridge, 50, ("cold_started", {}, 41.99))
    late, more = lot_events(house, "B", fridge, 50, ("cold_started", {}, 42))
    house.record([*events, *more])
    standing = house.alerts()
    assert (SIX_WEEKS, early) not in standing
    assert standing[SIX_WEEKS, late] == "alarm"
