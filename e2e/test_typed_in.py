"""The list is printed, the phone dies, and the paper is typed in next day with its true times."""

import uuid
from datetime import UTC, datetime, timedelta

from playwright.sync_api import BrowserContext, Page, expect
from tests.browser import PHONE

from e2e.house import (
    LATER_MS,
    House,
    ago,
    lot_events,
    offline,
    online,
    pair,
    place,
    unsent,
    until,
    until_in_touch,
)
from e2e.test_bench import bucket

pytest_plugins = ["e2e.house"]
LOTS = 5
BOXES = ("soak_ended", "covered", "sanitise_started", "sanitise_ended")
# How wide each field of a moment is, and how wide it must be to be seen whole.
FIELDS = """() => [...document.querySelectorAll(".moment input")].map((input) => {
  const width = input.offsetWidth;
  input.style.width = "max-content";
  return [width, input.offsetWidth];
})"""
TIMES = ("07:10", "07:12", "07:15", "07:20", "07:31")
BACKDATED = """async ([day, time]) => {
  const { meta, setMeta } = await import("/store/database.js");
  await setMeta("papers", (await meta("papers", [])).map((paper) => ({ ...paper, day, time })));
}"""
PRINTS = "() => { window.printed = 0; window.print = () => { window.printed += 1; }; }"


def go(page: Page, route: str) -> None:
    """Go to a screen."""
    page.evaluate("(route) => { location.hash = route; }", route)
    expect(page.locator(f".page-{route.removeprefix('#/')}")).to_be_visible(timeout=LATER_MS)


def tick_boxes(page: Page, yesterday: str) -> None:
    """Type in the soak and the cover of yesterday's paper, made at 06:50."""
    save = page.locator(".foot > .main-act")
    at, on = page.get_by_label("Done at"), page.get_by_label("On", exact=True)
    expect(page.locator(".page-typed .code")).to_have_text("26-S")
    expect(save).to_contain_text("Not done")
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
    refusals = (
        (tomorrow, "11:05", "still to come"),
        (yesterday, "04:30", "not after it began, "),
        (yesterday, "06:40", "before the list was made"),
    )
    for day, time, says in refusals:
        at.fill(time)
        on.fill(day)
        expect(page.get_by_role("alert")).to_contain_text(says)
        expect(save).to_be_disabled()
    at.fill("23:50")
    page.get_by_role("button", name="Drained and into the bleach").click()
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(save).to_be_disabled()
    # Today's bucket, chosen before the time is said, is not what yesterday's seed lay in.
    at.fill("")
    page.get_by_role("button", name="6,000 ppm, mixed").click()
    at.fill("23:50")
    expect(page.get_by_role("alert")).to_contain_text("Say which bucket")
    expect(save).to_be_disabled()
    page.get_by_role("button", name="A bucket not on record").click()
    page.get_by_label("Its strength").fill("5")
    rinsed = page.get_by_label("Rinsed at")
    rinsed.fill("23:50")
    expect(page.get_by_role("alert")).to_contain_text("is not after it went in at 23:50")
    rinsed.fill("00:00")
    expect(page.get_by_text("Rinsed on the next day")).to_contain_text("0 h 10 min in the bleach")
    save.click()
    # The evening's cover is of the paper's own day, whatever day it is typed in on.
    for again in (False, True):
        expect(page.get_by_text("Frost corner: was it covered?")).to_be_visible()
        at.fill("16:40")
        expect(on).to_have_value(yesterday)
        save.click()
        if not again:
            page.get_by_role("button", name="Undo").click()


