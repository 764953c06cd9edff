"""However much is recorded of a place or a nursery, what still warns somebody stays on its row."""

from typing import Any

from playwright.sync_api import Page

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_text
from lathhouse.domain.lot import fold
from lathhouse.domain.rows import go_on
from lathhouse.domain.treatments import entry_facts, hold_facts
from lathhouse.domain.weather_rows import FORECASTS_MAX
from tests.parity.logs import START
from tests.parity.test_rows import event
from tests.parity.twins import called_in_browser, first_difference

Row = dict[str, Any]
# 08:00 in Sydney on 10 September: in UTC it is still the 9th.
MORNING = 1_788_991_200_000
LOT = {"id": "a", "treatments": [], "sales": [], "promises": [], "placed_at": None}


def on_both_sides(page: Page, row: Row, events: list[Row]) -> Row:
    """Return a row after events, which both cores must make the same."""
    mine, theirs = go_on(row, events), called_in_browser(page, "rows", "goOn", row, events)["value"]
    assert first_difference(mine, theirs) is None
    return mine


def sprayed(number: int, at: int, rei_hours: float, sale_hold_days: float, lot: str | None) -> Row:
    said = {"product": f"product {number}", "places": ["p1"], "ended_at": to_text(at)}
    said |= {"rei_hours": rei_hours, "sale_hold_days": sale_hold_days}
    return event(number, "treated", at, said, lot)


def test_of_many_treatments_none_that_still_runs_is_forgotten(core_page: Page):
    """Of two intervals the longer one holds: California Code of Regulations, title 3, § 6772."""
    strong = sprayed(0, START, 48, 60, None)
    soaps = [sprayed(n, START + n * 3 * MINUTE_MS, 4, 0, f"lot {n}") for n in range(1, 9)]
    row = on_both_sides(core_page, {"id": "p1"}, [strong, *soaps])
    assert row["enter_after"] == to_text(START + 48 * HOUR_MS)
    hold = hold_facts(LOT, row, [])
    assert hold == {"until": to_text(START + 60 * DAY_MS), "product": "product 0"}
    seen = entry_facts(row, to_text(START + 47 * HOUR_MS))
    assert seen["until"] == to_text(START + 48 * HOUR_MS)
    # Open again, the hold running on: what is over makes room, the oldest first.
    times = [START + (3 + n) * DAY_MS for n in range(9, 21)]
    after = [sprayed(n, at, 4, 0, None) for n, at in enumerate(times, 9)]
    row = on_both_sides(core_page, row, after)
    assert [one["event"] for one in row["treatments"]] == ["e0", *(f"e{n}" for n in range(14, 21))]
    assert hold_facts(LOT, row, []) == hold
    # Over to the millisecond, it goes as any other does.
    whole = on_both_sides(core_page, row, [sprayed(21, START + 60 * DAY_MS - 1, 4, 0, None)])
    assert whole["treatments"][0]["event"] == "e0"
    row = on_both_sides(core_page, row, [sprayed(21, START + 60 * DAY_MS, 4, 0, None)])
    assert [one["event"] for one in row["treatments"]] == [f"e{n}" for n in range(14, 22)]


def test_more_than_are_kept_stay_while_all_of_them_run(core_page: Page):
    events = [sprayed(n, START + n * MINUTE_MS, 24, 0, None) for n in range(12)]
    row = on_both_sides(core_page, {"id": "p1"}, events)
    assert [one["event"] for one in row["treatments"]] == [f"e{n}" for n in range(12)]
    # One that is written down when it is over already is kept too: somebody may have been there.
    late = {"ended_at": to_text(START - 9 * HOUR_MS), "rei_hours": 4}
    row = on_both_sides(core_page, row, [event(12, "treated", START + HOUR_MS, late)])
    assert len(row["treatments"]) == 13
    assert row["enter_after"] == to_text(START + 11 * MINUTE_MS + 24 * HOUR_MS)


