"""Words that are programs: in every free-text field of every record, on every screen, nothing runs.

Stored cross-site scripting (OWASP ASVS 5.0, V1.2.1, V1.2.2, V3.2.2). The fields are read off the
shapes that check records, so that a new one cannot be forgotten.
"""

import re
import shutil
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.server import Clock, Nursery
from tests.web.samples import RIGHT

from e2e.demo import LATER_MS, Served, Visits, serve
from e2e.test_screens import SCREENS
from lathhouse.demo.scenario import lot_id, place_id
from lathhouse.demo.story import name_id
from lathhouse.domain.morning_html import page as morning_page
from lathhouse.domain.protocols import load_crops
from lathhouse.reminders.mail import as_html
from lathhouse.settings import BATCH_MAX
from lathhouse.sync.fields import Code, Name, Plain, Words
from lathhouse.sync.shapes import KINDS, PROVENANCE

pytest_plugins = ["e2e.demo"]

# What each would do if it were read as anything but text; a run leaves its mark on the window.
PAYLOADS = (
    "<img src=x onerror=window.ran=1>",
    '"><script>window.ran=2</script>',
    "javascript:window.ran=3",
    "'-window.ran--'</textarea><svg onload=window.ran=4>",
    "{{constructor.constructor('window.ran=5')()}}${window.ran=6}",
    "</title></style><iframe srcdoc='<script>parent.ran=7</script>'></iframe>",
)
FREE = (Words, Name, Code)
# Ids that choose a row, or a name of a rule: a payload there is refused or is nobody's row.
KEYS = {
    "id", "crop", "place", "into", "watch", "currency", "timezone", "role", "phone", "nursery",
    "kind",
}  # fmt: skip


def free_fields(shape: dict[str, Plain]) -> list[str]:
    """Return the names of a kind's fields that take any text."""
    return [name for name, one in shape.items() if type(one) in FREE and name not in KEYS]


FIELDS = {kind: found for kind, shape in KINDS.items() if (found := free_fields(shape))}
ROWS = {f"{name}_changed" for name in "place person protocol watch nursery phone".split()}
LOT, PLACE = lot_id("AP-26-1"), place_id("Shed fridge")


def injected(kind: str, payload: str) -> list[dict[str, Any]]:
    """Return the data of a kind's right examples, with a payload in each free field of each."""
    found = []
    for sample in RIGHT[kind]:
        data = {**sample, **dict.fromkeys(FIELDS.get(kind, ()), payload)}
        if kind == "lot_started":
            data |= {"crop": "acer-palmatum", "place": PLACE, "parents": []}
            data["provenance"] = dict.fromkeys(free_fields(PROVENANCE), payload)
        found.append(data)
    return found


def rows(payload: str) -> list[tuple[str, dict[str, Any]]]:
    """Return the changes of what screens call things by: a place, a person, the nursery, a crop."""
    shipped = load_crops()["acer-palmatum"]
    stages = [{**stage, "note": payload} for stage in shipped["stages"]]
    words = ("botanical", "common", "family", "invasive_note")
    crop = {**shipped, **dict.fromkeys(words, payload)}
    return [
        ("place_changed", {"id": PLACE, "name": payload, "kind": "chamber", "order": 1,
                           "daily": True}),
        ("person_changed", {"id": name_id("Orla"), "name": payload, "role": "owner"}),
        ("nursery_changed", {"id": "", "name": payload, "timezone": "Australia/Sydney",
                             "working_days": [1, 2, 3, 4, 5], "poisons_phone": payload}),
        ("protocol_changed", {**crop, "stages": stages}),
    ]  # fmt: skip


def record_everywhere(nursery: Nursery) -> set[tuple[str, str]]:
    """Put payloads on record in every free field; return the fields that took one."""
    phone, events = nursery.device(), []
    for kind in FIELDS.keys() & RIGHT.keys():
        lot = None if kind in ROWS else LOT
        for data in [one for payload in PAYLOADS for one in injected(kind, payload)]:
            about = str(uuid.uuid4()) if kind == "lot_started" else lot
            events.append(phone.event(kind, about, data))
    for payload in PAYLOADS:
        for kind, data in rows(payload):
            site = {"id": nursery.site} if kind == "nursery_changed" else {}
            events.append(phone.event(kind, None, {**data, **site}))
    stored: set[str] = set()
    for start in range(0, len(events), BATCH_MAX):
        stored |= set(phone.push(*events[start : start + BATCH_MAX])["stored"])
    nursery.tick()
    return {
        (event["kind"], field)
        for event in events
        if event["id"] in stored
        for field in FIELDS[event["kind"]]
        if event["data"].get(field) in PAYLOADS
    }


