"""The core path in WebKit, the engine of every iPhone: load, offline, record, restart, sync."""

import json
import re
from collections.abc import Callable

from tests.browser import FRONTEND
from tests.webkit import WebKitPhone

from e2e.house import House, lot_events, place, plain

pytest_plugins = ["e2e.house"]

HOUSE = "import('/store/house.js')"
IN_TOUCH = (
    f"{HOUSE}.then((house) => house.contact.value.state === 'in-touch'"
    " && house.pending.value.length + house.confirming.value.length === 0)"
)
# Just over the time, after a change under the thumb, in which the walk hears no touch.
HEARS_AGAIN_MS = 500
# Every screen that needs no id, as `app.js` lists them.
SCREENS = re.findall(
    r"^  (\w+): \[\(\) => .*, \[\]\],$", (FRONTEND / "app.js").read_text("utf-8"), re.MULTILINE
)
OPEN_EACH = """(async () => {
  const wrong = [];
  const note = (event) => wrong.push(`${location.hash} ${event.message ?? event.reason}`);
  addEventListener("error", note);
  addEventListener("unhandledrejection", note);
  const now = () => document.querySelector(".page")?.className;
  for (const screen of SCREENS) {
    const before = now();
    location.hash = `#/${screen}`;
    const end = performance.now() + 20000;
    while (now() === before || !document.querySelector("main")?.innerText) {
      if (performance.now() > end) throw new Error(`${screen} does not open`);
      await new Promise((go) => setTimeout(go, 20));
    }
    const told = document.querySelector("[role=alert]")?.innerText;
    if (told) wrong.push(`${screen} says ${told}`);
    const wide = document.documentElement.scrollWidth;
    if (wide > innerWidth) wrong.push(`${screen} is ${wide} wide`);
  }
  return wrong;
})()"""


def text_is_there(text: str) -> str:
    """Return the condition that a text is on the screen."""
    return f"document.body.innerText.includes({text!r})"


def touch(phone: WebKitPhone, selector: str) -> None:
    """Touch what a selector finds, once it is there and the screen hears touches again."""
    phone.until(f"document.querySelector({selector!r})")
    phone.ask(f"new Promise((go) => setTimeout(go, {HEARS_AGAIN_MS}))")
    assert phone.driver is not None
    phone.driver.find_element("css selector", selector).click()


def pair(phone: WebKitPhone, house: House) -> None:
    """Pair the phone by its link, and wait until it holds the whole app and the whole record."""
    phone.open(house.link)
    phone.until(text_is_there("This phone is paired."))
    phone.ask("(location.hash = '#/')")
    phone.until("navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller)")
    phone.until(IN_TOUCH)


def test_webkit_loads_opens_every_screen_goes_offline_records_dies_starts_again_and_sends_once(
    house: House, webkit_phone: Callable[[str], WebKitPhone]
):
    bench = place(house, "North bench", 1)
    lot, events = lot_events(house, "26-001", bench, 9)
    house.record(events)
    phone = webkit_phone("grower")
    pair(phone, house)
    assert len(SCREENS) > 20
    assert phone.ask(OPEN_EACH.replace("SCREENS", json.dumps(SCREENS))) == []

    house.stop()
    assert phone.driver is not None
    phone.driver.get(house.address)
    touch(phone, ".page-round .main-act")
    phone.until(text_is_there("26-001"))
    touch(phone, ".foot > .main-act")
    phone.until(f"{HOUSE}.then((house) => house.pending.value.length === 1)")
    (looked,) = phone.ask(f"{HOUSE}.then((house) => house.pending.value)")

    phone.kill()
    phone.open(house.address)
    phone.until(text_is_there("saved here, not sent"))
    phone.until(f"{HOUSE}.then((house) => house.ready.value)")
    assert phone.ask(f"{HOUSE}.then((house) => house.pending.value)") == [looked]

    house.start()
    phone.ask("dispatchEvent(new Event('online'))")
    phone.until(IN_TOUCH)
    assert [event["id"] for event in house.events("looked")] == [looked["id"]]
    shown = phone.ask(f"{HOUSE}.then((house) => Object.fromEntries(house.lots.value))")
    assert plain(shown) == plain(house.lots())
    assert shown[lot]["last_look"] is not None
