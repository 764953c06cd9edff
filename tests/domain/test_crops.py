"""The crops that ship: each figure with its source or its grade, and rows that are refused."""

from typing import Any

import pytest

from lathhouse.domain.lot import fold
from lathhouse.domain.protocols import (
    BadCrop,
    check_crop,
    limits,
    load_crops,
    load_sources,
    next_step,
)

LOT = "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"


def lot_of(crop: str, *events: tuple[str, dict[str, Any], str]) -> dict[str, Any]:
    started = {"crop": crop, "label": "26-001-A", "quantity": 300, "unit": "seeds"}
    logged = [("lot_started", started, "2026-01-01"), *events]
    lot = fold(
        LOT,
        [
            {
                "id": f"e{number}", "device": "d", "seq": number, "kind": kind, "lot": LOT,
                "at": f"{day}T00:00:00.000Z", "by": None, "data": data,
            }
            for number, (kind, data, day) in enumerate(logged, 1)
        ],
    )  # fmt: skip
    assert lot is not None
    return lot


def test_the_soak_of_a_kind_is_its_own_or_a_day():
    """Acer palmatum 24 to 48 h: AH 727, Acer L. The day where none is named: common practice."""
    maple, kousa = load_crops()["acer-palmatum"], load_crops()["cornus-kousa"]
    assert limits("soak", 1, maple) == {"target_hours": 36, "max_hours": 48}
    assert limits("soak", 1, kousa) == {"target_hours": 24, "max_hours": 36}


def test_the_153_crops_ship_each_figure_with_its_source_or_its_grade():
    crops, sources = load_crops(), load_sources()
    assert len(crops) >= 153
    for crop in crops.values():
        check_crop(crop, sources)
        for step in crop["stages"]:
            assert step["source"] in sources or step["grade"] in ("practice", "memory", "derived")
    for source in sources.values():
        assert source["title"]
        assert source["author"]


def broken(part: str, **changes: Any) -> dict[str, Any]:
    """Return a shipped crop with a step, or a figure, changed."""
    crop = load_crops()["magnolia-virginiana"]
    if part == "stages":
        return {**crop, "stages": [*crop["stages"][:-1], {**crop["stages"][-1], **changes}]}
    if part == "dormancy":
        return {**crop, **{f"dormancy_{name}": value for name, value in changes.items()}}
    return {**crop, part: {**crop[part], **changes}}


@pytest.mark.parametrize("part", ["stages", "dormancy", "seeds_per_kg", "germination_percent"])
@pytest.mark.parametrize("grade", ["read", "derived"])
@pytest.mark.parametrize("source", [None, "a-book-that-nobody-named"])
def test_a_figure_that_claims_a_source_and_names_none_is_refused(
    part: str, grade: str, source: str | None
):
    with pytest.raises(BadCrop, match="names no source"):
        check_crop(broken(part, grade=grade, source=source), load_sources())


@pytest.mark.parametrize("part", ["stages", "dormancy", "seeds_per_kg"])
@pytest.mark.parametrize("grade", [None, "hearsay"])
def test_a_figure_without_a_grade_that_is_known_is_refused(part: str, grade: str | None):
    with pytest.raises(BadCrop, match="no such grade"):
        check_crop(broken(part, grade=grade), load_sources())


def test_a_step_that_is_upside_down_is_refused():
    with pytest.raises(BadCrop, match="min must not be over max"):
        check_crop(broken("stages", min=9, max=3), load_sources())


def test_a_kind_that_nobody_knows_has_no_limits_of_its_own():
    lot = lot_of("no-such-crop", ("cold_started", {}, "2026-02-01"))
    assert next_step(lot, None) is None
    assert limits("cold", 1, None) == {"target_days": None, "min_days": None, "longest_days": None}
