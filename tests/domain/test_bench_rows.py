"""What runs on the bench: its times from the protocol, and the ways on from it."""

from typing import Any

import pytest

from lathhouse.domain.bench import bench_row
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, parse_instant, to_text
from lathhouse.domain.lot import fold
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.spells import dip_refusal

START = "2026-05-01T08:00:00.000Z"
CROPS = load_crops()


def lot_of(crop: str, *acts: tuple[str, dict[str, Any]]) -> dict[str, Any]:
    """Return a lot of clean seed after some acts, a minute apart, the last of them at START."""
    first = parse_instant(START) - len(acts) * MINUTE_MS
    started = ("lot_started", {"crop": crop, "label": "A", "quantity": 200, "unit": "seeds"})
    events = [
        {"id": f"e{n}", "device": "d", "seq": n + 1, "kind": kind, "lot": "l", "data": data}
        | {"at": (at := to_text(first + n * MINUTE_MS)), "observed_at": at, "by": None}
        for n, (kind, data) in enumerate([started, *acts])
    ]
    lot = fold("l", events)
    assert lot is not None
    return lot


def after_start(row: dict[str, Any], name: str) -> int | None:
    """Return how long after its start one of a row's times comes, in milliseconds."""
    return None if row[name] is None else parse_instant(row[name]) - parse_instant(START)


SOAK = ("soak_started", {})
DIP = ("sanitise_started", {"limit_minutes": 8})
TIMES = [
    # The crop's own figures, 36 h and 24-48 h.
    ("acer-palmatum", [SOAK], 36 * HOUR_MS, 48 * HOUR_MS),
    # No figure in the protocol: 24 h is common practice, no source; half as much again is ours.
    ("acer-rubrum", [SOAK], 24 * HOUR_MS, 36 * HOUR_MS),
    # Minutes: common practice, no source; the alarm at one and a half of them is ours.
    ("acer-palmatum", [SOAK, DIP], 8 * MINUTE_MS, 12 * MINUTE_MS),
    ("acer-palmatum", [SOAK, ("sanitise_started", {})], 10 * MINUTE_MS, 15 * MINUTE_MS),
    ("acer-palmatum", [SOAK, ("soak_ended", {})], 4 * HOUR_MS, 24 * HOUR_MS),
    # The crop's own range, 60 to 120 days.
    ("acer-palmatum", [("cold_started", {})], 60 * DAY_MS, 120 * DAY_MS),
    # A chill with no range in the protocol has no time of its own.
    ("zelkova-serrata", [("cold_started", {})], None, None),
]


@pytest.mark.parametrize(("crop", "acts", "target", "limit"), TIMES)
def test_a_row_has_its_time_and_its_limit_from_the_protocol(
    crop: str, acts: list[tuple[str, dict[str, Any]]], target: int | None, limit: int | None
):
    row = bench_row(lot_of(crop, *acts), CROPS[crop])
    assert row is not None
    assert (after_start(row, "target_at"), after_start(row, "limit_at")) == (target, limit)


def test_seed_that_must_not_dry_has_hours_and_not_a_day():
    crop = {**CROPS["acer-palmatum"], "storage_class": "recalcitrant"}
    row = bench_row(lot_of("acer-palmatum", SOAK, ("soak_ended", {})), crop)
    assert row is not None
    assert after_start(row, "target_at") == HOUR_MS
    assert after_start(row, "limit_at") == 4 * HOUR_MS


def test_moving_the_water_starts_its_clock_anew_and_not_the_soak_s():
    row = bench_row(lot_of("acer-palmatum", SOAK, ("water_changed", {})), CROPS["acer-palmatum"])
    assert row is not None
    assert after_start(row, "still_at") == 24 * HOUR_MS
    assert row["started_at"] < START


def test_acid_bars_the_dip_until_the_rinse_and_a_second_acid_bars_it_again():
    acid, rinse = ("scarified", {"method": "acid"}), ("rinsed_neutral", {"strip_ph": 7})
    dip = ["soak_ended", "sanitise_started"]
    for acts, allowed in (((acid,), False), ((acid, rinse), True), ((acid, rinse, acid), False)):
        lot = lot_of("acer-palmatum", *acts, SOAK)
        row = bench_row(lot, CROPS["acer-palmatum"])
        assert row is not None
        assert (dip_refusal(lot) is None) is allowed
        assert (dip in row["next"]) is allowed


def test_the_first_way_on_is_the_protocol_s_next_step():
    ways = [
        ("acer-palmatum", SOAK, ["soak_ended", "cold_started"]),
        ("pinus-parviflora", SOAK, ["soak_ended", "warm_started"]),
        ("acer-palmatum", DIP, ["sanitise_ended"]),
        ("viburnum-opulus", ("warm_started", {}), ["cold_started"]),
        ("acer-palmatum", ("cold_started", {}), ["sown"]),
    ]
    for crop, act, first in ways:
        row = bench_row(lot_of(crop, act), CROPS[crop])
        assert row is not None
        assert row["next"][0] == first, (crop, act)


def test_nothing_runs_in_a_closed_lot_or_in_clean_seed():
    assert bench_row(lot_of("acer-palmatum"), CROPS["acer-palmatum"]) is None
    closed = lot_of("acer-palmatum", SOAK, ("lot_closed", {"why": "sold"}))
    assert bench_row(closed, CROPS["acer-palmatum"]) is None