@pytest.fixture(scope="module")
def hostile(loaded: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo nursery with payloads in every free-text field."""
    folder = shutil.copytree(loaded, tmp_path_factory.mktemp("hostile") / "data")
    for served in serve(folder, Clock(), demo=True):
        nursery = Nursery(served.app, served.clock)
        took = record_everywhere(nursery)
        every = {(kind, field) for kind, fields in FIELDS.items() for field in fields}
        assert sorted(every - took) == [], "no payload could be put on record here"
        yield served


WATCHED = """() => {
  window.ran = 0;
  window.broken = [];
  document.addEventListener("securitypolicyviolation",
    (event) => window.broken.push(event.violatedDirective + " " + event.blockedURI));
}"""
# Elements that no template of ours makes, and attributes that run something.
INJECTED = """() => {
  const LEADS = ["href", "src", "action", "formaction", "xlink:href", "data", "srcdoc"];
  return [
  ...[...document.querySelectorAll("iframe, object, embed, base, script:not([src])")]
    .map((one) => one.outerHTML),
  ...[...document.querySelectorAll("*")].filter((one) => [...one.attributes].some(
    (held) => held.name.startsWith("on")
      || (LEADS.includes(held.name) && /^\\s*(javascript|data:text)/i.test(held.value))
  )).map((one) => one.outerHTML.slice(0, 200)),
  ...[...document.images].filter((one) => one.getAttribute("src") === "x").map(() => "img"),
]; }"""


OPEN = "() => document.querySelectorAll('details').forEach((one) => { one.open = true; })"


def screens() -> list[str]:
    """Return the route of every screen, and of what a payload could be the id of."""
    names, quoted = ("lot", "walk", "act", "watch", "crop", "tag"), "%3Cimg%20src%3Dx%20onerror%3D"
    odd = [f"#/{name}/{id}" for name in names for id in (f"{quoted}window.ran=8%3E", "__proto__")]
    return [*dict.fromkeys(route for route, _ in SCREENS.values()), *odd, "#/__proto__"]


def test_no_payload_runs_on_any_screen(hostile: Served, browser: Browser) -> None:
    """Every screen shows them as the text that they are; the policy had nothing to stop."""
    visits = Visits(browser)
    page = visits.open(hostile, before=lambda page: page.add_init_script(f"({WATCHED})()"))
    expect(page.locator(".stop").first).to_be_visible(timeout=LATER_MS)
    seen = ""
    for route in screens():
        page.evaluate("(route) => { location.hash = route; }", route)
        page.clock.run_for(600)
        opened(page, route)
        seen += page.evaluate("() => document.body.innerText")
        assert page.evaluate(INJECTED) == [], route
        assert page.evaluate("() => [window.ran, window.broken]") == [0, []], route
    for payload in PAYLOADS:
        assert payload in seen, f"{payload} is nowhere shown as the text that it is"
    visits.end()


def opened(page: Page, route: str) -> None:
    """Wait until a screen is there, and open whatever can be opened on it."""
    expect(page.locator("[class*=page-], main").first, route).to_be_visible(timeout=LATER_MS)
    page.evaluate(
        "() => document.querySelectorAll('details').forEach((one) => { one.open = true; })"
    )
    page.clock.run_for(100)


def test_no_payload_is_markup_on_the_pages_that_the_server_makes(hostile: Served) -> None:
    """The morning list, a mail, the calendar: outside of scripts' reach, and escaped."""
    nursery = Nursery(hostile.app, hostile.clock)
    page = nursery.call("GET", "/api/v1/morning?as=html").text
    # Its own drawing, the square to scan, is one path of numbers; no other is there.
    shown, drawings = re.subn(r'<svg [^<>"]*(?:"[^<>"]*"[^<>"]*)*><path [^<>]*/></svg>', "", page)
    assert drawings <= 1
    found = nursery.call("GET", "/api/v1/morning").json
    people = dict.fromkeys(found["people"], PAYLOADS[0])
    line = dict.fromkeys(("level", "says", "where", "since", "next_action", "url"), PAYLOADS[0])
    message = {"title": PAYLOADS[1], "intro": PAYLOADS[3], "lines": [line], "url": PAYLOADS[1]}
    mail = as_html(message, "https://nursery.example/")
    for text in (shown, morning_page(found, people), mail):
        assert re.search(r"<(img|script|svg|iframe|textarea)\b", text) is None
        assert "&lt;" in text
    address = nursery.call("POST", "/api/v1/calendar", {}).json["address"]
    feed = nursery.client.get(address).text
    lines = feed.replace("\r\n ", "").split("\r\n")
    # One property a line (RFC 5545, 3.1): nothing that was typed in begins one.
    assert [line for line in lines if line and not re.match(r"[A-Z-]+[;:]", line)] == []
