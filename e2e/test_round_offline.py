"""Forty lots are looked at with no signal and a phone that dies midway: all there, none twice."""

from collections import Counter
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, expect
from tests.browser import PersistentPhone

from e2e.house import (
    LATER_MS,
    House,
    Lot,
    Walker,
    lot_events,
    offline,
    online,
    pair,
    phone_lots,
    place,
    plain,
    unsent,
    until,
    until_in_touch,
)

pytest_plugins = ["e2e.house"]
LOTS, DIES_AFTER = 40, 20
ASKED, CLOSER = (("none", 3), ("spots", 4))
PLACES = ("Shed fridge", "Soak bench", "North bench", "South bench")


def fill(house: House) -> dict[str, str]:
    """Put forty lots on record; return {code: id}. Some ring, some are emerging."""
    where = [place(house, name, order) for order, name in enumerate(PLACES, start=1)]
    ids: dict[str, str] = {}
    events = []
    for number in range(LOTS):
        code = f"26-{number:03}"
        here = where[number * len(PLACES) // LOTS]
        if number % 10 == 7:
            sown = ("sown", {"flats": 1, "per_flat": 200}, 60)
            after = [sown, ("counted", {"emerged": 4, "out_of": 200}, 2)]
        else:
            # A chill of six weeks without a look rings, and asks questions.
            days = 43 if number % 10 == 3 else 3
            after = [("cold_started", {"where": "fridge", "temp_c": 4}, days)]
        ids[code], first = lot_events(house, code, here, 70, *after)
        events += first
    house.record(events)
    return ids


def test_forty_lots_offline_with_a_phone_that_dies_are_all_on_the_server_once(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    ids = fill(house)
    phone = persistent_phone("grower")
    pair(phone.open(), house)
    # Paired on another day: a browser writes a cookie to disk some time after it was set.
    phone.close()
    page = phone.open().new_page()
    page.goto(house.address)
    until_in_touch(page)
    expect(page.locator(".stop")).to_have_count(len(PLACES), timeout=LATER_MS)
    offline(phone.context, house)

    looked = walk(page, DIES_AFTER)
    phone.kill()
    context = phone.open()
    context.set_offline(True)
    page = context.new_page()
    page.goto(house.address)
    expect(page.locator(".where")).to_contain_text("saved here, not sent", timeout=LATER_MS)
    until(page, "import('/store/house.js').then((house) => house.ready.value)")
    assert set(seen(phone_lots(page))) == set(looked)

    looked += walk(page, LOTS)
    assert sorted(looked) == sorted(ids)
    assert unsent(page) >= LOTS
    shown = plain(phone_lots(page))

    online(context, house)
    until_in_touch(page)
    looks = Counter(event["lot"] for event in house.events("looked"))
    assert looks == Counter(ids.values())
    everything = house.events()
    assert len({event["id"] for event in everything}) == len(everything)
    said = Counter(words(event["data"]) for event in house.events("looked"))
    asked, closer = LOTS // 10, LOTS // 10
    assert said == {ASKED: asked, CLOSER: closer, "as expected": LOTS - asked - closer}
    counted = [event for event in house.events("counted") if event["data"]["emerged"] == 41]
    assert len(counted) == LOTS // 10
    on_server = plain(house.lots())
    assert plain(phone_lots(page)) == on_server
    # What the phone had worked out alone is what the server made of the same events.
    for code, id in ids.items():
        for name in ("stage", "spells", "last_look", "counts", "emerged", "series", "seen_at"):
            assert shown[id][name] == on_server[id][name], (code, name)


def walk(page: Page, most: int) -> list[str]:
    """Walk on until so many lots have been looked at, or nothing waits; return their codes."""
    walker = Walker(page)
    walker.begin()
    done: list[str] = []
    while len(done) < most:
        code = walker.code()
        if code is None:
            if not walker.close_place():
                break
            continue
        if page.get_by_role("link", name="Count").count():
            walker.count("41")
        if code.endswith("5"):
            walker.look_closer("spots", "wet")
        else:
            walker.look(("none", "none", "moist"))
        done.append(code)
    return done


def words(data: dict[str, Any]) -> Any:
    """Return what a look said of mould and moisture, or that all was as expected."""
    return "as expected" if data.get("as_expected") else (data["fungus"], data["moisture"])


def seen(lots: dict[str, Lot]) -> list[str]:
    """Return the codes of the lots with a look."""
    return [lot["label"] for lot in lots.values() if lot["last_look"]]
