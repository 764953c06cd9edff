"""The morning list is the same sheet, to the letter, on the phone and on the server."""

import random
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from lathhouse.domain.boxes import LETTERS, box_codes, boxes
from lathhouse.domain.instants import to_ms
from lathhouse.domain.morning import ALARMS_MAX, LOTS_MAX, RUNNING_MAX, morning
from lathhouse.domain.morning_text import text
from lathhouse.domain.morning_words import WORDS
from lathhouse.store.mornings import house_of
from lathhouse.store.work import looking
from tests.demo.conftest import open_demo
from tests.parity.twins import called_in_browser, first_difference
from tests.parity.weather import entry, nights_told
from tests.server import Clock, close_nursery

SEED, HOUSES = 11, 60
# In the morning, late in the night, shortly before sunrise: hours in UTC, ten behind the site's.
MADE = (22, 15, 18)
LEVELS = ("due", "late", "alarm")
OFFSETS = [["2026-01-01T00:00:00.000Z", 600], ["2026-10-03T16:00:00.000Z", 660]]


# What a running step asks of a lot's row.
UNTOUCHED = dict.fromkeys(
    ("acid_at", "rinsed_at", "sown", "first_emerged_at", "emergence_closed_at", "cleaned_at")
)


def spells(pick: random.Random) -> list[dict[str, Any]]:
    """Return no spell, or one that runs or is over."""
    hour, day = pick.randint(10, 23), pick.randint(7, 9)
    spell = {
        "kind": pick.choice(["sanitise", "soak", "drained", "cold"]), "event": "e", "nth": 1,
        "started_at": f"2026-09-0{day}T{hour}:30:00.000Z", "water_moved_at": None,
        "limit_minutes": pick.choice([None, 7]),
        "ended_at": pick.choice([None, None, "2026-09-09T20:00:00.000Z"]),
    }  # fmt: skip
    return [spell] * pick.randint(0, 1)


def both(page: Page, house: dict[str, Any], now: str) -> tuple[Any, Any]:
    """Return the list and its text, of both sides."""
    people = {"p1": "Ingrid"}
    found = morning(house, now)
    theirs = called_in_browser(page, "morning", "morning", house, now)["value"]
    said = called_in_browser(page, "morning_text", "text", theirs, WORDS, people)["value"]
    ticked = called_in_browser(page, "boxes", "boxes", theirs)["value"]
    mine = {"text": text(found, WORDS, people), "boxes": boxes(found)}
    return {**found, **mine}, {**theirs, "text": said, "boxes": ticked}


def finding(pick: random.Random, subject: str, name: str) -> dict[str, Any]:
    level = pick.choice(LEVELS)
    state = pick.choice(["open", "open", "acknowledged", "shelved"])
    until = f"2026-09-1{pick.randint(0, 9)}T21:00:00.000Z" if state == "shelved" else None
    return {
        "subject": {"kind": "lot" if subject else "place", "id": subject or name},
        "shelved_until": until, "shelved_why": pick.choice([None, "busy"]),
        "watch": f"w{pick.randint(1, 5)}", "level": level, "priority": pick.randint(1, 4),
        "since": f"2026-09-0{pick.randint(1, 9)}T00:00:00.000Z",
        "state": state,
        "acknowledged_by": pick.choice([None, "p1", "p9"]),
        "hidden_by": pick.choice([None, None, "w9"]),
        "lot": subject, "place": pick.choice(["a", "zz", None]),
        "says": pick.choice([f"{name} Acer: dry: noon", "no colon", f"{name}: é 漢 {{n}} $&"]),
        "next_action": pick.choice(["Water it", ""]),
    }  # fmt: skip