def ask_about_drained(page: Page, sheet: str) -> None:
    """Ask where the seed went that was drained; nothing of the question is cut off at 320 px."""
    page.evaluate("(route) => { location.hash = route; }", f"#/typed/{sheet}")
    page.set_viewport_size({"width": 320, "height": 740})
    expect(page.get_by_label("Day")).to_be_visible()
    assert all(width >= whole for width, whole in page.evaluate(FIELDS))
    # At seven, as it is proposed, the day may not have come yet.
    page.get_by_label("Begun at").fill("00:00")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_text("Where did 26-S go after it was drained?")).to_be_visible()
    assert all(width >= whole for width, whole in page.evaluate(FIELDS))
    for way in (
        "Into the cold, in the fridge",
        "Into the warm, indoors",
        "Sown",
        "Into the bleach",
    ):
        expect(page.get_by_role("button", name=way, exact=True)).to_be_visible()
    page.get_by_role("button", name="Into the cold, in the fridge").click()
    expect(page.locator(".foot > .main-act")).to_contain_text("Say when it was done")
    page.get_by_role("button", name="Nowhere: it still lies drained").click()


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
    yesterday = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()
    corner = place(house, "Frost corner", 2, daily=False)
    soaked, first = lot_events(house, "26-S", shed, 9)
    begun = house.event("soak_started", soaked, {}, f"{yesterday}T05:00:00.000Z")
    # Seen today and in fresh water: it is no lot to look at, its step runs all the same.
    now = [(kind, ago(seconds=1)) for kind in ("water_changed", "looked")]
    bucket(house, 0)
    house.record([*first, begun, *(house.event(kind, soaked, {}, at) for kind, at in now)])
    tender = str(uuid.uuid4())
    pots = {"crop": "acer-palmatum", "label": "26-T", "quantity": 9, "unit": "plants"}
    flush = {"moisture": 3, "new_flush": True}
    house.record([
        house.event("lot_started", tender, {**pots, "place": corner}, ago(days=9)),
        house.event("looked", tender, flush, ago(seconds=1)),
    ])  # fmt: skip
    due = {lot for (watch, lot), _ in house.alerts().items() if watch == "cold-look"}
    assert due == set(ids.values())

    context: BrowserContext = browser.new_context(**PHONE)  # type: ignore[attr-defined]
    page = pair(context, house)
    go(page, "#/morning")
    expect(page.locator(".sheet-lot")).to_have_count(LOTS, timeout=LATER_MS)
    page.evaluate(PRINTS)
    page.get_by_role("button", name="Print it").click()
    page.wait_for_function("() => window.printed === 1")
    # Its boxes beside the lots: a soak that runs, and the one place that frost can hurt.
    page.evaluate(BACKDATED, [yesterday, "06:50"])
    order = [row.split()[0] for row in page.locator(".sheet-lot strong").all_inner_texts()]

    # The phone is dead all day; the next morning it starts again with no signal.
    offline(context, house)
    page.reload()
    until(page, "import('/store/house.js').then((house) => house.ready.value)")
    go(page, "#/typed")
    expect(page.locator(".page-typed main")).to_contain_text(f": {LOTS} lots, 2 other boxes")
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
    page.get_by_label("Day").fill(tomorrow)
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("alert")).to_contain_text("still to come")
    # A sheet of the server's is opened by its link, in its own order.
    page.evaluate(
        "(route) => { location.hash = route; }",
        f"#/typed/{yesterday}/06:50/{order[2]},{order[0]}/k:{soaked[-8:]},c:{corner[-8:]},n:-3",
    )
    expect(page.get_by_label("Day")).to_have_value(yesterday)
    expect(page.locator(".page-typed main")).to_contain_text("made at 06:50: 2 lots, 2 other boxes")
    # One that names places only stands for every lot of them: five, and the one that soaks.
    page.evaluate(
        "(route) => { location.hash = route; }", f"#/typed/{yesterday}/06:50//w:{shed[-8:]}"
    )
    expect(page.locator(".page-typed main")).to_contain_text(f"made at 06:50: {LOTS + 1} lots")
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
        expect(page.locator(".where")).to_contain_text(f"{number} of {LOTS + 2}")
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
    tick_boxes(page, yesterday)
    expect(page.locator(".told")).to_contain_text(f"{LOTS + 2} of {LOTS + 2} typed in")
    # Five looks, a soak's end with a dip and its rinse, and a cover; a look and a cover taken back,
    # and their taking back.
    assert unsent(page) == LOTS + 4 + 4
    today = datetime.now(UTC).date().isoformat()
    ask_about_drained(page, f"{today}/00:00//d:{soaked[-8:]}")

    online(context, house)
    until_in_touch(page)
    voided = {event["data"]["of"] for event in house.events("voided")}
    kept = [event for event in house.events() if event["id"] not in voided and event.get("typed")]
    (end,), (cover,), (dip,), (rinse,) = (
        [one for one in kept if one["kind"] == kind] for kind in BOXES
    )
    assert (end["lot"], end["at"]) == (soaked, f"{yesterday}T23:50:00.000Z")
    assert (dip["lot"], dip["at"], rinse["at"]) == (
        soaked, f"{yesterday}T23:50:00.000Z", f"{today}T00:00:00.000Z"
    )  # fmt: skip
    assert dip["data"] == {"percent_by_volume": 5, "limit_minutes": 10}
    assert (cover["data"]["place"], cover["at"]) == (corner, f"{yesterday}T16:40:00.000Z")
    looks = {event["lot"]: event for event in kept if event["kind"] == "looked"}
    assert len(looks) == LOTS
    for code, time in zip(order, TIMES, strict=True):
        look = looks[ids[code]]
        assert look["typed"] is True
        assert look["at"] == f"{yesterday}T{time}:00.000Z"
        assert look["recorded_at"] > look["observed_at"]
        assert house.lots()[ids[code]]["last_look"]["at"] == look["at"]
    assert [watch for watch, lot in house.alerts() if lot in due] == []
    context.close()