def test_a_lots_own_treatments_stay_while_they_run_and_the_last_forty_else(core_page: Page):
    """Forty is ours; of two intervals the longer one holds (title 3, § 6772, as above)."""
    start = event(0, "lot_started", START, {"crop": "x", "quantity": 9, "unit": "seeds"}, "a")
    strong = sprayed(1, START, 48, 60, "a")
    soaps = [sprayed(n, START + n * HOUR_MS, 4, 0, "a") for n in range(2, 48)]
    mine = fold("a", [start, strong, *soaps])
    theirs = called_in_browser(core_page, "lot", "fold", "a", [start, strong, *soaps])["value"]
    assert first_difference(mine, theirs) is None
    assert mine is not None
    kept = [one["event"] for one in mine["treatments"]]
    assert kept == ["e1", *(f"e{n}" for n in range(9, 48))]
    hold = {"until": to_text(START + 60 * DAY_MS), "product": "product 1"}
    assert hold_facts(mine, None, []) == hold
    # Sixty that all run stay, all of them.
    running = [sprayed(n, START + n * MINUTE_MS, 24, 0, "a") for n in range(1, 61)]
    many = fold("a", [start, *running])
    assert many is not None
    assert len(many["treatments"]) == 60


def figures(day: int, low_c: float | None = 8) -> list[Row]:
    """Return what a forecast says of the day so many days from today: a low and a high."""
    date = f"2026-09-{10 + day}" if day <= 20 else f"2026-10-{day - 20:02}"
    return [
        {"quantity_kind": "forecast_low_c", "value": low_c, "for_night_of": date},
        {"quantity_kind": "forecast_high_c", "value": 15, "for_day": date},
    ]


def days_of(row: Row, which: str) -> list[str | None]:
    return [one["day"] for one in row["forecasts"] if one["which"] == which]


def test_tonights_low_stays_however_far_a_forecast_looks_ahead(core_page: Page):
    """31 days is the longest forecast that is taken (`forecast_file`). Ours."""
    said = [*figures(0, -2), *(one for day in range(1, 31) for one in figures(day))]
    events = [event(n, "read", MORNING, data) for n, data in enumerate(said)]
    row = on_both_sides(core_page, {"id": "home"}, events)
    first, *others = row["forecasts"]
    assert [first["day"], first["value"], len(others)] == ["2026-09-10", -2, 61]
    assert [days_of(row, which)[-1] for which in ("low", "high")] == ["2026-10-10"] * 2
    # Figures without a date are of the day they come on: the furthest days make room for them.
    undated = [{"quantity_kind": "forecast_high_c", "value": 20 + n} for n in range(10)]
    more = [event(70 + n, "read", MORNING + n * MINUTE_MS, one) for n, one in enumerate(undated)]
    row = on_both_sides(core_page, row, more)
    assert len(row["forecasts"]) == FORECASTS_MAX == 70
    assert row["forecasts"][0] == first
    assert [days_of(row, "low")[-1], len(days_of(row, "low"))] == ["2026-10-09", 30]
    # With no day left ahead the oldest of those without a date go.
    many = [{"quantity_kind": "forecast_high_c", "value": n} for n in range(90)]
    more = [event(80 + n, "read", MORNING + n * MINUTE_MS, one) for n, one in enumerate(many, 10)]
    row = on_both_sides(core_page, row, more)
    assert [first in row["forecasts"], len(row["forecasts"])] == [True, FORECASTS_MAX]
    assert row["forecasts"][-1]["value"] == 89


def test_a_reading_near_frost_or_heat_does_not_bring_back_that_of_the_day_before(core_page: Page):
    """A reading tells of three hours, to the millisecond. Ours."""

    def read(number: int, after_ms: int, temp_c: float, damp: float | None = None) -> list[Row]:
        told = {"temp_c": temp_c, "humidity_percent": damp}
        return [
            event(number, "read", START + after_ms, {"quantity_kind": kind, "value": value})
            for kind, value in told.items()
            if value is not None
        ]

    for gap_ms, since_ms, coldest_c in ((3 * HOUR_MS, 0, 1.5), (3 * HOUR_MS + 1, None, 2.6)):
        events = [*read(0, 0, 1.5), *read(1, gap_ms, 2.6)]
        cold = on_both_sides(core_page, {"id": "home"}, events)["cold"]
        since = to_text(START + (gap_ms if since_ms is None else since_ms))
        assert [cold["since"], cold["peak_c"], cold["temp_c"]] == [since, coldest_c, 2.6]
    # 35 °C with 50 % is 105 °F or more, 32 °C with 40 % about 90 °F, by the printed chart (US NWS).
    hot = [*read(0, 0, 35, 50), *read(2, DAY_MS, 32, 40)]
    heat = on_both_sides(core_page, {"id": "home"}, hot)["heat"]
    assert heat["since"] == to_text(START + DAY_MS)
    assert 89 <= heat["peak_f"] < 91
