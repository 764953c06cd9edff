"""An alert is taken on, left until later for a reason, answered by its act, and seen to be over."""

import pytest
from playwright.sync_api import Page, Route, expect

from e2e.demo import OpenApp, Served, until_filled
from e2e.house import until_in_touch
from lathhouse.demo.scenario import lot_id, place_id

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


def test_lots_of_one_place_are_one_entry_that_opens_into_each(phone: Page) -> None:
    """Two soaks past their time at one bench are one entry; a place nobody walked holds a look."""
    go(phone, "#/alerts")
    soaks = phone.locator(".alert", has_text="Soak bench: Soak past its time")
    expect(soaks).to_have_count(1)
    soaks.get_by_role("button", name="Show the 2 lots").tap()
    expect(soaks.locator(".cards li")).to_have_count(2)
    tunnel = phone.locator(".alert", has_text="Seedling tunnel: not walked")
    tunnel.get_by_role("button", name="It stands for 1 look").tap()
    expect(tunnel.locator(".cards li")).to_have_count(1)
    # What is missing is said in sight, and the way on stays above the foot.
    soaks.get_by_role("button", name="Leave until").tap()
    phone.evaluate("() => scrollBy(0, -200)")
    save = soaks.get_by_role("button", name="Leave it until then")
    save.dispatch_event("click")
    expect(soaks.get_by_role("alert")).to_be_in_viewport()
    button, foot = save.bounding_box(), phone.locator(".foot").bounding_box()
    assert button
    assert foot
    assert button["y"] + button["height"] <= foot["y"]
    soaks.get_by_role("group", name="Until when?").get_by_role("button").first.tap()
    soaks.get_by_role("button", name="help is coming").tap()
    save.tap()
    go(phone, "#/")
    expect(phone.locator(".page-round .left", has_text="Left until")).to_contain_text("and 1 more")


def test_the_round_says_how_many_of_each_level_and_leads_to_them(phone: Page) -> None:
    """A second alarm is not hidden in grey: it is counted with its flag and its word."""
    counts = phone.get_by_role("link", name="All alerts: 2 alarms")
    expect(counts).to_be_visible()
    expect(phone.locator(".ways .alarms")).to_have_text("2")
    counts.tap()
    expect(phone.locator(".page-alerts h2").first).to_have_text("2 alarms")


def test_i_have_it_says_who_and_when_and_does_not_clear(phone: Page) -> None:
    """Acknowledged is not over: the alarm stands, with the name of whoever has it."""
    phone.evaluate(
        "() => import('/store/preferences.js').then((kept) => import('/store/house.js')"
        ".then((house) => kept.setRecorder(house.people()[0].id)))"
    )
    name = phone.evaluate("() => import('/store/house.js').then((house) => house.people()[0].name)")
    go(phone, "#/alerts")
    alarm = phone.locator(".alert", has_text="26-017-R")
    alarm.get_by_role("button", name="I have it").tap()
    expect(phone.locator(".undo-bar")).to_contain_text("I have it: 26-017-R")
    # The phone is nobody's own, so the name on its records is what was said on it.
    taken = f"{name} (as was said) has it, since today 08:4"
    expect(alarm.locator(".answered")).to_contain_text(taken)
    expect(alarm.get_by_role("button", name="I have it")).to_have_count(0)
    expect(phone.locator("h2").first).to_have_text("2 alarms")


def test_where_nobody_is_named_i_have_it_asks_who_once(phone: Page) -> None:
    """On a shared phone "someone has it" helps nobody; the answer holds for the next one too."""
    go(phone, "#/alerts")
    alarm = phone.locator(".alert", has_text="26-017-R")
    alarm.get_by_role("button", name="I have it").tap()
    who = alarm.get_by_role("group", name="Who has it?")
    expect(who.get_by_role("button", name="Dev")).to_be_visible()
    who.get_by_role("button", name="Mele").tap()
    expect(alarm.locator(".answered")).to_contain_text(
        "Mele (as was said) has it, since today 08:4"
    )
    next_one = phone.locator(".alert", has_text="Seedling tunnel: not walked")
    next_one.get_by_role("button", name="I have it").tap()
    expect(next_one.locator(".answered")).to_contain_text("Mele (as was said) has it")


