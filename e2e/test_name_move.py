"""The nursery's name moves: every phone comes over, and nothing that it held is lost or doubled.

Real HTTPS under two authorities, both in the browser's own store of trust; no check is switched
off. A browser keeps a store for each origin (HTML Standard, section 7.1.1), which is why a phone
is another phone under the new name.
"""

import json
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, Route, TimeoutError, expect
from tests.browser import PHONE

from e2e.house import (
    LATER_MS,
    House,
    ago,
    lot_events,
    pair,
    place,
    unsent,
    until,
    until_in_touch,
)
from e2e.test_sealed import LAN, NAME, SealedHouse, open_phone, trust

pytest_plugins = ["e2e.house"]
NEXT = "beds.test"
AGAIN_MS = 15_000
# What a thumb's records on the phone come to, made through the phone's own door.
RECORD = """([lot, at]) => import("/store/record.js").then(({ record }) =>
  record("looked", lot, { moisture: 2, at }))"""
MAKE = "() => import('/store/name_move.js').then((move) => move.wayOver())"
WAY = "import('/store/house.js').then((house) => house.wayMade.value)"
LINK, PULL, PUSH = "**/api/v1/name-move/link", "**/api/v1/sync/pull*", "**/api/v1/sync/push"
# As the server says that its name is on the move.
MOVE = {"from": NAME, "to": NEXT, "address": f"https://{NEXT}/", "trust": None}


@pytest.fixture
def moving_house(tmp_path: Path) -> Iterator[SealedHouse]:
    """A server on its first day, with an authority of its own."""
    running = SealedHouse(tmp_path / "house", *LAN)
    running.start()
    yield running
    running.stop()


