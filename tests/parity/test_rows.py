"""Places and buckets on both sides: random events, in any order, give the same row."""

import json
import random
from typing import Any

from playwright.sync_api import Page

from lathhouse.domain.corrections import effective
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_text
from lathhouse.domain.rows import about, go_on
from lathhouse.domain.series import keep, points
from lathhouse.domain.solutions import new_solution, solution_state
from lathhouse.domain.spells import dip_refusal
from tests.parity.logs import BUCKET, START
from tests.parity.twins import first_difference

ROWS = 80
RUN = """async (cases) => {
  const names = ["corrections", "rows", "series", "solutions"];
  const [corrections, rows, series, solutions] = await Promise.all(names.map((name) => import(`/core/${name}.js`)));
  return cases.map(({ row, events, now }) => {
    const start = row ?? solutions.newSolution(events[0].data.solution);
    const told = rows.about(row ? "place" : "solution", start.id, corrections.effective(events), "site");
    const found = rows.goOn(start, told);
    return { row: found, points: series.points(found.temps, found.hours), state: solutions.solutionState(found, now) };
  });
}"""  # noqa: E501


def event(number: int, kind: str, at: int, data: dict[str, Any], lot: str | None = None) -> Any:
    return {
        "id": f"e{number}", "device": "a", "seq": number, "kind": kind, "lot": lot,
        "at": to_text(at), "by": "jo", "data": data,
    }  # fmt: skip


def place_case(seed: int) -> dict[str, Any]:
    """Days of a fridge: read by a probe and by hand, covered, closed, answered for."""
    pick = random.Random(f"place {seed}")
    chamber = pick.choice([None, {"by_hand": True}, {"low_c": 0.5, "high_c": 6}])
    kind = pick.choice(["chamber", "chamber", "bench"])
    row = {"id": "p1", "name": "Shed fridge", "kind": kind, "chamber": chamber}
    events, at = [], START
    for number in range(pick.choice([3, 60, 300])):
        at += pick.choice([5, 15, 15, 61, 600, 3000]) * MINUTE_MS
        what = pick.choice(["read"] * 8 + ["covered", "uncovered", "round_closed", "shelved"])
        said: dict[str, Any] = {"place": "p1"}
        if what == "read":
            said |= {"quantity_kind": pick.choice(["temp_c", "temp_c", "humidity_percent"])}
            said |= {"value": pick.choice([4, 4.25, 3.5, 7, 9.1, -0.5, 5.05])}
        elif what == "shelved":
            said |= {"watch": "chamber-band", "until": to_text(at + DAY_MS), "why": "defrosting"}
        events.append(event(number, what, at, said))
    return {"row": row, "events": events, "now": to_text(at)}


def bucket_case(seed: int) -> dict[str, Any]:
    """Days of a bucket: mixed, used on a few lots, thrown away, corrected."""
    pick = random.Random(f"bucket {seed}")
    events = []
    for number in range(pick.randint(1, 12)):
        at = START + pick.choice([0, 1, 9, 10, 11, 60, 24 * 60, 25 * 60, 60 * 60]) * MINUTE_MS
        what = pick.choice(["solution_mixed", "sanitise_started", "sanitise_started",
                            "solution_discarded", "shelved", "voided", "amended"])  # fmt: skip
        said: dict[str, Any] = {"solution": BUCKET}
        if what == "solution_mixed":
            said |= {"ppm": pick.choice([6000, 7500.5]), "volume_ml": 4000}
        elif what == "sanitise_started":
            said |= {"limit_minutes": pick.choice([None, 8, 10, 12.5]), "why": None}
        elif what == "shelved":
            said |= {"watch": "solution-old", "until": None}
        elif what == "voided":
            said = {"of": f"e{pick.randint(0, 9)}"}
        elif what == "amended":
            named = {"solution": pick.choice([BUCKET, "another"])}
            said = {"of": f"e{pick.randint(1, 9)}", "data": named}
        lot = pick.choice(["lot a", "lot b"]) if what == "sanitise_started" else None
        events.append(event(number, what, at, said, lot))
    events[0]["data"]["solution"] = BUCKET
    return {"row": None, "events": events, "now": to_text(START + pick.randint(0, 72) * HOUR_MS)}


def in_python(case: dict[str, Any]) -> dict[str, Any]:
    start = case["row"] or new_solution(BUCKET)
    kind = "place" if case["row"] else "solution"
    row = go_on(start, about(kind, start["id"], effective(case["events"]), "site"))
    drawn = points(row.get("temps"), row.get("hours"))
    return {"row": row, "points": drawn, "state": solution_state(row, case["now"])}


