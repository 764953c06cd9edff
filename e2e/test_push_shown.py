"""A push to a phone whose app is closed is shown, and its touch opens the right screen."""

import hashlib
import json
import time
import uuid
from collections.abc import Callable
from typing import Any

from playwright.sync_api import BrowserContext, CDPSession, Page, expect
from tests.browser import PersistentPhone

from e2e.house import LATER_MS, House, pair, until

pytest_plugins = ["e2e.house"]


def shown(context: BrowserContext) -> list[dict[str, Any]]:
    """Return the notifications that stand on the phone."""
    return context.pages[0].evaluate(
        """async () => (await (await navigator.serviceWorker.ready).getNotifications())
          .map(({title, body, tag, data}) => ({title, body, tag, data}))"""
    )


def registration_of(session: CDPSession) -> str:
    """Return the id of the worker's registration."""
    found: list[str] = []
    heard = "ServiceWorker.workerRegistrationUpdated"
    session.on(heard, lambda said: found.extend(r["registrationId"] for r in said["registrations"]))
    session.send("ServiceWorker.enable")
    while not found:
        # The browser tells of it while it is asked something else.
        session.send("Runtime.evaluate", {"expression": "1"})
    return found[0]


def deliver(session: CDPSession, registration: str, origin: str, data: str) -> None:
    """Hand the worker a push, as the browser does."""
    said = {"origin": origin, "registrationId": registration, "data": data}
    session.send("ServiceWorker.deliverPushMessage", said)


Deliver = Callable[[str], None]


def until_shown(context: BrowserContext, push: Deliver, data: str, body: str) -> dict[str, Any]:
    """Deliver a push until a notification with this body stands, and return that one.

    What the browser is handed from outside may be dropped without a word while it is busy.
    """
    end = time.monotonic() + LATER_MS / 1000
    while time.monotonic() < end:
        push(data)
        for _ in range(20):
            found = [one for one in shown(context) if one["body"] == body]
            if found:
                (one,) = found
                return one
            context.pages[0].wait_for_timeout(50)
    raise AssertionError(f"never shown: {data}")


def test_a_push_is_shown_once_however_often_it_comes_and_its_touch_opens_its_screen(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    phone = persistent_phone("grower")
    context = phone.open()
    context.grant_permissions(["notifications"], origin=house.address)
    page = pair(context, house)
    session = context.new_cdp_session(page)
    registration = registration_of(session)
    lot = str(uuid.uuid4())
    said = {"title": "Soak bench: 1 alarm", "body": "26-017-R soaks", "tag": "a", "grave": True}
    said["url"] = f"/#/lot/{lot}"

    def push(data: str) -> None:
        deliver(session, registration, house.address, data)

    first = until_shown(context, push, json.dumps(said), "26-017-R soaks")
    assert (first["title"], first["data"]) == (said["title"], {"open": f"#/lot/{lot}"})
    # The same message again takes the place of the first: there is still one.
    again = {**said, "body": "26-017-R still soaks"}
    until_shown(context, push, json.dumps(again), "26-017-R still soaks")
    assert [one["tag"] for one in shown(context)] == ["a"]
    # What cannot be read is shown all the same (FAULTS F24), and leads nowhere but to the round.
    other = until_shown(context, push, "no JSON at all", "")
    assert (other["title"], other["data"]) == ("Lathhouse", {"open": "#/"})
    evil = {**said, "title": "Elsewhere", "body": "evil", "tag": "b"}
    evil["url"] = "https://elsewhere.example/"
    assert until_shown(context, push, json.dumps(evil), "evil")["data"] == {"open": "#/"}
    # The page that is open does as the worker says when a notification was touched.
    worker = next(one for one in context.service_workers if one.url.startswith(house.address))
    worker.evaluate("(hash) => { void open(hash).catch(() => {}); }", f"#/lot/{lot}")
    expect(page).to_have_url(f"{house.address}/#/lot/{lot}", timeout=LATER_MS)


def test_a_phone_that_cannot_ring_says_so_and_what_still_works(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    context = persistent_phone("grower").open()
    page = pair(context, house)
    page.evaluate("() => { location.hash = '#/reminders'; }")
    page.get_by_role("button", name="Ring on this phone").tap()
    said = page.locator(".page-reminders .large")
    expect(said).to_contain_text("still work", timeout=LATER_MS)


# No push service is reached from a test's browser: what the browser would say of its address.
MOVED = """
  PushManager.prototype.getSubscription = async () => {
    const endpoint = localStorage.getItem("test_endpoint");
    const keys = { p256dh: "B" + "A".repeat(86), auth: "A".repeat(22) };
    return endpoint && { toJSON: () => ({ endpoint, keys }), unsubscribe: async () => false };
  };
"""
LIVE = "fetch('/api/v1/reminders').then((a) => a.json()).then((said) => said.subscriptions)"
POSTS = "**/api/v1/reminders/subscriptions"


def live(page: Page) -> list[str]:
    """Return the ids of this phone's addresses that the server knows."""
    return page.evaluate(f"() => {LIVE}")


def test_an_address_that_the_browser_moved_is_told_to_the_server_until_it_has_heard(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    context = persistent_phone("grower").open()
    context.grant_permissions(["notifications"], origin=house.address)
    context.add_init_script(MOVED)
    page = pair(context, house)
    endpoints = [f"https://push.example/{number}" for number in range(3)]
    first, second = [hashlib.sha256(one.encode()).hexdigest() for one in endpoints[:2]]

    def moves(endpoint: str) -> None:
        page.evaluate("(given) => localStorage.setItem('test_endpoint', given)", endpoint)
        page.evaluate("() => dispatchEvent(new Event('online'))")

    knows = f"{LIVE}.then((known) => known.includes(given))"
    moves(endpoints[0])
    until(page, knows, first)
    # The first try is lost on its way; the next sync says it again, and then no more.
    with page.expect_event("requestfailed", lambda one: "subscriptions" in one.url):
        context.route(POSTS, lambda route: route.abort(), times=1)
        moves(endpoints[1])
    assert second not in live(page)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    until(page, knows, second)
    # Stopped by a tap, it stays stopped, though the browser does not let the address go.
    page.evaluate("() => { location.hash = '#/reminders'; }")
    page.get_by_role("button", name="Stop ringing here").tap()
    expect(page.get_by_text("does not ring while")).to_be_visible(timeout=LATER_MS)
    with page.expect_response("**/sync/pull**"):
        moves(endpoints[2])
    until(page, "import('/store/reaching.js').then((here) => here.keepReached()).then(() => true)")
    assert live(page) == []