def test_it_is_given_back_taken_over_and_taken_up_again_and_the_record_says_all(
    own_demo: Served, phone: Page
) -> None:
    """Nobody is named on this phone, so it asks who takes it over and who gives it back."""
    go(phone, "#/alerts")
    alarm = phone.locator(".alert", has_text="26-017-R")
    button = alarm.get_by_role("button", name="I have it")
    button.tap()
    alarm.get_by_role("button", name="Mele").tap()
    answered = alarm.locator(".answered")
    expect(answered).to_contain_text("Mele (as was said) has it")
    alarm.get_by_role("button", name="Take it over").tap()
    alarm.get_by_role("group", name="Who has it?").get_by_role("button", name="Dev").tap()
    expect(answered).to_contain_text("Dev (as was said) has it")
    alarm.get_by_role("button", name="Give it back").tap()
    alarm.get_by_role("group", name="Who gives it back?").get_by_role("button", name="Dev").tap()
    expect(answered).to_contain_text("Dev (as was said) put it back on the list today 08:4")
    expect(button).to_be_visible()
    # Left with its sentence on top, and taken up again at once.
    alarm.get_by_role("button", name="Leave until").tap()
    sentence = alarm.locator("p strong").first.inner_text()
    expect(alarm.locator(".leave p strong")).to_have_text(sentence)
    alarm.get_by_role("button", name="help is coming").tap()
    alarm.get_by_role("button", name="in 2 hours").tap()
    alarm.get_by_role("button", name="Leave it until then").tap()
    left = phone.locator("section", has_text="Left until later").locator(".alert")
    expect(left).to_contain_text("help is coming")
    left.get_by_role("button", name="Back on the list").tap()
    expect(phone.get_by_role("heading", name="Left until later")).to_have_count(0)
    expect(answered).to_contain_text("Somebody who is not named put it back on the list")
    until_in_touch(phone)
    # An alert's own history has what the server heard one by one; the record has all.
    lot = (alarm.locator("a.alert-words").get_attribute("href") or "").rsplit("/", 1)[1]
    events = phone.request.get(f"{own_demo.address}/api/v1/events?lot={lot}&limit=1000").json()
    kinds = ("acknowledged", "shelved", "given_back")
    said = [one for one in events["events"] if one["kind"] in kinds][-5:]
    names = {person["id"]: person["name"] for person in people_of(phone)}
    assert [(one["kind"], names.get(one["by"])) for one in said] == [
        ("acknowledged", "Mele"),
        ("acknowledged", "Dev"),
        ("given_back", "Dev"),
        ("shelved", None),
        ("given_back", None),
    ]


def people_of(page: Page) -> list[dict[str, str]]:
    """Return the people that the phone knows."""
    found: list[dict[str, str]] = page.evaluate(
        "() => import('/store/house.js').then((house) => house.people())"
    )
    return found


def test_what_is_most_urgent_is_left_no_longer_than_it_can_wait(phone: Page) -> None:
    """Two soaks past their time (priority 1): until the first of them gets worse, and no longer."""
    go(phone, "#/alerts")
    soaks = phone.locator(".alert", has_text="Soak bench: Soak past its time")
    soaks.get_by_role("button", name="Leave until").tap()
    expect(soaks.locator(".leave p strong")).to_have_text("Soak bench: Soak past its time, 2 lots.")
    expect(soaks.locator(".leave .caution")).to_contain_text("at the latest")
    expect(soaks.get_by_role("button", name="tomorrow morning")).to_have_count(0)
    soaks.get_by_role("button", name="as long as it can wait").tap()
    soaks.get_by_role("button", name="part ordered").tap()
    soaks.get_by_role("button", name="Leave it until then").tap()
    left = phone.locator("section", has_text="Left until later").locator(".alert")
    expect(left.locator(".level")).to_have_count(1)
    expect(left).to_contain_text("Soak bench")


def test_leaving_asks_for_a_reason_and_an_end_and_the_round_says_both(phone: Page) -> None:
    """Without a why, then without an until, it is refused in a sentence; undo brings it back."""
    go(phone, "#/alerts")
    alarm = phone.locator(".alert", has_text="Mele's phone")
    alarm.get_by_role("button", name="Leave until").tap()
    leave = alarm.get_by_role("button", name="Leave it until then")
    leave.tap()
    expect(alarm.get_by_role("alert")).to_have_text("Say why it can wait.")
    alarm.get_by_role("button", name="help is coming").tap()
    leave.tap()
    expect(alarm.get_by_role("alert")).to_have_text(
        "Choose until when it is left: a time, or a date from tomorrow on."
    )
    alarm.get_by_role("button", name="in 2 hours").tap()
    expect(leave).to_contain_text("today 10:4")
    alarm.get_by_role("button", name="a date").tap()
    alarm.get_by_label("Until the morning of").fill("2026-09-14")
    expect(leave).to_contain_text("14 Sep 07:00")
    alarm.get_by_role("button", name="tomorrow morning").tap()
    expect(alarm.get_by_role("button", name="Leave it until then")).to_contain_text("tomorrow")
    alarm.get_by_role("button", name="Leave it until then").tap()
    left = phone.locator("section", has_text="Left until later").locator(".alert")
    expect(left).to_contain_text("until tomorrow 07:00: help is coming")
    go(phone, "#/")
    expect(phone.locator(".left")).to_contain_text("Left until tomorrow 07:00: Mele's phone")
    expect(phone.locator(".left")).to_contain_text("help is coming")
    go(phone, "#/alerts")
    phone.get_by_role("button", name="Undo").tap()
    expect(phone.locator(".alert", has_text="Left until later")).to_have_count(0)


