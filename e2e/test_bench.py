"""The bench: timers that survive, a calendar that rings for the page, a mixing by touch."""

import re
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar
from playwright.sync_api import BrowserContext, Locator, Page, expect
from tests.browser import PersistentPhone

from e2e.demo import OpenApp, Served
from e2e.house import (
    LATER_MS,
    House,
    Lot,
    ago,
    lot_events,
    offline,
    online,
    pair,
    phone_lots,
    place,
    until,
    until_in_touch,
)
from lathhouse.domain.instants import parse_instant, to_text
from lathhouse.store import access
from lathhouse.sync.push import push

pytest_plugins = ["e2e.house", "e2e.demo"]
ARTEFACTS = Path(__file__).parent.parent / "artefacts" / "bench"
TAPS_MAX = 9
# A crop of each sort, and what its soak says after a day and two minutes: most from the crop's own
# figures; 24 h where it has none is common practice, no source.
FIVE = {
    "26-001": ("koelreuteria-paniculata", "past its limit", "alarm"),  # 5 h, at most 7.5
    "26-002": ("nandina-domestica", "done; limit in 11 h", "due"),  # 24 h, at most 36
    "26-003": ("acer-rubrum", "done; limit in 11 h", "due"),  # no soak in its protocol: 24 and 36
    "26-004": ("acer-palmatum", "11 h 5", None),  # 36 h, at most 48
    "26-005": ("pinus-mugo", "13 h 5", None),  # 38 h, at most 40
}


class Thumb:
    """A thumb that counts its touches."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, target: Locator) -> None:
        """Touch something."""
        target.tap(timeout=LATER_MS)
        self.taps += 1

    def start(self, step: str, labels: list[str]) -> None:
        """Start a step for several lots, from wherever the bench is in reach."""
        self.tap(self.page.locator(".ways").get_by_role("link", name="Bench"))
        self.tap(self.page.get_by_role("link", name="Start a step"))
        self.tap(self.page.get_by_role("button", name=step))
        for label in labels:
            self.tap(self.page.locator(".pick .answer", has_text=label))
        self.tap(self.page.locator(".foot .main-act"))
        expect(self.page.locator(".page-bench")).to_be_visible(timeout=LATER_MS)


def row(page: Page, label: str) -> Locator:
    """Return a lot's row on the bench."""
    return page.locator(".bench-row", has_text=label)


def to_bench(page: Page) -> None:
    """Go to the bench."""
    page.evaluate("() => { location.hash = '#/bench'; }")
    expect(page.locator(".page-bench")).to_be_visible(timeout=LATER_MS)


def keep(page: Page, name: str) -> None:
    """Keep pictures of the screen among the run's artefacts, at two widths."""
    ARTEFACTS.mkdir(parents=True, exist_ok=True)
    for width in (320, 360):
        page.set_viewport_size({"width": width, "height": 740})
        page.screenshot(path=ARTEFACTS / f"{name}-{width}.png")
        page.screenshot(path=ARTEFACTS / f"{name}-{width}-whole.png", full_page=True)


def soaked(house: House) -> dict[str, str]:
    """Put five lots of clean seed on record; return {label: id}."""
    bench = place(house, "Soak bench", 1)
    ids, events = {}, []
    for label, (crop, _, _) in FIVE.items():
        ids[label], (started,) = lot_events(house, label, bench, 2)
        started["data"]["crop"] = crop
        events.append(started)
    house.record(events)
    return ids


def levels(page: Page) -> dict[str, str]:
    """Return {lot: level} of the soaks that the phone says are over."""
    return page.evaluate(
        """() => import('/store/house.js').then((house) => Object.fromEntries(
          [...house.findings.value.values()].flat().filter((one) => one.watch === 'soak-over')
            .map((one) => [one.lot, one.level])))"""
    )


