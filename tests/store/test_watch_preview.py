"""A preview says what the house itself would have done: lived through in earnest, it is the same.

The check is the house: the same records, pushed at their times to a server whose clock stops at
every deadline, leave alerts; the preview of that record must name the same ones. The rest is ours.
"""

import json
import random
import uuid
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, parse_instant, to_text
from lathhouse.store import long_rows
from lathhouse.store.backup_age import note_backup
from lathhouse.store.config import NEW_NURSERY
from lathhouse.store.models import Alert, Backup, Subject
from lathhouse.store.watch_preview import preview
from lathhouse.store.work import looking, writing
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery
from tests.store.deadlines import stop_at_deadlines
from tests.web.samples import TREATED

BEGIN = "2026-07-01T08:00:00+10:00"
DAYS = 46
SEED = 1
FRIDGE, BENCH = str(uuid.UUID(int=1)), str(uuid.UUID(int=2))
# Each lives in another kind of subject, or by another kind of clock.
WATCHES = [
    "fungus-recheck", "moisture-dry", "cold-look", "cold-six-weeks", "look-due", "soak-over",
    "count-conflict", "round-missing", "chamber-band", "chamber-silent",
    "solution-old",
]  # fmt: skip
NO_PHONES = Subject.kind != "phone"
Record = tuple[int, str, str | None, dict[str, Any]]


def story(seed: int) -> list[Record]:
    """Return [ms after the beginning, kind, lot, data] of some six weeks in a small nursery."""
    pick = random.Random(seed)
    bucket = str(uuid.UUID(int=9))
    told: list[Record] = [
        (0, "place_changed", None, {"id": FRIDGE, "name": "Fridge", "kind": "chamber"}),
        (1, "place_changed", None, {"id": BENCH, "name": "Bench", "daily": True}),
        (2, "solution_mixed", None, {
            "solution": bucket, "product_strength": 40, "product_unit": "g/L", "wanted": 10,
            "wanted_unit": "percent", "volume_ml": 1000, "product_ml": 100, "water_ml": 900}),
        (3 * DAY_MS, "solution_discarded", None, {"solution": bucket}),
    ]  # fmt: skip
    for number in range(3):
        lot = str(uuid.UUID(int=100 + number))
        at = pick.randint(3, 5 * HOUR_MS)
        start = {"crop": "acer-palmatum", "label": f"26-00{number}", "quantity": 100}
        told.append((at, "lot_started", lot, {**start, "unit": "seeds", "place": FRIDGE}))
        told += [(at + by, kind, lot, data) for by, kind, data in life(pick, number)]
    for hour in range(0, DAYS * 24, 12):
        value = pick.choice([3, 3, 3, 4, 4, 9.5, -0.5, None])
        if value is not None:
            data = {"place": FRIDGE, "quantity_kind": "temp_c", "value": value}
            told.append((hour * HOUR_MS + pick.randint(0, HOUR_MS), "read", None, data))
    for day in range(DAYS):
        if pick.random() < 0.6:
            told.append((day * DAY_MS + 3 * HOUR_MS, "round_closed", None, {"place": BENCH}))
    return sorted((one for one in told if one[0] < DAYS * DAY_MS), key=lambda one: one[0])


def life(pick: random.Random, number: int) -> list[tuple[int, str, dict[str, Any]]]:
    """Return what happens to a lot: soak and cold, or out on the bench; looks of every kind."""
    told: list[tuple[int, str, dict[str, Any]]] = [(HOUR_MS, "soak_started", {})]
    told.append((pick.randint(20, 40) * HOUR_MS, "soak_ended", {}))
    told.append((42 * HOUR_MS, "cold_started", {"where": "fridge"}))
    if number % 2:
        told.append((6 * DAY_MS, "moved", {"place": BENCH}))
        told.append((6 * DAY_MS + MINUTE_MS, "sown", {"flats": 1, "per_flat": 100}))
        told.append((33 * DAY_MS, "potted_on", {"quantity": 150, "container_l": 2}))
    for _ in range(12):
        said = {
            "moisture": pick.choice([1, 2, 3, 3, 4]),
            "fungus": pick.choice(["none", "none", "spots", "spreading", None]),
        }
        at = pick.randint(2 * DAY_MS, DAYS * DAY_MS)
        told.append((at, "looked", {name: value for name, value in said.items() if value}))
    return told