def random_house(pick: random.Random) -> dict[str, Any]:
    """Return a house of odd places and lots: no order, no name, no place, seen or never seen."""
    places = [
        {
            "id": id, "name": pick.choice([f"Bench {id}", "Bench"]),
            "order": pick.choice([None, 0, 1, 2]), "daily": pick.choice([True, False, None]),
        }
        for id in pick.sample("abcdef", pick.randint(0, 6))
    ]  # fmt: skip
    lots = [
        {
            "id": f"l{n}", "label": f"26-{pick.randint(1, 9):03}", 
            "crop": pick.choice(["acer", "?"]),
            "place": pick.choice([*"abcdef", None, "gone"]), "quantity": pick.choice([None, 0, 9]),
            "closed_at": pick.choice([None, None, "2026-09-01T00:00:00.000Z"]),
            "stage": pick.choice(["cold", "emerging", "sown", "potted"]),
            **UNTOUCHED, "spells": spells(pick),
            "seen_at": pick.choice([None, "2026-09-09T13:59:59.999Z", "2026-09-09T14:00:00.000Z"]),
        }
        for n in range(pick.choice([0, 3, 30]))
    ]  # fmt: skip
    findings = {f"lot:{lot['id']}": [] for lot in lots}
    for lot in lots:
        found = [finding(pick, lot["id"], lot["label"]) for _ in range(pick.randint(0, 3))]
        findings[f"lot:{lot['id']}"] = found
    for place in places:
        found = [finding(pick, None, place["name"]) for _ in range(pick.randint(0, 2))]
        findings[f"place:{place['id']}"] = [{**one, "lot": None} for one in found]
    for kind in ("nursery", "phone", "solution"):
        found = [finding(pick, None, kind) for _ in range(pick.randint(0, 2))]
        findings[f"{kind}:x"] = found
    notices = {lot["id"]: [{"says": "six-week look"}] * pick.randint(0, 1) for lot in lots}
    nursery = {"name": pick.choice(["", "Quillstone Nursery", None]), "offsets": OFFSETS,
               "latitude_deg": pick.choice([None, -33.6]),
               "forecasts": nights_told(pick, to_ms("2026-09-09T22:00:00.000Z"))}  # fmt: skip
    under = {
        "by": None,
        "until": pick.choice([None, "2026-09-12"]),
        "for_low_c": pick.choice([None, 6]),
    }
    laid = [{**place, "covered": {"at": "2026-09-09T06:45:00.000Z", **under}} for place in places]
    own = {"at": "2026-09-09T06:50:00.000Z", **under}
    stock = {"entries": [entry(pick, n) | {"place": pick.choice([*"abcdef", "", None]),
                                           "cover": pick.choice([None, None, own])}
                         for n in range(4)],
             "places": {place["id"]: place for place in pick.sample(laid, len(laid) // 2)},
             "houses": {}, "offsets": OFFSETS,
             "home": {**nursery, "frost_c": pick.choice([None, -9, 9])}}  # fmt: skip
    crops = {"acer": {"botanical": "Acer palmatum"}}
    return {
        "nursery": nursery, "places": places, "lots": lots, "crops": crops,
        "findings": findings, "notices": notices,
        **({"stock": stock} if pick.random() < 0.8 else {}),
    }  # fmt: skip


def test_random_houses_give_the_same_list_and_text(core_page: Page):
    pick = random.Random(SEED)
    told = running = 0
    acts: Counter[str] = Counter()
    for number in range(HOUSES):
        house = random_house(pick)
        ours, theirs = both(core_page, house, f"2026-09-09T{MADE[number % 3]}:40:00.000Z")
        told += len(ours["stops"]) + len(ours["alarms"])
        running += len(ours["running"])
        acts.update(one["act"] for one in ours["boxes"])
        # The address of the printed list says its boxes to the phone.
        asked = (box_codes(ours), list("abcdef"), [lot["id"] for lot in house["lots"]])
        named = called_in_browser(core_page, "boxes", "boxesNamed", *asked)["value"]
        low = ours["evening"] and ours["boxes"] and ours["evening"]["low_c"]
        assert (named["boxes"], named["unknown"]) == (ours["boxes"], [])
        assert named["low_c"] == (low if isinstance(low, float | int) else None)
        assert first_difference(ours, theirs) is None, f"seed {SEED}, house {number}: {house}"
    assert told > 5 * HOUSES
    assert running > HOUSES
    assert set(acts) == set(LETTERS), acts


def test_more_than_a_walk_is_cut_alike(core_page: Page):
    """`LOTS_MAX`, `ALARMS_MAX` and `RUNNING_MAX` are ours."""
    pick = random.Random(SEED)
    house = random_house(pick)
    lot = {"label": "x", "crop": "acer", "place": "a", "quantity": 1, "closed_at": None}
    soak = {"kind": "soak", "event": "e", "nth": 1, "ended_at": None, "limit_minutes": None}
    soak |= {"started_at": "2026-09-09T20:00:00.000Z", "water_moved_at": None}
    lot |= {**UNTOUCHED, "spells": []}
    house["places"] = [{"id": id, "name": id, "order": 1, "daily": True} for id in "ab"]
    house["lots"] = [
        {**lot, "id": f"m{n:04}", "stage": "cold", "seen_at": None, "place": "ab"[n % 2]}
        for n in range(LOTS_MAX + 7)
    ]
    for one in house["lots"][: RUNNING_MAX + 2]:
        one["spells"] = [soak]
    alarm = {**finding(pick, "m0001", "x"), "level": "alarm", "state": "open", "hidden_by": None}
    house["findings"] = {f"lot:m{n:04}": [alarm] for n in range(ALARMS_MAX + 4)}
    ours, theirs = both(core_page, house, "2026-09-09T22:40:00.000Z")
    assert (ours["lots_left"], ours["alarms_left"], ours["running_left"]) == (7, 4, 2)
    assert first_difference(ours, theirs) is None


def test_a_box_was_ticked_within_the_day_after_its_list_was_made(core_page: Page):
    """The rule is ours: a list made on the 10th, typed in on the 10th or the 11th."""
    paper = {"day": "2026-09-10", "time": "06:50"}
    for clock, today, day in (
        ("16:40", "2026-09-11", "2026-09-10"),
        ("06:50", "2026-09-11", "2026-09-10"),
        ("06:49", "2026-09-11", "2026-09-11"),
        ("06:49", "2026-09-10", "2026-09-10"),
    ):
        found = called_in_browser(core_page, "boxes", "tickedOn", paper, clock, today)
        assert found["value"] == day


def test_the_address_of_a_list_names_rows_by_the_end_of_their_ids(core_page: Page):
    place, lot = "0198f2aa-0000-7000-8000-00001234abcd", "0198f2aa-0000-7000-8000-0000beefcafe"
    codes = "k:beefcafe,c:1234abcd,c:,u:,u:North, bench,u:gone,n:-3.5,w:1234abcd,w:-"
    asked = (codes.replace(", ", "_ "), [place, "North, bench", "-"], [lot])
    found = called_in_browser(core_page, "boxes", "boxesNamed", *asked)["value"]
    assert [(one["act"], one["id"]) for one in found["boxes"]] == [
        ("soak", lot), ("cover", place), ("cover", ""),
        ("uncover", ""), ("uncover", "North, bench"),
    ]  # fmt: skip
    assert (found["unknown"], found["low_c"], found["walked"]) == (["gone"], -3.5, [place, "-"])


def test_the_demos_morning_is_the_same_sheet(core_page: Page, tmp_path: Path):
    nursery = open_demo(tmp_path, Clock())
    now = nursery.clock.text()
    with nursery.app.app_context():
        house = looking(nursery.site, now, house_of)
    close_nursery(nursery)
    ours, theirs = both(core_page, house, now)
    assert len(ours["stops"]) > 5
    assert first_difference(ours, theirs) is None


def test_the_phone_says_it_in_the_servers_words(core_page: Page):
    """The list's words stand in `morning_words.py` and in the locale, the same."""
    asked = "async (keys) => (({ words }) => keys.map((key) => words[`morning.text.${key}`]))"
    said = core_page.evaluate(f"{asked}(await import('/locales/en.js'))", list(WORDS))
    assert dict(zip(WORDS, said, strict=True)) == WORDS