def command(house: SealedHouse, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the owner's command while the server runs."""
    whole = [sys.executable, "-m", "lathhouse", "move-name", *words, "--data", str(house.folder)]
    return subprocess.run(whole, capture_output=True, text=True, check=False)


def answers_as(house: SealedHouse, name: str) -> bool:
    """Say whether the server shows a certificate for a name that a phone trusts (OpenSSL)."""
    assert house.trust is not None
    try:
        with socket.create_connection(("127.0.0.1", house.port), timeout=60) as line:
            house.trust.wrap_socket(line, server_hostname=name).close()
    except ssl.SSLCertVerificationError:
        return False
    return True


def refused(house: SealedHouse, path: str, body: object) -> str:
    """Ask for something that is refused; return the sentence."""
    with pytest.raises(urllib.error.HTTPError) as said:
        house.call("POST", path, body)
    assert said.value.code == 409
    return str(json.loads(said.value.read())["detail"])


def record_twice(page: Page, lot: str) -> None:
    """Record two looks on the phone."""
    for _ in range(2):
        page.evaluate(RECORD, [lot, ago()])


def way_over(page: Page) -> Page:
    """Follow the guide to the new name."""
    page.evaluate("() => { location.hash = '#/move'; }")
    make = page.get_by_role("button", name="Make the way over")
    make.tap(timeout=LATER_MS)
    there = page.locator("a.main-act", has_text=f"Open {NEXT}")
    # The network has only just come back: what was asked amid that may be lost, and is asked again.
    with suppress(TimeoutError):
        there.wait_for(timeout=AGAIN_MS)
    if make.is_visible():
        make.tap()
    there.tap(timeout=LATER_MS)
    expect(page.get_by_text("This phone is paired.")).to_be_visible(timeout=LATER_MS)
    return page


def test_a_phone_that_was_offline_comes_over_with_each_record_exactly_once(
    moving_house: SealedHouse, playwright: Playwright, chromium_path: str, tmp_path: Path
):
    house, home, profile = moving_house, tmp_path / "home", tmp_path / "phone"
    trust(home, house.authority(tmp_path / "old.crt"))
    context = open_phone(playwright, chromium_path, profile, home)
    page = pair(context, house)
    fridge = place(house, "Shed fridge", 1)
    lot, events = lot_events(house, "26-001", fridge, 50, ("cold_started", {"where": "fridge"}, 43))
    house.record(events)
    page.reload()
    until_in_touch(page)
    context.set_offline(True)
    record_twice(page, lot)
    assert unsent(page) == 2
    context.close()

    begun = command(house, NEXT)
    assert begun.returncode == 0, begun.stderr
    assert "not moved yet" in begun.stdout
    # A restart in the middle, under either name in the start script.
    house.stop(signal.SIGKILL)
    house.start()
    new = house.authority(tmp_path / "new.crt")
    assert new.read_bytes() != (tmp_path / "old.crt").read_bytes()
    assert answers_as(house, NAME)
    assert answers_as(house, NEXT)
    said = refused(house, "/api/v1/name-move/end", {})
    assert f"{NAME} cannot end yet" in said
    assert NEXT in said
    refusal = command(house, "--end")
    assert refusal.returncode == 1
    assert "has not moved" in refusal.stderr

    trust(home, new, "nursery-next")
    context = open_phone(playwright, chromium_path, profile, home)
    page = context.pages[0]
    page.goto(f"https://{NAME}:{house.port}/")
    expect(page.get_by_text(f"The nursery moves to {NEXT}")).to_be_visible(timeout=LATER_MS)
    until(page, "import('/store/house.js').then((house) => house.pending.value.length === 0)")
    context.set_offline(True)
    record_twice(page, lot)
    page.evaluate("() => { location.hash = '#/move'; }")
    expect(page.get_by_text("2 records are on this phone alone.")).to_be_visible()
    expect(page.get_by_role("button", name="Make the way over")).to_have_count(0)
    context.set_offline(False)
    way_over(page)
    # Out of reach, the old name's app has not heard of it, and records no more all the same.
    context.set_offline(True)
    old = context.new_page()
    old.goto(f"https://{NAME}:{house.port}/")
    expect(old.get_by_text("A way over to")).to_be_visible(timeout=LATER_MS)
    expect(old.get_by_role("button", name="It stays here")).to_be_visible()
    old.close()
    context.set_offline(False)
    page.evaluate("() => { location.hash = '#/'; }")
    until_in_touch(page)
    assert page.evaluate("() => location.hostname") == NEXT
    page.evaluate(RECORD, [lot, ago()])
    until_in_touch(page)
    looks = house.events("looked")
    assert len(looks) == len({one["id"] for one in looks}) == 5
    assert len({one["device"] for one in looks}) == 2, "a phone and its successor"
    (mine,) = {one["device"] for one in looks[-1:]}
    phones = {one["id"]: one for one in house.call("GET", "/api/v1/name-move")["phones"]}
    assert phones[mine]["at"] == "new"
    assert sorted(one["at"] for one in phones.values()) == ["moved", "new"]
    assert phones[mine]["role"] == "owner"
    # Under the old name it says so, and records no more.
    old = context.new_page()
    old.goto(f"https://{NAME}:{house.port}/")
    expect(old.get_by_text("This phone has moved", exact=True)).to_be_visible(timeout=LATER_MS)
    old.close()
    page.evaluate("() => { location.hash = '#/move'; }")
    page.get_by_role("button", name=f"End {NAME}").tap(timeout=LATER_MS)
    page.get_by_role("button", name="End it now").tap(timeout=LATER_MS)
    page.wait_for_url(f"https://{NEXT}:{house.port}/", timeout=LATER_MS)
    assert house.call("GET", "/api/v1/name-move") == {"move": None, "phones": []}
    assert not answers_as(house, NAME)
    assert answers_as(house, NEXT)
    whats = [one["data"]["what"] for one in house.events("access_changed")]
    assert whats.count("name_move_begun") == whats.count("name_moved") == 1
    # The start script still says the old name; a nursery that does not start would be worse.
    house.stop(signal.SIGKILL)
    house.start()
    assert answers_as(house, NEXT)
    assert house.said[-1].startswith(f"Lathhouse is at https://{NEXT}:")
    context.close()


def test_a_way_over_holds_in_every_tab_and_until_the_whole_pull_is_in(
    house: House, browser: Browser
):
    lot, events = lot_events(house, "26-001", place(house, "Shed fridge", 1), 50)
    house.record(events)
    context = browser.new_context(**PHONE)  # type: ignore[arg-type]
    page = pair(context, house)
    other = context.new_page()
    other.goto(house.address)
    until_in_touch(other)

    # What another tab records while the server is asked would be left behind.
    def meanwhile(route: Route) -> None:
        other.evaluate(RECORD, [lot, ago()])
        route.fulfill(json={"link": f"https://{NEXT}/", "minutes": 10})

    context.route(PUSH, lambda route: route.abort())
    context.route(LINK, meanwhile, times=1)
    assert page.evaluate(MAKE) is None
    assert page.evaluate(f"() => {WAY}") is None
    context.unroute(PUSH)
    page.reload()
    until_in_touch(page)

    context.route(PULL, lambda route: route.abort())
    # Its minutes are over at once, so that the next pull decides.
    context.route(LINK, lambda route: route.fulfill(json={"link": "", "minutes": 0}))
    assert page.evaluate(MAKE) is not None
    expect(other.get_by_text("On the way over")).to_be_visible()
    other.close()

    # A pull of two pages: whether this phone has gone over may stand on the second.
    marks: list[int | None] = []

    def paged(route: Route) -> None:
        marks.append(page.evaluate(f"() => {WAY}"))
        said = route.fetch().json()
        route.fulfill(json={**said, "name_move": MOVE, "more": len(marks) == 1})

    context.unroute(PULL)
    context.route(PULL, paged)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    until(page, f"{WAY}.then((way) => way === null)")
    assert len(marks) == 2
    assert None not in marks
    context.close()