def live_through(nursery: Nursery, told: list[Record], begin_ms: int, days: int = DAYS) -> None:
    """Push each record at its time; the clock stops at every deadline before it."""
    phone = nursery.device()
    for after, kind, lot, data in told:
        stop_at_deadlines(nursery, begin_ms + after, NO_PHONES)
        nursery.clock.ms = begin_ms + after
        if kind == "backup":
            with nursery.app.app_context():
                at = to_text(nursery.clock.ms)
                row = {"at": at, "file": "", "events": 0, "chain": "", "seqs": "{}"}
                writing(nursery.site, at, lambda work, row=row: work.insert(Backup, [row]))
                note_backup(nursery.site, at)
        else:
            phone.record(kind, lot, data)
    stop_at_deadlines(nursery, begin_ms + days * DAY_MS, NO_PHONES)
    nursery.clock.ms = begin_ms + days * DAY_MS
    nursery.tick()


def happened(nursery: Nursery, watch: str) -> list[Any]:
    """Return [subject, [level, at] …, cleared at] of each time that a watch rang in earnest."""
    with nursery.app.app_context():
        rows = looking(nursery.site, "", lambda work: work.rows(Alert, Alert.watch == watch))
    found = []
    for alert in (json.loads(row["data"]) for row in rows):
        for step in alert["history"]:
            if step["what"] == "raised":
                found.append([alert["subject"]["id"], [], None])
            # A step of the same level says that it has become more urgent; a preview tells levels.
            if step["level"] and [step["level"]] != [one[0] for one in found[-1][1][-1:]]:
                found[-1][1].append([step["level"], step["at"]])
            if step["what"] == "cleared":
                found[-1][2] = step["at"]
    return sorted(found, key=lambda one: (one[1][0][1], one[0]))


def previewed(nursery: Nursery, rule: dict[str, Any], days: int = DAYS + 1) -> dict[str, Any]:
    with nursery.app.app_context():
        return preview(nursery.site, rule, days, to_text(nursery.clock.ms))


def told_by(found: dict[str, Any]) -> list[Any]:
    """Return a preview's alerts in the shape of `happened`."""
    alerts = [
        [
            one["subject"]["id"],
            [[step["level"], step["at"]] for step in one["levels"]],
            one["cleared_at"],
        ]
        for one in found["alerts"]
    ]
    return sorted(alerts, key=lambda one: (one[1][0][1], one[0]))


def rule_of(nursery: Nursery, watch: str) -> dict[str, Any]:
    (rule,) = [one for one in nursery.rows("watches") if one["id"] == watch]
    return {name: value for name, value in rule.items() if name not in ("revision", "shipped")}


def lived(
    folder: Path,
    changed: dict[str, Any] | None = None,
    told: list[Record] | None = None,
    days: int = DAYS,
) -> Nursery:
    """Return a nursery that has lived through a story, from the first day under a changed rule."""
    clock = Clock(BEGIN)
    nursery = open_nursery(address_for(folder / "l.sqlite"), folder / "data", clock)
    phone = nursery.device()
    home = {**NEW_NURSERY, "id": nursery.site, "timezone": "Australia/Sydney"}
    home |= {"name": "Lath", "currency": "AUD"}
    phone.record("nursery_changed", None, home)
    if changed:
        phone.record("watch_changed", None, changed)
    nursery.tick()
    live_through(nursery, told or story(SEED), clock.ms, days)
    return nursery