def test_five_soaks_started_offline_outlive_a_dead_phone_and_ring_a_day_later(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    ids = soaked(house)
    phone = persistent_phone("potting-shed")
    pair(phone.open(), house)
    phone.close()
    page = phone.open().new_page()
    page.goto(house.address)
    until_in_touch(page)
    offline(phone.context, house)

    thumb = Thumb(page)
    thumb.start("Into the soak", list(FIVE))
    assert thumb.taps <= TAPS_MAX
    expect(page.locator(".bench-row")).to_have_count(5)
    keep(page, "five-started")
    begun = {lot: one["spells"][-1] for lot, one in phone_lots(page).items()}
    phone.kill()

    context = phone.open()
    context.set_offline(True)
    context.clock.install(time=datetime.now(UTC) + timedelta(days=1, minutes=2))
    page = context.new_page()
    page.goto(house.address)
    until(page, "import('/store/house.js').then((house) => house.ready.value)")
    to_bench(page)
    for label, (_, words, _) in FIVE.items():
        expect(row(page, label).locator(".bench-run")).to_contain_text("24 h 0")
        expect(row(page, label).locator(".bench-left")).to_contain_text(words)
    for label in ("26-004", "26-005"):
        expect(row(page, label)).to_contain_text("still water")
    keep(page, "five-a-day-later")
    assert levels(page) == {ids[label]: level for label, (_, _, level) in FIVE.items() if level}
    page.evaluate("() => { location.hash = '#/alerts'; }")
    page.get_by_role("button", name="Show the 3 lots").first.tap()
    expect(page.locator(".page-alerts")).to_contain_text("26-001")

    online(context, house)
    until_in_touch(page)
    starts = {event["lot"]: event for event in house.events("soak_started")}
    assert {lot: event["id"] for lot, event in starts.items()} == {
        lot: spell["event"] for lot, spell in begun.items()
    }
    assert {lot: event["at"] for lot, event in starts.items()} == {
        lot: spell["started_at"] for lot, spell in begun.items()
    }


def test_one_tap_goes_on_with_every_record_of_it_and_one_more_takes_it_back(
    house: House, phone: BrowserContext
):
    bench = place(house, "Soak bench", 1)
    maple, first = lot_events(house, "26-004", bench, 3, ("soak_started", {}, 1.6))
    other, second = lot_events(house, "26-005", bench, 3, ("soak_started", {}, 1.2))
    house.record([*first, *second])
    page = pair(phone, house)
    to_bench(page)
    row(page, "26-005").get_by_role("button", name="Water changed").tap()
    expect(row(page, "26-005")).not_to_contain_text("still water", timeout=LATER_MS)
    row(page, "26-004").get_by_role("button", name="Drained and into the cold").tap()
    expect(row(page, "26-004")).to_contain_text("in the cold", timeout=LATER_MS)
    assert phone_lots(page)[maple]["stage"] == "cold"
    page.get_by_role("button", name="Undo").tap()
    expect(row(page, "26-004")).to_contain_text("soaking", timeout=LATER_MS)
    until_in_touch(page)
    lots = house.lots()
    assert lots[maple]["stage"] == "soak" == lots[other]["stage"]
    kinds = [event["kind"] for event in house.events() if event["lot"] == maple]
    assert kinds == ["lot_started", "soak_started", "soak_ended", "cold_started", *["voided"] * 2]


def test_acid_then_bleach_is_refused_in_words_until_the_rinse_is_on_record(
    house: House, phone: BrowserContext
):
    """Acid left on hard seed makes chlorine gas of bleach."""
    bench = place(house, "Soak bench", 1)
    acid = ("scarified", {"method": "acid", "minutes": 30}, 0.5)
    lot, events = lot_events(house, "26-006", bench, 3, acid, ("soak_started", {}, 0.4))
    house.record(events)
    page = pair(phone, house)
    to_bench(page)
    expect(row(page, "26-006")).to_contain_text("chlorine")
    page.evaluate("() => { location.hash = '#/start/sanitise'; }")
    pick = page.locator(".pick .answer", has_text="26-006")
    expect(pick).to_be_disabled(timeout=LATER_MS)
    expect(pick).to_contain_text("chlorine")
    page.evaluate("(lot) => { location.hash = `#/start/sanitise/${lot}`; }", lot)
    expect(page.locator(".foot .main-act")).to_be_disabled()
    page.reload()
    expect(page.locator("main > .caution").first).to_contain_text("chlorine", timeout=LATER_MS)
    keep(page, "acid-refused")
    page.get_by_role("button", name="26-006: Rinsed, strip reads neutral").tap()
    expect(pick).to_be_enabled(timeout=LATER_MS)
    until_in_touch(page)
    assert [event["lot"] for event in house.events("rinsed_neutral")] == [lot]


def test_a_coat_broken_with_acid_on_the_phone_bars_bleach_at_once(
    house: House, phone: BrowserContext
):
    bench = place(house, "Soak bench", 1)
    lot, events = lot_events(house, "26-010", bench, 3)
    house.record(events)
    page = pair(phone, house)
    phone.set_offline(True)
    page.evaluate("(lot) => { location.hash = `#/act/scarified/${lot}`; }", lot)
    expect(page.locator(".caution").first).to_contain_text("acid into water", timeout=LATER_MS)
    page.get_by_role("button", name="acid", exact=True).tap()
    page.get_by_role("button", name="Save").tap()
    expect(page.locator(".page-act")).to_have_count(0, timeout=LATER_MS)
    page.evaluate("() => { location.hash = '#/start/sanitise'; }")
    pick = page.locator(".pick .answer", has_text="26-010")
    expect(pick).to_be_disabled(timeout=LATER_MS)
    page.evaluate("(lot) => { location.hash = `#/lot/${lot}`; }", lot)
    expect(page.get_by_text("Rinsed, strip reads neutral").first).to_be_visible(timeout=LATER_MS)
    phone.set_offline(False)
    until_in_touch(page)
    assert [event["data"] for event in house.events("scarified")] == [{"method": "acid"}]


def test_seed_with_roots_is_kept_from_bleach(house: House, phone: BrowserContext):
    bench = place(house, "Shed fridge", 1)
    rooted = ("looked", {"sprouted_percent": 12}, 1)
    _, events = lot_events(house, "26-011", bench, 70, ("cold_started", {}, 60), rooted)
    house.record(events)
    page = pair(phone, house)
    page.evaluate("() => { location.hash = '#/start/sanitise'; }")
    pick = page.locator(".pick .answer", has_text="26-011")
    expect(pick).to_be_disabled(timeout=LATER_MS)
    expect(pick).to_contain_text("bleach kills them")


def bucket(house: House, hours: float) -> str:
    """Put a mixed bucket on record, that old; return its id."""
    said = {
        "solution": str(uuid.uuid4()),
        **{"product_strength": 4, "product_unit": "percent_available_chlorine"},
        **{"wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000},
        **{"product_ml": 600, "water_ml": 3400, "method": "make_up_to", "ppm": 6000},
    }
    house.record([house.event("solution_mixed", None, said, ago(hours=hours))])
    return said["solution"]


def test_a_dip_names_its_bucket_and_an_old_bucket_needs_a_reason(
    house: House, phone: BrowserContext
):
    bench = place(house, "Soak bench", 1)
    lot, events = lot_events(house, "26-007", bench, 3, ("soak_started", {}, 1))
    house.record(events)
    fresh, _ = bucket(house, 2), bucket(house, 30)
    page = pair(phone, house)
    to_bench(page)
    row(page, "26-007").get_by_role("button", name="More").tap()
    row(page, "26-007").get_by_role("link", name="Drained and into the bleach").tap()
    expect(page.get_by_text("never with acids", exact=False).first).to_be_visible(timeout=LATER_MS)
    page.locator(".foot .main-act").tap()
    expect(page.get_by_role("alert")).to_contain_text("Say which bucket")
    page.get_by_role("button", name="A bucket not on record").tap()
    page.locator(".foot .main-act").tap()
    expect(page.get_by_role("alert")).to_contain_text("at most 100 %")
    expect(page.get_by_label("Its strength")).to_be_focused()
    page.get_by_role("button", name="OLD: 6,000 ppm").tap()
    page.locator(".foot .main-act").tap()
    expect(page.get_by_role("alert")).to_contain_text("past its life")
    keep(page, "old-bucket")
    assert phone_lots(page)[lot]["stage"] == "soak"
    page.locator("button:not(:has-text('OLD'))", has_text="6,000 ppm, mixed").tap()
    page.get_by_role("button", name="10 %").tap()
    page.locator(".foot .main-act").tap()
    expect(row(page, "26-007").first).to_contain_text("in the bleach", timeout=LATER_MS)
    keep(page, "in-the-bleach")
    until_in_touch(page)
    (dip,) = house.events("sanitise_started")
    assert (dip["lot"], dip["data"]["solution"]) == (lot, fresh)
    lots = {one["label"]: one for one in house.lots().values()}
    assert dip["data"]["limit_minutes"] == 10
    (undipped,) = [one for one in lots.values() if one["parents"] == [lot]]
    assert (undipped["quantity"], lots["26-007"]["quantity"]) == (20, 180)
    assert [spell["kind"] for spell in undipped["spells"]] == ["soak", "drained"]


def test_grams_are_parted_by_weight_and_a_lot_without_a_count_is_asked_for_its_number(
    house: House, phone: BrowserContext
):
    bench = place(house, "Soak bench", 1)
    lots = {}
    for label, counted in (("26-008", {"quantity": 12.5, "unit": "g"}), ("26-009", {})):
        lot, events = lot_events(house, label, bench, 3, ("soak_started", {}, 1))
        start = events[0]["data"]
        events[0]["data"] = {name: start[name] for name in ("crop", "label", "place")} | counted
        lots[label] = lot
        house.record(events)
    page = pair(phone, house)
    to_bench(page)
    page.evaluate("() => { location.hash = '#/start/sanitise'; }")
    for label in lots:
        page.locator(".pick .answer", has_text=label).tap()
    page.get_by_role("button", name="A bucket not on record").tap()
    page.get_by_label("Its strength").fill("15")
    page.get_by_role("button", name="10 %").tap()
    expect(page.get_by_text("1.3 g of 26-008")).to_be_visible()
    page.locator(".foot .main-act").tap()
    expect(page.get_by_role("alert")).to_contain_text("26-009: give how much")
    page.get_by_label("Seeds left undipped").fill("30")
    keep(page, "part-undipped")
    page.locator(".foot .main-act").tap()
    expect(row(page, "26-009").first).to_contain_text("in the bleach", timeout=LATER_MS)
    until_in_touch(page)
    parts = {one["parents"][0]: one for one in house.lots().values() if one["parents"]}
    said = [(parts[lot]["quantity"], parts[lot]["unit"]) for lot in lots.values()]
    assert said == [(1.3, "g"), (30, "seeds")]
    data = [dip["data"] for dip in house.events("sanitise_started")]
    assert [one.get("solution") for one in data] == [None, None]
    assert [one["percent_by_volume"] for one in data] == [15, 15]


SYDNEY = "Australia/Sydney"
# The server's clock stands at nine here while the phone's goes on: within two minutes is right.
SOON_AFTER_NINE = re.compile("to go, tomorrow (08:5[89]|09:0[0-2])")


def serve_site(served: Served, at: datetime, zone: str, label: str) -> str:
    """Set the server's time, its site's time zone and one lot; return the owner's secret."""
    served.clock.set(at.isoformat())
    site, now = served.app.config["SITE_ID"], to_text(served.clock())
    with served.app.app_context():
        data = {"id": site, "name": "Bench", "timezone": zone, "hemisphere": "south"}
        data |= {"latitude_deg": -33.9, "working_days": [1, 2, 3, 4, 5], "units": "metric"}
        data |= {"currency": "AUD"}
        lot = {"crop": "nandina-domestica", "label": label, "quantity": 200, "unit": "seeds"}
        common: dict[str, Any] = {"observed_at": now, "by": None}
        events = [
            {"kind": "nursery_changed", "lot": None, "data": data},
            {"kind": "lot_started", "lot": str(uuid.uuid4()), "data": lot},
        ]
        numbered = [
            {"id": str(uuid.uuid4()), "seq": seq, **common, **event}
            for seq, event in enumerate(events, start=1)
        ]
        known = {"role": "owner", "silent_ok": True, "name": "a script"}
        said = push(site, str(uuid.uuid4()), numbered, now, served.clock(), known)
        assert len(said["stored"]) == 2, said
        return access.owner_link(site, now)


def settle(page: Page) -> None:
    """Wait until a phone is paired and holds the whole app and record; go to the bench."""
    expect(page.get_by_text("This phone is paired.")).to_be_visible(timeout=LATER_MS)
    to_bench(page)
    until(page, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller)")
    until_in_touch(page)


def open_site(served: Served, open_app: OpenApp, secret: str, at: datetime, zone: str) -> Page:
    """Open the app on a phone in a zone, its clock standing at a time until it is moved."""

    def stand(page: Page) -> None:
        page.clock.install(time=at)

    page = open_app(served, f"#/pair/{secret}", before=stand, timezone_id=zone)
    settle(page)
    return page


CHANGES = [
    # Clocks go forward in the night: a day later by the hour is 24 h less one by the sun.
    ("2026-10-03T16:00:00", "17:00"),
    # Clocks go back in the night.
    ("2027-04-03T16:00:00", "15:00"),
]


@pytest.mark.parametrize("zone", [SYDNEY, "America/New_York"])
@pytest.mark.parametrize(("starts", "ends"), CHANGES)
def test_a_soak_over_a_change_of_the_clocks_lasts_its_own_hours(
    empty_nursery: Served, open_app: OpenApp, starts: str, ends: str, zone: str
):
    """The site's own change, on a phone in its zone and on one that still keeps another."""
    at = datetime.fromisoformat(starts).replace(tzinfo=ZoneInfo(SYDNEY))
    secret = serve_site(empty_nursery, at, SYDNEY, "26-008")
    page = open_site(empty_nursery, open_app, secret, at, zone)
    Thumb(page).start("Into the soak", ["26-008"])
    # An answer that was under way while the clock is moved would measure half of the move.
    until_in_touch(page)
    page.context.set_offline(True)
    (spell,) = next(iter(phone_lots(page).values()))["spells"]
    began = parse_instant(spell["started_at"])
    page.clock.pause_at(began / 1000 + 23 * 3600)
    page.clock.run_for(1000)
    here = row(page, "26-008")
    expect(here.locator(".bench-run")).to_contain_text("23 h 00 min")
    expect(here.locator(".bench-left")).to_contain_text(f"to go, today {ends}")
    expect(here.locator(".bench-left")).to_contain_text("59 min 5")
    page.clock.pause_at(began / 1000 + 24 * 3600 - 3)
    page.clock.run_for(1000)
    expect(here.locator(".bench-left")).to_contain_text("0 min 02 s to go")
    page.clock.run_for(3000)
    expect(here.locator(".bench-left")).to_contain_text("done")


def test_a_phone_three_hours_wrong_is_put_right_when_it_meets_the_server(
    empty_nursery: Served, open_app: OpenApp
):
    at = datetime(2026, 11, 2, 9, 0, tzinfo=ZoneInfo(SYDNEY))
    secret = serve_site(empty_nursery, at, SYDNEY, "26-009")
    page = open_site(empty_nursery, open_app, secret, at, SYDNEY)
    page.context.set_offline(True)
    page.clock.set_system_time(at + timedelta(hours=3))
    Thumb(page).start("Into the soak", ["26-009"])
    expect(row(page, "26-009").locator(".bench-left")).to_contain_text("to go, tomorrow 12:0")
    page.context.set_offline(False)
    until_in_touch(page)
    expect(row(page, "26-009").locator(".bench-left")).to_contain_text(SOON_AFTER_NINE)
    expect(row(page, "26-009").locator(".bench-run")).to_contain_text("0 min")
    (spell,) = next(iter(phone_lots(page).values()))["spells"]
    assert abs(parse_instant(spell["started_at"]) - at.timestamp() * 1000) < 120_000


def test_the_calendar_file_is_made_offline_and_rings_at_each_time(
    house: House, phone: BrowserContext
):
    """Read by another reader of RFC 5545; the same step keeps its UID."""
    bench = place(house, "Soak bench", 1)
    maple, first = lot_events(house, "26-004", bench, 3, ("soak_started", {}, 1))
    ash, second = lot_events(house, "26-010", bench, 3, ("soak_started", {}, 1.6))
    house.record([*first, *second])
    page = pair(phone, house)
    offline(phone, house)
    to_bench(page)
    files = []
    for _ in range(2):
        with page.expect_download(timeout=LATER_MS) as download:
            page.get_by_role("button", name="Put these in my calendar").tap()
        files.append(Calendar.from_ical(Path(download.value.path()).read_bytes()))
    lots: dict[str, Lot] = phone_lots(page)
    # The first is not yet done at 36 h; the second is, and rings at its limit of 48 h.
    hours = {maple: 36, ash: 48}
    events = [list(file.walk("VEVENT")) for file in files]
    uids = [sorted(str(one["uid"]) for one in found) for found in events]
    assert uids[0] == uids[1]
    assert len(set(uids[0])) == len(hours)
    times = {parse_instant(one.start.isoformat()) // 1000 for one in events[0]}
    assert times == {
        (parse_instant(lots[lot]["spells"][-1]["started_at"]) + length * 3_600_000) // 1000
        for lot, length in hours.items()
    }
    for one in events[0]:
        (alarm,) = one.walk("VALARM")
        assert (alarm["action"], alarm["trigger"].dt) == ("DISPLAY", timedelta(0))
        assert "Acer palmatum" in str(one["summary"])
    online(phone, house)


DENIED = """
Object.defineProperty(navigator, 'wakeLock', { value: {
  request: () => Promise.reject(new DOMException('denied', 'NotAllowedError')) } });
window.AudioContext = class { constructor() { throw new Error('no sound device'); } };
Object.defineProperty(navigator, 'vibrate', { value: undefined });
Object.defineProperty(navigator, 'setAppBadge', { value: undefined });
"""
GRANTED = """
Object.assign(window, { beeps: 0, locks: 0, shakes: 0, badges: [] });
const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  window.beeps += 1;
  return make.call(this);
};
const have = (name, value) => Object.defineProperty(navigator, name, { value });
have('wakeLock', { request: async () => {
  window.locks += 1;
  return { release: async () => {} };
} });
have('vibrate', () => { window.shakes += 1; return true; });
have('setAppBadge', async (n) => { window.badges.push(n); });
"""


def switched_on(page: Page) -> None:
    """Ask for everything that can make the page noticed."""
    for name in (
        "Ring at a limit",
        "Shake at a limit",
        "Keep the screen on",
        "Number on the app's icon",
    ):
        page.get_by_role("button", name=name).tap()


def soaking(served: Served, open_app: OpenApp, script: str) -> Page:
    """Open the bench on a phone with one soak running."""
    at = datetime(2026, 11, 2, 9, 0, tzinfo=ZoneInfo(SYDNEY))
    secret = serve_site(served, at, SYDNEY, "26-011")

    def prepare(page: Page) -> None:
        page.add_init_script(script)
        page.clock.install(time=at)

    allowed = {"timezone_id": SYDNEY, "permissions": ["notifications"]}
    page = open_app(served, f"#/pair/{secret}", before=prepare, **allowed)
    settle(page)
    Thumb(page).start("Into the soak", ["26-011"])
    return page


def test_what_a_phone_denies_is_said_with_what_still_works(
    empty_nursery: Served, open_app: OpenApp
):
    page = soaking(empty_nursery, open_app, DENIED)
    switched_on(page)
    main = page.locator("main")
    for words in ("no sound", "does not shake", "lets the screen sleep", "no number"):
        expect(main).to_contain_text(words)
    expect(page.locator("[aria-pressed=true]")).to_have_count(0)
    expect(main).to_contain_text("cannot ring once it is closed")
    keep(page, "denied")


def test_a_limit_rings_shakes_and_counts_on_the_icon_on_any_screen(
    empty_nursery: Served, open_app: OpenApp
):
    page = soaking(empty_nursery, open_app, GRANTED)
    switched_on(page)
    assert page.evaluate("() => window.locks") == 1
    tried = page.evaluate("() => window.beeps")
    assert tried > 0
    page.evaluate("() => { location.hash = '#/lots'; }")
    expect(page.locator(".page-lots")).to_be_visible()
    page.context.set_offline(True)
    page.clock.fast_forward("24:00:01")
    page.clock.run_for(2000)
    page.wait_for_function("(before) => window.beeps > before", arg=tried, timeout=LATER_MS)
    assert page.evaluate("() => window.shakes") > 0
    assert page.evaluate("() => window.badges.at(-1)") == 1
    rang = page.evaluate("() => window.beeps")
    page.clock.run_for(5000)
    assert page.evaluate("() => window.beeps") == rang
