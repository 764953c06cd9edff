"""Which night a figure is told of. The rules are ours; the sun's times are those of Sydney."""

from typing import Any

from lathhouse.domain.evening import figures_of, night_day
from lathhouse.domain.morning import morning
from lathhouse.domain.morning_text import above
from lathhouse.domain.morning_words import WORDS
from lathhouse.domain.tender import open_stock

OFFSETS = [["2026-01-01T00:00:00.000Z", 600]]
HOME: dict[str, Any] = {"offsets": OFFSETS, "latitude_deg": -33.6, "longitude_deg": 150.3}
AFTERNOON = "2026-09-10T05:00:00.000Z"
AT = "at ____:____"


def low(day: str | None, value: float, at: str = "2026-09-08T06:00:00.000Z") -> dict[str, Any]:
    return {"which": "low", "day": day, "value": value, "at": at}


def test_the_last_figure_is_of_a_night_before_and_never_of_one_to_come():
    told = [low("2026-09-09", 4), low("2026-09-08", 5), low("2026-09-11", -3, AFTERNOON)]
    found = figures_of({**HOME, "forecasts": told}, "2026-09-10", AFTERNOON)
    assert (found["figure"], found["last"]["value"]) == (None, 4)
    found = figures_of({**HOME, "forecasts": told[2:]}, "2026-09-10", AFTERNOON)
    assert found == {"figure": None, "last": None}
    # Told twice of one night: the later word of both; without a date it is of the day it was told.
    told = [low("2026-09-10", 2), low("2026-09-10", 1), low(None, 6), low("2026-09-08", 7)]
    found = figures_of({**HOME, "forecasts": told}, "2026-09-10", AFTERNOON)
    assert (found["figure"]["value"], found["last"]["value"]) == (1, 7)


def test_the_night_is_under_way_until_the_sun_rises():
    """Sunrise there on 10 September is at about 06:05, by the sun's own equations."""
    assert night_day(HOME, "2026-09-09T20:00:00.000Z") == "2026-09-09"
    assert night_day(HOME, "2026-09-09T20:20:00.000Z") == "2026-09-10"


def stock_of(**entry: Any) -> dict[str, Any]:
    """Return one tender lot on an open bench."""
    lot = {"id": "l1", "place": "p1", "until": "9999", "why": "tender", "known": True}
    bench = {"p1": {"id": "p1", "name": "Bench", "kind": "bench"}}
    entries = [{**lot, "cover": None, "bared_at": None, "small": False, **entry}]
    return {"entries": entries, "places": bench, "houses": {}, "offsets": OFFSETS, "home": HOME}


def lines(stock: dict[str, Any], now: str, *told: dict[str, Any]) -> list[str]:
    """Return what a list made at a time says of frost and covers."""
    nursery = {**HOME, "name": "Home", "forecasts": list(told)}
    house = {"nursery": nursery, "places": [], "lots": [], "crops": {}, "findings": {}}
    said = above(morning({**house, "notices": {}, "stock": stock}, now), WORDS, {})
    return [line for head, found in said if head == "evening" for line in found]


def test_a_list_made_in_the_night_asks_for_nothing_by_a_sunset_that_is_past():
    frost = low("2026-09-10", -3)
    said = lines(stock_of(), AFTERNOON, frost)
    assert said[1:] == ["- To cover by 17:47 (tender lots open: 1):", "[ ] Bench    at ____:____"]
    # What stands in no place is no place's to cover, and has its box all the same.
    *_, loose = lines(stock_of(place=None), AFTERNOON, frost)
    assert loose == "[ ] Lots without a place    at ____:____"
    # 01:00, and 05:00 with the frost still to come at sunrise.
    for now in ("2026-09-10T15:00:00.000Z", "2026-09-10T19:00:00.000Z"):
        (_, ask, _) = lines(stock_of(), now, frost)
        assert ask == "- Still open in this night (tender lots: 1), cover now:"
    # A mild night that ends within two hours is over for the list: it is about the coming one.
    mild = low("2026-09-10", 8), low("2026-09-11", 1)
    (figure, ask, _) = lines(stock_of(), "2026-09-10T19:00:00.000Z", *mild)
    assert (figure[:14], ask[:18]) == ("- Tonight 1 °C", "- To cover by 17:4")


def test_a_cover_for_a_milder_night_is_asked_about_on_paper():
    """More than 2 °C colder than it was put on for (ours)."""
    cover = {"at": "2026-09-10T04:00:00.000Z", "by": None, "until": None, "for_low_c": 2}
    stock = stock_of(cover=cover)
    _, ask, _ = lines(stock, AFTERNOON, low("2026-09-10", -3))
    assert ask == "[ ] Bench: put on for 2 °C; tonight −3 °C: a second cover by 17:47    " + AT
    _, ask, _ = lines(stock, "2026-09-10T19:00:00.000Z", low("2026-09-10", -3))
    assert ask == "[ ] Bench: put on for 2 °C; tonight −3 °C: a second cover now    " + AT
    assert len(lines(stock, AFTERNOON, low("2026-09-10", 0))) == 2


def test_lots_without_a_place_are_named_and_come_last():
    """The bench has an order of its own; whatever is nowhere is walked after it. Ours."""
    cover = {"at": "2026-09-10T04:00:00.000Z", "by": None, "until": None, "for_low_c": 2}
    stock = stock_of(cover=cover, place=None)
    stock["places"]["p1"] |= {"covered": cover, "bared_at": None}
    stock["entries"].append({**stock["entries"][0], "id": "l2", "place": "p1", "cover": None})
    said = lines(stock, AFTERNOON, low("2026-09-10", -3))[1:]
    names = ["Bench", "Lots without a place"]
    assert [line.split(":")[0] for line in said] == [f"[ ] {name}" for name in names * 2]
    assert "a second cover by" in said[1]
    assert "covered since 14:00" in said[3]
    bare = open_stock([{**one, "cover": None} for one in stock["entries"]], {}, AFTERNOON, None)
    assert (bare["place_ids"], bare["names"]) == (["p1", ""], "?, without a place")


def test_a_cover_has_a_box_on_the_list_by_whose_next_morning_it_comes_off():
    """Covered at 14:00 on 10 September: off the next morning, or once its last day has come."""
    cover = {"at": "2026-09-10T04:00:00.000Z", "by": None, "until": None, "for_low_c": None}
    *_, off = lines(stock_of(cover=cover), AFTERNOON)
    assert (off[:11], off[-14:]) == ("[ ] Bench: ", f"  {AT}")
    *_, stays = lines(stock_of(cover={**cover, "until": "2026-09-13"}), AFTERNOON)
    assert stays.startswith("- Bench: covered since 14:00, stays on until")
    *_, off = lines(stock_of(cover={**cover, "until": "2026-09-13"}), "2026-09-12T05:00:00.000Z")
    assert off.startswith("[ ] Bench: covered since 14:00 on 10 September, stays on until")
