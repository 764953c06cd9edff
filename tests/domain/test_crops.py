"""The crops that ship: facts of kinds as their sources print them, and rows that are refused.

The figures below were copied from the tables named beside them, not from the program's own data.
AH 727 is Bonner FT, Karrfalt RP (editors), 2008, The Woody Plant Seed Manual, USDA Forest Service,
Agriculture Handbook 727; its tables were read as transcribed in an open research data set.
"""

from typing import Any

import pytest

from lathhouse.domain.instants import to_ms
from lathhouse.domain.lot import fold
from lathhouse.domain.protocols import (
    BadCrop,
    check_crop,
    limits,
    load_crops,
    load_sources,
    next_step,
    window,
)

LOT = "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"
Facts = dict[str, tuple[Any, ...]]
# kind: cold (least, most, or the one figure given), days in which it should come up, where it is.
COLD: dict[str, tuple[int | None, int | None, int | None, str]] = {
    "acer-palmatum": (60, 120, None, "AH 727, Acer L., stratification table"),
    "cornus-kousa": (40, 120, None, "AH 727, Cornus L., stratification table"),
    "syringa-vulgaris": (30, 90, None, "AH 727, Syringa L., germination table"),
    "magnolia-virginiana": (None, None, 58, "AH 727, Magnolia L., germination table"),
    "hamamelis-virginiana": (None, None, 90, "Iowa State, witch-hazel: warm 60 days, cold 90"),
    "fraxinus-ornus": (None, None, 90, "AH 727, Fraxinus L.: warm 30 days, cold 90"),
    "tilia-cordata": (98, 126, None, "AH 727, Tilia L.: warm 120 days, cold 14 to 18 weeks"),
    "stewartia-koreana": (None, None, 90, "Shim 1993: warm 90 days, cold 90"),
    "cercis-canadensis": (35, 91, None, "AH 727, Cercis L.: 5 to 13 weeks"),
    "taxus-baccata": (60, 120, None, "AH 727, Taxus L.: warm 150 to 210 days, cold 60 to 120"),
    "viburnum-opulus": (30, 60, None, "AH 727, Viburnum L.: warm 60 to 90 days, cold 30 to 60"),
    "viburnum-acerifolium": (60, 120, None, "AH 727, Viburnum L.: warm 180 to 510 days"),
}
WARM: dict[str, tuple[int | None, int | None, int | None]] = {
    "hamamelis-virginiana": (None, None, 60),
    "fraxinus-ornus": (None, None, 30),
    "tilia-cordata": (None, None, 120),
    "stewartia-koreana": (None, None, 90),
    "taxus-baccata": (150, 210, None),
    "viburnum-opulus": (60, 90, None),
    "viburnum-acerifolium": (180, 510, None),
}
# kind: days from sowing to the opening and the close of the window. A target alone opens at half of
# it and closes at one and a half: the program's own rule, said in `protocols.window`.
WINDOW_DAYS: dict[str, tuple[float, float, str]] = {
    "magnolia-virginiana": (33, 61, "AH 727, Magnolia L., germination table: 33 to 61 days"),
    "cornus-kousa": (15, 45, "AH 727, Cornus L.: 30 days"),
    "syringa-vulgaris": (10.5, 31.5, "AH 727, Syringa L.: 21 days"),
    "cercis-canadensis": (12, 36, "AH 727, Cercis L.: 24 days"),
    "taxus-baccata": (30, 90, "AH 727, Taxus L.: 60 days"),
    "camellia-japonica": (66.5, 199.5, "Wang and others 2017: 29 of 30 within 133 days at 15 °C"),
}


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


@pytest.mark.parametrize(("crop", "expected"), COLD.items(), ids=list(COLD))
def test_the_cold_period_of_a_kind_is_that_of_its_source(
    crop: str, expected: tuple[int | None, int | None, int | None, str]
):
    least, most, aim, _ = expected
    found = limits("cold", 1, load_crops()[crop])
    if aim is None:
        assert (found["min_days"], found["longest_days"]) == (least, most)
    else:
        assert (found["target_days"], found["longest_days"]) == (aim, aim * 1.5)


@pytest.mark.parametrize(("crop", "expected"), WARM.items(), ids=list(WARM))
def test_the_warm_period_before_it_too(
    crop: str, expected: tuple[int | None, int | None, int | None]
):
    least, most, aim = expected
    found = limits("warm", 1, load_crops()[crop])
    assert found["longest_days"] == (most if aim is None else aim)
    assert found["min_days"] == least or aim is not None
    kinds = [step["kind"] for step in load_crops()[crop]["stages"]]
    assert kinds.index("warm") < kinds.index("cold")


@pytest.mark.parametrize(("crop", "expected"), WINDOW_DAYS.items(), ids=list(WINDOW_DAYS))
def test_seedlings_are_looked_for_in_the_days_of_the_source(
    crop: str, expected: tuple[float, float, str]
):
    lot = lot_of(crop, ("sown", {"flats": 2, "per_flat": 150}, "2026-09-01"))
    found = window(lot, load_crops()[crop])
    assert found is not None
    sown = to_ms("2026-09-01T00:00:00.000Z")
    days = [(to_ms(found[name]) - sown) / 86_400_000 for name in ("opens_at", "closes_at")]
    assert days == list(expected[:2])


def test_the_soak_of_a_kind_is_its_own_or_a_day():
    """Acer palmatum 24 to 48 h: AH 727, Acer L. The day where none is named: common practice."""
    maple, kousa = load_crops()["acer-palmatum"], load_crops()["cornus-kousa"]
    assert limits("soak", 1, maple) == {"target_hours": 36, "max_hours": 48}
    assert limits("soak", 1, kousa) == {"target_hours": 24, "max_hours": 36}


def test_all_153_crops_ship_each_figure_with_its_source_or_its_grade():
    crops, sources = load_crops(), load_sources()
    assert len(crops) == 153
    for crop in crops.values():
        check_crop(crop, sources)
        for step in crop["stages"]:
            assert step["source"] in sources or step["grade"] in ("practice", "memory", "derived")
    for source in sources.values():
        assert source["title"]
        assert source["author"]


def test_a_row_without_its_source_is_refused():
    crop = load_crops()["acer-palmatum"]
    bare = {**crop, "stages": [{**crop["stages"][0], "grade": "read", "source": None}]}
    with pytest.raises(BadCrop, match="names no source"):
        check_crop(bare, load_sources())
    with pytest.raises(BadCrop, match="min must not be over max"):
        check_crop({**crop, "stages": [{**crop["stages"][0], "min": 9, "max": 3}]}, load_sources())


def test_a_kind_that_nobody_knows_has_no_limits_of_its_own():
    lot = lot_of("no-such-crop", ("cold_started", {}, "2026-02-01"))
    assert next_step(lot, None) is None
    assert limits("cold", 1, None) == {"target_days": None, "min_days": None, "longest_days": None}