@pytest.fixture(scope="module")
def nursery(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A nursery that has lived through the story in earnest."""
    opened = lived(tmp_path_factory.mktemp("lived"))
    yield opened
    close_nursery(opened)


@pytest.mark.parametrize("watch", WATCHES)
def test_the_preview_names_what_the_house_itself_raised(nursery: Nursery, watch: str):
    found = previewed(nursery, rule_of(nursery, watch))
    assert told_by(found) == happened(nursery, watch)
    assert found["whole"]
    assert found["now"] == found["then"]


def test_every_watch_of_these_rings_in_the_story(nursery: Nursery):
    assert {watch for watch in WATCHES if happened(nursery, watch)} == set(WATCHES)


def test_a_changed_limit_is_previewed_as_the_house_would_have_lived_with_it(
    nursery: Nursery, tmp_path: Path
):
    rule = rule_of(nursery, "fungus-recheck")
    after = {"due": {"hours": 4}, "alarm": {"hours": 9}}
    cases = [{**case, "after": after} for case in rule["cases"]]
    changed = {**rule, "cases": cases}
    other = lived(tmp_path, changed)
    found = previewed(nursery, changed)
    assert told_by(found) == happened(other, "fungus-recheck")
    assert found["then"]["raised"] > found["now"]["raised"]
    close_nursery(other)


def test_what_stood_before_is_told_apart_from_what_is_raised_anew(nursery: Nursery):
    found = previewed(nursery, rule_of(nursery, "look-due"), days=7)
    anew = [one for one in found["alerts"] if not one["before"]]
    assert found["then"]["raised"] == len(anew) == sum(found["then"]["weeks"])
    assert all(one["raised_at"] >= found["since"] for one in found["alerts"])


def test_a_rule_that_is_off_raises_nothing_and_says_what_is_gone(nursery: Nursery):
    found = previewed(nursery, {**rule_of(nursery, "look-due"), "enabled": False})
    assert found["then"]["raised"] == 0
    assert len(found["gone"]) == found["now"]["raised"] > 0


def test_what_there_was_no_time_for_is_said(nursery: Nursery):
    seconds = iter(range(0, 1000, 8))
    rule = rule_of(nursery, "look-due")
    with nursery.app.app_context():
        found = preview(nursery.site, rule, 90, to_text(nursery.clock.ms), lambda: next(seconds))
    assert (found["looked_at"], found["of"], found["whole"]) == (2, 3, False)
    assert found["stopped"]["at"] is None
    assert found["stopped"]["label"]


def test_a_probe_with_more_readings_than_there_is_time_for_ends_in_time_and_says_how_far_it_came(
    nursery: Nursery,
):
    """Twenty seconds for all of it: ours. The clock here goes a tenth of one at each look at it."""
    looks = iter(number / 10 for number in range(10_000))
    rule = rule_of(nursery, "chamber-band")
    with nursery.app.app_context():
        found = preview(nursery.site, rule, 90, to_text(nursery.clock.ms), lambda: next(looks))
    assert next(looks) < 25
    assert (found["whole"], found["looked_at"] < found["of"]) == (False, True)
    assert found["stopped"]["label"] == "Fridge"


def test_what_spreads_beside_a_lot_is_looked_for_within_the_time_too(nursery: Nursery):
    looks = iter(range(0, 1000, 9))
    rule = rule_of(nursery, "fungus-neighbours")
    with nursery.app.app_context():
        found = preview(nursery.site, rule, 90, to_text(nursery.clock.ms), lambda: next(looks))
    assert next(looks) < 60
    assert (found["looked_at"], found["of"], found["then"]["raised"]) == (0, 3, 0)


@pytest.mark.parametrize("watch", ["chamber-band", "chamber-silent", "round-missing"])
def test_the_years_before_are_not_lived_through_where_a_place_is_kept_as_it_was(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch, watch: str
):
    """Eight days back it is kept; from there on it comes to what the whole log comes to."""
    rule, used = rule_of(nursery, watch), []
    real = long_rows.as_it_was

    def counted(*asked: Any) -> Any:
        found = real(*asked)
        used.append(found)
        return found

    monkeypatch.setattr(long_rows, "as_it_was", counted)
    short = previewed(nursery, rule, 5)
    monkeypatch.setattr(long_rows, "as_it_was", lambda *_: None)
    assert short == previewed(nursery, rule, 5)
    assert any(used)


# Frost, heat and covers, what spreads beside a lot, who was in a closed place, backups: each rests
# on more than the log of what it is about.
BESIDE = [
    "frost-tonight", "frost-now", "cover-left-on", "heat-plants", "fungus-neighbours", "re-entry",
    "backup-old",
]  # fmt: skip
YARD_DAYS = 12
YARD, TUNNEL = str(uuid.UUID(int=3)), str(uuid.UUID(int=4))


def yard_story(seed: int) -> list[Record]:
    """Return some weeks in a yard and a tunnel: cold and hot days, covers, mould, sprays, moves."""
    pick = random.Random(seed)
    told: list[Record] = [
        (0, "place_changed", None, {"id": YARD, "name": "Yard", "kind": "bench", "order": 1}),
        (1, "place_changed", None, {"id": TUNNEL, "name": "Tunnel", "kind": "house", "order": 2}),
    ]
    for number in range(4):
        lot = str(uuid.UUID(int=200 + number))
        start = {"crop": "acer-palmatum", "label": f"26-10{number}", "quantity": 90 + number}
        start |= {"unit": "plants", "container_l": 2, "place": pick.choice([YARD, TUNNEL])}
        told.append((HOUR_MS + number, "lot_started", lot, start))
        for _ in range(9):
            said = {"fungus": pick.choice(["none", "spreading", None]),
                    "new_flush": pick.choice([True, False, None])}  # fmt: skip
            look = {name: value for name, value in said.items() if value is not None}
            kind, data = pick.choice([
                ("looked", look), ("looked", look), ("looked", look), ("covered", {}),
                ("uncovered", {}), ("moved", {"place": pick.choice([YARD, TUNNEL])}),
            ])  # fmt: skip
            told.append((pick.randint(2 * HOUR_MS, YARD_DAYS * DAY_MS), kind, lot, data))
    told.append((10 * DAY_MS, "lot_closed", str(uuid.UUID(int=203)), {"why": "sold out"}))
    for day in range(YARD_DAYS):
        told += yard_day(pick, day)
    return sorted((one for one in told if one[0] < YARD_DAYS * DAY_MS), key=lambda one: one[0])


def yard_day(pick: random.Random, day: int) -> list[Record]:
    """Return a day's forecast, readings, covers and treatments; it begins at eight."""
    at = day * DAY_MS
    date = to_text(parse_instant(BEGIN) + at + 10 * HOUR_MS)[:10]
    low, high = pick.choice([-3, 1, 2.5, 4, 9]), pick.choice([18, 25, 33, 38])
    told: list[Record] = [
        (at + 2 * HOUR_MS, "read", None,
         {"quantity_kind": "forecast_low_c", "value": low, "for_night_of": date}),
        (at + 2 * HOUR_MS + 1, "read", None,
         {"quantity_kind": "forecast_high_c", "value": high, "for_day": date}),
        (at + 15 * HOUR_MS, "read", None, {"quantity_kind": "temp_c", "value": low}),
        (at + 16 * HOUR_MS, "read", None,
         {"quantity_kind": "temp_c", "value": low + 1, "place": YARD}),
    ]  # fmt: skip
    place = pick.choice([YARD, TUNNEL])
    if pick.random() < 0.6:
        told.append((at + 8 * HOUR_MS, "covered", None, {"place": place}))
        told.append((at + pick.choice([23, 27, 50]) * HOUR_MS, "uncovered", None, {"place": place}))
    if pick.random() < 0.3:
        spray = {**TREATED, "places": [place], "rei_hours": pick.choice([12, 48])}
        ended = parse_instant(BEGIN) + at + 3 * HOUR_MS
        spray |= {"started_at": to_text(ended - HOUR_MS), "ended_at": to_text(ended)}
        told.append((at + 3 * HOUR_MS + MINUTE_MS, "treated", None, spray))
    if pick.random() < 0.4:
        told.append((at + 4 * HOUR_MS, "backup", None, {}))
    return told


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A nursery that has lived through the yard's story in earnest."""
    opened = lived(tmp_path_factory.mktemp("yard"), told=yard_story(SEED), days=YARD_DAYS)
    yield opened
    close_nursery(opened)


def test_what_rests_on_more_than_a_subjects_own_log_is_lived_through_too(yard: Nursery):
    seen = {watch: happened(yard, watch) for watch in BESIDE}
    assert {watch for watch, rang in seen.items() if rang} == set(BESIDE)
    for watch in BESIDE:
        found = previewed(yard, rule_of(yard, watch), YARD_DAYS + 1)
        assert (watch, told_by(found)) == (watch, seen[watch])
        assert found["whole"], watch
        assert found["not_replayed"] == []


def test_a_warmer_limit_of_frost_is_tried_on_the_forecasts_as_they_were_known(yard: Nursery):
    rule = rule_of(yard, "frost-tonight")
    when = [["night.low_c", "at_most", 5]]
    found = previewed(yard, {**rule, "when": when}, YARD_DAYS + 1)
    assert found["then"]["raised"] > found["now"]["raised"] > 0