def test_places_and_buckets_are_the_same_on_both_sides(core_page: Page):
    cases = [make(seed) for seed in range(ROWS) for make in (place_case, bucket_case)]
    found = core_page.evaluate(RUN, cases)
    for number, (case, theirs) in enumerate(zip(cases, found, strict=True)):
        assert first_difference(in_python(case), theirs) is None, f"{number}: {case}"
    states = {in_python(case)["state"] for case in cases}
    assert states == {"usable", "old", "spent", "discarded", "unknown"}


def bucket_of(*told: tuple[str, float, str | None]) -> dict[str, Any]:
    """Return a bucket's row from (kind, minutes after mixing, lot)."""
    said = {"solution": BUCKET, "ppm": 6000}
    events = [
        event(number, kind, START + round(minutes * MINUTE_MS), said, lot)
        for number, (kind, minutes, lot) in enumerate(told)
    ]
    return go_on(new_solution(BUCKET), effective(events))


def test_lots_that_go_in_together_are_one_batch_and_the_next_one_finds_it_spent():
    dips = [("sanitise_started", minutes, lot) for minutes, lot in ((5, "a"), (6, "b"), (15, "c"))]
    row = bucket_of(("solution_mixed", 0, None), *dips)
    assert [(use["lot"], use["spent"]) for use in row["used_by"]] == [
        ("a", False), ("b", False), ("c", True),
    ]  # fmt: skip
    assert row["spent_at"] == to_text(START + 15 * MINUTE_MS)
    assert [solution_state(row, to_text(START + n * MINUTE_MS)) for n in (14, 15)] == [
        "usable", "spent",
    ]  # fmt: skip


def test_a_bucket_of_many_dips_stays_spent_by_its_first(core_page: Page):
    dips = [event(n, "sanitise_started", START + n * MINUTE_MS, {"solution": BUCKET}, "a")
            for n in range(150)]  # fmt: skip
    case = {"row": None, "events": dips, "now": to_text(START)}
    mine, theirs = in_python(case), core_page.evaluate(RUN, [case])[0]
    assert first_difference(mine, theirs) is None
    uses = mine["row"]["used_by"]
    assert [uses[0]["event"], uses[1]["event"], uses[-1]["event"]] == ["e0", "e51", "e149"]
    assert mine["row"]["spent_at"] == to_text(START + 10 * MINUTE_MS)


def test_a_bucket_is_old_after_24_hours_to_the_millisecond():
    """24 hours: Haldimand-Norfolk Health Unit; Kittitas County CS316270A, 2020, after CDC."""
    row = bucket_of(("solution_mixed", 0, None))
    instants = (START + DAY_MS - 1, START + DAY_MS)
    assert [solution_state(row, to_text(at)) for at in instants] == ["usable", "old"]
    assert row["open"] is True


def test_acid_is_refused_until_it_is_rinsed():
    """Acid and bleach make chlorine gas: CDC; CCOHS."""
    lot = {"acid_at": None, "rinsed_at": None}
    assert dip_refusal(lot) is None
    lot["acid_at"] = to_text(START)
    assert dip_refusal(lot) == "acid_not_rinsed"
    assert dip_refusal({**lot, "rinsed_at": to_text(START - 1)}) == "acid_not_rinsed"
    assert dip_refusal({**lot, "rinsed_at": to_text(START)}) is None


def test_a_years_probe_leaves_a_row_of_bounded_size():
    """Every five minutes: at most 400 points, and a row that a phone can pull after each."""
    times = [START + n * 12 * HOUR_MS for n in range(2 * 205)]
    times += [times[-1] + n * 5 * MINUTE_MS for n in range(1, 8 * 288)]
    row: dict[str, Any] = {"id": "p1", "kind": "chamber"}
    for number, at in enumerate(times):
        said = {"quantity_kind": "temp_c", "value": (31 + number % 17) / 10}
        row = go_on(row, [event(number, "read", at, said)])
    drawn = points(row["temps"], row["hours"])
    assert 300 < len(drawn) <= 400
    assert drawn == sorted(drawn)
    assert len(json.dumps(row)) < 20_000


def test_readings_in_pieces_give_the_row_of_the_whole_and_change_none_before_it():
    for seed in range(20):
        case = place_case(seed)
        whole = go_on(case["row"], case["events"])
        row, before = case["row"], json.dumps(case["row"])
        for start in range(0, len(case["events"]), 7):
            earlier, kept = row, json.dumps(row)
            row = go_on(row, case["events"][start : start + 7])
            assert json.dumps(earlier) == kept, seed
        assert row == whole, seed
        assert json.dumps(case["row"]) == before, seed


def test_an_hours_bucket_holds_its_lowest_mean_and_highest():
    hours = None
    for minutes, temp_c in ((0, 4.0), (20, 5.0), (59, 3.9), (60, 7.5)):
        hours = keep(hours, to_text(START + minutes * MINUTE_MS), temp_c)
    assert [bucket[1:] for bucket in hours or []] == [[3.9, 4.3, 5.0, 3], [7.5, 7.5, 7.5, 1]]