def test_what_is_back_to_normal_is_told_with_its_history(own_demo: Served, phone: Page) -> None:
    """After water the dry lot is over: the list says raised, and cleared by a record.

    A step at the same level is one of priority only: it says so, and not "became due" twice.
    """

    def more_pressing(route: Route) -> None:
        found = route.fetch().json()
        for alert in found["alerts"]:
            first, *rest = alert["history"]
            alert["history"] = [first, {**first, "what": first["level"]}, *rest]
        route.fulfill(json=found)

    phone.route("**/api/v1/alerts/past?*", more_pressing)
    go(phone, f"#/lot/{lot_id('FO-25-1')}")
    with phone.expect_response("**/api/v1/sync/push"):
        phone.locator(".foot").get_by_role("button", name="Watered").tap()
    go(phone, "#/alerts")
    phone.get_by_role("button", name="Show them").tap()
    over = phone.locator(".looks li", has_text="dry since").first
    expect(over).to_contain_text("raised:")
    expect(over).to_contain_text("became more pressing")
    expect(over).to_contain_text("back to normal")


def test_where_an_act_is_due_the_act_is_the_large_button(phone: Page) -> None:
    """A dry lot is watered at one touch; the look comes second, and first once it is watered."""
    go(phone, f"#/walk/{place_id('Lath house, north bench')}/{lot_id('FO-25-1')}")
    large = phone.locator(".foot > .main-act")
    expect(large).to_contain_text("Watered")
    phone.clock.run_for(500)
    large.tap()
    expect(phone.locator(".undo")).to_contain_text("25-011-R Watered")
    expect(phone.locator(".foot > .main-act")).not_to_contain_text("Watered")


def test_a_count_far_from_the_one_before_is_asked_for_once_again(phone: Page) -> None:
    """Three for 610, a slip of the thumb: asked once, and taken where it is so; a tenth is far."""
    save = phone.get_by_role("button", name="Save")

    def counted(*keys: str) -> None:
        for key in keys:
            phone.get_by_role("button", name=key, exact=True).tap()
        save.tap()

    wipe = "wipe the last digit"
    go(phone, f"#/act/stocktaken/{lot_id('CC-25-1')}")
    counted(*"6100")
    expect(phone.get_by_role("alert")).to_contain_text("6,100 is far from 610")
    counted(wipe, wipe)
    expect(phone.get_by_role("alert")).to_contain_text("61 is far from 610")
    counted(wipe, wipe, "3")
    expect(phone.get_by_role("alert")).to_contain_text("3 is far from 610")
    save.tap()
    expect(phone.locator(".page-act")).to_have_count(0)
    go(phone, f"#/act/stocktaken/{lot_id('CC-25-1')}")
    counted(*"30")
    expect(phone.get_by_role("alert")).to_contain_text("30 is far from 3")
    counted(wipe, wipe, *"29")
    expect(phone.locator(".page-act")).to_have_count(0)
    go(phone, f"#/lot/{lot_id('CC-25-1')}")
    expect(phone.locator(".record").first).to_contain_text("Count them all")
    # Seedlings that are up stay up: a digit that was lost is asked about as well.
    go(phone, f"#/act/counted/{lot_id('CK-25-1')}")
    counted(*"18")
    expect(phone.get_by_role("alert")).to_contain_text("18 is far from 180")
    counted("1")
    expect(phone.locator(".page-act")).to_have_count(0)


def test_a_loss_fits_one_screen(phone: Page) -> None:
    """The figure, of how many on record, the cause and the save are seen without scrolling."""
    go(phone, f"#/act/lost/{lot_id('CC-25-1')}")
    expect(phone.locator(".figure")).to_contain_text("of 610 on record")
    box = phone.get_by_role("button", name="Another cause").bounding_box()
    foot = phone.locator(".foot").bounding_box()
    assert box is not None
    assert foot is not None
    assert box["y"] + box["height"] <= foot["y"]
    phone.locator(".figure").tap()
    for key in "12":
        phone.get_by_role("button", name=key, exact=True).tap()
    phone.get_by_role("button", name="Done typing").tap()
    phone.get_by_role("button", name="dried", exact=True).tap()
    phone.get_by_role("button", name="Save").tap()
    expect(phone.locator(".page-act")).to_have_count(0)
    go(phone, f"#/lot/{lot_id('CC-25-1')}")
    expect(phone.locator(".record").first).to_contain_text("Loss")
    expect(phone.locator(".record").first).to_contain_text("12")
