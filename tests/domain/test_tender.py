"""What frost can hurt. The rules and their days are our own choice; none is from a source."""

from typing import Any

import pytest

from lathhouse.domain.facts import phase
from lathhouse.domain.instants import DAY_MS, parse_instant, to_text
from lathhouse.domain.lot import fold
from lathhouse.domain.protocols import BadCrop, check_shape, load_crops
from lathhouse.domain.tender import FOREVER, cover_of, kind_of, tenderness

LOT = "00000000-0000-7000-8000-000000000001"
BEGUN = parse_instant("2026-05-01T08:00:00+10:00")
TENDER, HALF = {"tenderness": {"value": "tender"}}, {"tenderness": "half_hardy"}
HARDY = {"tenderness": {"value": "hardy", "grade": "practice", "source": None}}


def at(days: float) -> str:
    return to_text(round(BEGUN + days * DAY_MS))


def lot_of(start: dict[str, Any], *events: tuple[float, str, dict[str, Any]]) -> dict[str, Any]:
    """Return a lot after events, each given by its day."""
    data = {"crop": "example", "label": "A", "quantity": 100, "unit": "seeds", **start}
    told = [(0.0, "lot_started", data), *events]
    log = [
        {"id": f"e{n}", "device": "a", "seq": n, "lot": LOT, "by": "jo", "kind": kind,
         "at": at(day), "data": said}
        for n, (day, kind, said) in enumerate(told)
    ]  # fmt: skip
    lot = fold(LOT, log)
    assert lot is not None
    return lot


def until(lot: dict[str, Any], crop: dict[str, Any] | None) -> tuple[str | None, str]:
    found = tenderness(lot, crop, phase(lot))
    return found["until"], found["why"]


UP = (20.0, "counted", {"emerged": 12, "out_of": 100})
SOWN = (1.0, "sown", {"flats": 2})
POTS = {"unit": "plants", "container_l": 2}
FLUSH = (9.0, "looked", {"new_flush": True})


@pytest.mark.parametrize(
    ("lot", "crop", "expected"),
    [
        (lot_of({}), TENDER, (None, "below_ground")),
        (lot_of({}, SOWN), TENDER, (None, "below_ground")),
        (lot_of({}, SOWN, UP), HARDY, (FOREVER, "emerging")),
        (lot_of({}, SOWN, UP, (30, "emergence_closed", {})), HARDY, (at(76), "first_leaves")),
        (lot_of({"unit": "seedlings"}), HARDY, (at(56), "first_leaves")),
        (lot_of(POTS), HARDY, (None, "hardy")),
        (lot_of(POTS), TENDER, (FOREVER, "tender")),
        (lot_of({**POTS, "container_l": 10}), TENDER, (FOREVER, "tender")),
        (lot_of(POTS), HALF, (FOREVER, "half_hardy")),
        (lot_of({**POTS, "container_l": 2.99}), HALF, (FOREVER, "half_hardy")),
        (lot_of({**POTS, "container_l": 3}), HALF, (None, "half_hardy")),
        (lot_of(POTS, FLUSH), HARDY, (at(51), "new_flush")),
        (lot_of(POTS, FLUSH, (12, "looked", {"new_flush": False})), HARDY, (None, "hardy")),
        (lot_of(POTS), None, (None, "unknown")),
        (lot_of(POTS, FLUSH), None, (at(51), "new_flush")),
    ],
)
def test_tender_is_what_grows_whatever_the_kind_and_the_kind_by_its_size(
    lot: dict[str, Any], crop: dict[str, Any] | None, expected: tuple[str | None, str]
):
    assert until(lot, crop) == expected


def test_what_nobody_has_said_is_not_known_unless_it_is_coming_up():
    assert not tenderness(lot_of(POTS), None, "pots")["known"]
    assert tenderness(lot_of(POTS), HARDY, "pots")["known"]
    assert tenderness(lot_of({}, SOWN, UP), None, "emerging")["known"]


def test_an_owner_may_say_from_which_size_on_a_kind_is_hardy():
    crop = {"tenderness": {"value": "half_hardy", "hardy_from_l": 8}}
    assert until(lot_of({**POTS, "container_l": 5}), crop) == (FOREVER, "half_hardy")
    with pytest.raises(BadCrop, match="tenderness is one of tender, half_hardy, hardy"):
        check_shape({"stages": [], "tenderness": "delicate"})


def test_every_shipped_crop_says_its_tenderness_with_a_grade_or_says_nothing():
    """Common practice of the trade, no source: none of them claims to have been read."""
    crops = load_crops().values()
    said = [crop["tenderness"] for crop in crops if crop["tenderness"] is not None]
    assert all(one["grade"] == "practice" and one["source"] is None for one in said)
    assert 0 < len(said) < len(crops)
    assert kind_of(load_crops()["camellia-japonica"])[0] == "tender"


def test_a_cover_stays_where_it_was_put_and_a_place_uncovers_all_that_stands_in_it():
    covered = (2.0, "covered", {"until": "2026-05-20"})
    lot = lot_of({**POTS, "place": "p1"}, covered)
    assert lot["cover"] == {"at": at(2), "by": "jo", "until": "2026-05-20", "for_low_c": None}
    assert cover_of(lot, {}) == lot["cover"]
    assert cover_of(lot, {"bared_at": at(3)}) is None
    assert cover_of(lot_of({**POTS, "place": "p1"}, covered, (3, "uncovered", {})), {}) is None
    moved = lot_of({**POTS, "place": "p1"}, covered, (4, "moved", {"place": "p2"}))
    assert cover_of(moved, {}) is None
    assert cover_of(moved, {"covered": {"at": at(3)}}) is None
    assert cover_of(moved, {"covered": {"at": at(5)}}) == {"at": at(5)}
    spaced = lot_of({**POTS, "place": "p1"}, covered, (4, "moved", {"place": "p1"}))
    assert cover_of(spaced, {}) == lot["cover"]
