"""Season dates and the plans of every crop, in Python and in one page of a browser."""

import json
import random
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from lathhouse.domain.outdoors import second_spring
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.seasons import next_span, read_words, season_dates, season_rule
from lathhouse.domain.year_plan import WAYS, plan_crop
from tests.browser import FRONTEND, core_page_of
from tests.parity.twins import first_difference

SEED = 12
RUN = """async (text) => {
  const { spans, plans, lots, crops } = JSON.parse(text);
  const [seasons, plan, outdoors] = await Promise.all(
    ["seasons", "year_plan", "outdoors"].map((name) => import(`/core/${name}.js`)));
  return JSON.stringify({
    spans: spans.map(([words, day, place]) => [
      seasons.seasonRule(place), seasons.readWords(words),
      seasons.seasonDates(words, Number(day.slice(0, 4)), place),
      seasons.nextSpan(words, day, place)]),
    plans: plans.map(([crop, start, place]) => plan.planCrop(crops[crop], start, place)),
    lots: lots.map(([lot, crop, ...rest]) => outdoors.secondSpring(lot, crops[crop], ...rest)),
  });
}"""
PARTS = ["", "early ", "mid ", "late "]
SEASONS = ["spring", "summer", "autumn", "winter"]
NO_WORDS: list[Any] = ["", "fall", "early", "spring to", "spring to summer to autumn", None, 4, {}]
OWN: list[Any] = [
    {"spring": "09-10", "summer": "12-05", "autumn": "03-12", "winter": "06-01"},
    {"spring": "02-28", "summer": "06-01", "autumn": "09-01", "winter": "11-30"},
    {"spring": "02-29", "summer": "06-01", "autumn": "09-01", "winter": "12-01"},
    {"spring": "03-01", "summer": "09-01", "autumn": "06-01", "winter": "12-01"},
    {"spring": "03-01"}, {"spring": 3}, [], "spring", None,
]  # fmt: skip
# In the phone's core: file, what stands there, what is planted.
PLANTED = {
    "south as north": ("seasons.js", "south: 9", "south: 3"),
    "autumn moves later": ("seasons.js", "1 / 3, -1 / 3, -1, -1", "1 / 3, -1 / 3, 1, -1"),
    "a day too long": ("seasons.js", "(last + 1, cycle, place), -1", "(last + 1, cycle, place), 0"),
    "the first spring shows it": ("outdoors.js", "rest.from >= day", "true"),
    "longest first": ("year_plan.js", "addDays(first[0], least", "addDays(first[0], most"),
}  # fmt: skip


def some_place(rng: random.Random) -> dict[str, Any]:
    place: dict[str, Any] = {}
    if rng.random() < 0.9:
        place["hemisphere"] = rng.choice(["north", "south"])
    if rng.random() < 0.7:
        place["latitude_deg"] = rng.choice([0, 23.4, -23.44, 33.6, -33.6, 40, 51.5, 65, -44.25])
    if rng.random() < 0.6:
        place["elevation_m"] = rng.choice([0, 15, 122, 950, 2400, -3])
    if rng.random() < 0.3:
        place["season_starts"] = rng.choice(OWN)
    return place


def some_words(rng: random.Random) -> Any:
    if rng.random() < 0.1:
        return rng.choice(NO_WORDS)
    ends = [rng.choice(PARTS) + rng.choice(SEASONS) for _ in range(rng.choice([1, 1, 2]))]
    words = " to ".join(ends)
    return rng.choice([words, words.upper(), "early to mid " + rng.choice(SEASONS)])


def some_day(rng: random.Random) -> str:
    return f"{rng.randint(1999, 2104)}-{rng.randint(1, 12):02d}-{rng.randint(1, 28):02d}"


def some_start(rng: random.Random) -> dict[str, Any]:
    day = some_day(rng)
    start = rng.choice([{"collect_year": int(day[:4])}, {"collected_on": day}, {"sown_on": day}])
    return {**start, "way": rng.choice(WAYS)}


def some_lot(rng: random.Random) -> dict[str, Any]:
    def at(days: int) -> str:
        return f"{2025 + days // 360}-{days % 360 // 30 + 1:02d}-{days % 28 + 1:02d}T08:00:00.000Z"

    spells, day = [], rng.randint(0, 400)
    for _ in range(rng.randint(0, 3)):
        ends = rng.choice([None, day + 60])
        spells.append({"kind": rng.choice(["warm", "cold"]), "started_at": at(day),
                       "ended_at": at(ends) if ends else None,
                       "where": rng.choice(["outdoors", "fridge", None])})  # fmt: skip
        day += 90
    return {"sown": {"at": at(day)} if rng.random() < 0.9 else None, "spells": spells}


def cases() -> dict[str, Any]:
    rng = random.Random(SEED)
    crops = load_crops()
    double = [name for name, crop in crops.items() if crop["dormancy"] == "double"]
    offsets = [["2020-01-01T00:00:00.000Z", 600], ["2025-10-04T16:00:00.000Z", 660]]
    return {
        "spans": [[some_words(rng), some_day(rng), some_place(rng)] for _ in range(3000)],
        "plans": [[name, some_start(rng), some_place(rng)] for name in crops for _ in range(8)],
        "lots": [[some_lot(rng), rng.choice(double), some_place(rng), offsets] for _ in range(600)],
        "crops": crops,
    }


def in_python(sent: dict[str, Any]) -> dict[str, Any]:
    crops = sent["crops"]
    return {
        "spans": [
            [season_rule(place), read_words(words), season_dates(words, int(day[:4]), place),
             next_span(words, day, place)]
            for words, day, place in sent["spans"]
        ],
        "plans": [plan_crop(crops[crop], start, place) for crop, start, place in sent["plans"]],
        "lots": [second_spring(lot, crops[crop], *rest) for lot, crop, *rest in sent["lots"]],
    }  # fmt: skip


def in_page(page: Page, sent: dict[str, Any]) -> dict[str, Any]:
    return dict(json.loads(page.evaluate(RUN, json.dumps(sent))))


def test_both_sides_give_the_same_seasons_and_plans(core_page: Page):
    sent = cases()
    ours = in_python(sent)
    assert first_difference(ours, in_page(core_page, sent)) is None
    for name, least in {"spans": 2000, "plans": 900, "lots": 150}.items():
        assert sum(one is not None and one != [] for one in ours[name]) >= least, name


@pytest.mark.parametrize("change", PLANTED)
def test_a_planted_change_is_found(browser: Browser, change: str):
    name, old, new = PLANTED[change]
    source = (FRONTEND / "core" / name).read_text(encoding="utf-8")
    assert source.count(old) == 1, name
    with core_page_of(browser, {f"/core/{name}": source.replace(old, new)}) as page:
        sent = cases()
        assert first_difference(in_python(sent), in_page(page, sent)) is not None
