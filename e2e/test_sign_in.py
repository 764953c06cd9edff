"""A person signs in on any browser, signs out, and loses nothing that was not sent (FAULTS F30)."""

import json
import uuid

from playwright.sync_api import expect

from e2e.demo import LATER_MS, OpenApp, Served
from e2e.house import until
from lathhouse.domain.instants import to_text
from lathhouse.store import access
from lathhouse.store.models import Event
from lathhouse.store.passphrases import PURPOSE
from lathhouse.store.work import looking
from lathhouse.sync.push import push

pytest_plugins = ["e2e.demo"]
GOOD = "quiet gate under snow"
PENDING = "import('/store/house.js').then((house) => house.pending.value.length === given)"


def settle(served: Served) -> tuple[str, str]:
    """Put Mele on record; return her id, and the secret of the owner's link for a passphrase."""
    now, mele, site = to_text(served.clock()), str(uuid.uuid4()), served.app.config["SITE_ID"]
    data = {"id": mele, "name": "Mele", "role": "worker"}
    event = {"id": str(uuid.uuid4()), "seq": 1, "kind": "person_changed", "lot": None}
    event |= {"observed_at": now, "by": None, "data": data}
    with served.app.app_context():
        push(site, str(uuid.uuid4()), [event], now, served.clock(), {"role": "owner"})
        return mele, access.make_link(site, "worker", mele, now, 60, PURPOSE)


def test_who_signs_out_keeps_what_is_unsent_and_it_is_sent_after_signing_in(
    empty_nursery: Served, open_app: OpenApp
) -> None:
    mele, secret = settle(empty_nursery)
    page = open_app(empty_nursery)
    page.evaluate("(secret) => { location.hash = `#/passphrase/${secret}`; }", secret)
    page.get_by_label("The new one").fill("mele's own words")
    page.get_by_role("button", name="Set it").click()
    expect(page.get_by_role("alert")).to_contain_text(
        "does not hold the name Mele", timeout=LATER_MS
    )
    page.get_by_label("The new one").fill(GOOD)
    page.get_by_role("button", name="Set it").click()
    expect(page.locator(".page-round")).to_be_visible(timeout=LATER_MS)
    page.route("**/api/v1/sync/push", lambda route: route.abort())
    page.evaluate(
        "() => import('/store/record.js').then((one) => one.record('noted', null, { text: 'x' }))"
    )
    page.evaluate("() => { location.hash = '#/passphrase'; }")
    expect(page.locator("main")).to_contain_text("1 saved here, not sent: they stay on this phone")
    page.get_by_role("button", name="Sign out here").click()
    expect(page.locator("main")).to_contain_text("not paired", timeout=LATER_MS)
    until(page, PENDING, 1)
    page.unroute("**/api/v1/sync/push")
    page.get_by_role("link", name="Sign in with a passphrase").click()
    page.get_by_label("Name").fill("mele")
    page.get_by_label("Passphrase").fill("not that one at all")
    page.locator(".foot").get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("do not go together", timeout=LATER_MS)
    page.get_by_label("Passphrase").fill(GOOD)
    page.locator(".foot").get_by_role("button", name="Sign in").click()
    expect(page.locator(".page-round")).to_be_visible(timeout=LATER_MS)
    until(page, PENDING, 0)
    with empty_nursery.app.app_context():
        site, now = empty_nursery.app.config["SITE_ID"], to_text(empty_nursery.clock())
        rows = looking(site, now, lambda work: work.rows(Event, Event.kind == "noted"))
    (event,) = [json.loads(row["body"]) for row in rows]
    assert (event["by"], event.get("by_said")) == (mele, None)
