"""The published values about the work itself, over HTTP, each with its source beside it."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.job_sums import JOB_SUMS
from tests.parity.twins import called_in_browser
from tests.server import Nursery

TABLE = json.loads(
    (Path(__file__).parents[1] / "reference" / "vectors_work.json").read_text("utf-8")
)
VECTORS = TABLE["vectors"]
Z_95 = 1.959963984540054


def ask(nursery: Nursery, vector: dict[str, Any]) -> Any:
    path = f"/api/v1/calculations/{vector['calculation']}"
    return nursery.call("POST", path, vector["inputs"], role="worker")


def near(value: Any, expected: Any, allowed: float) -> bool:
    """Say whether a result is what is expected, number by number."""
    if isinstance(expected, dict):
        return all(near(value[name], one, allowed) for name, one in expected.items())
    if isinstance(expected, list):
        pairs = zip(value, expected, strict=True)
        return all(near(one, other, allowed) for one, other in pairs)
    if isinstance(expected, bool) or not isinstance(expected, int | float):
        return bool(value == expected)
    return bool(abs(value - expected) <= allowed + 1e-9)


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: str(vector["id"]))
def test_every_example_comes_out_over_http(same_nursery: Nursery, vector: dict[str, Any]):
    assert vector["source"] in TABLE["sources"]
    said = ask(same_nursery, vector).json
    assert near(said["result"], vector["expected"], vector["tolerance"]["abs"])
    assert said["says"].endswith(".")
    assert said["sources"]


def test_each_of_them_has_an_example():
    assert JOB_SUMS.keys() == {vector["calculation"] for vector in VECTORS}


@pytest.mark.parametrize("case", TABLE["must_refuse"], ids=lambda case: str(case["why"]))
def test_what_cannot_be_is_refused_in_a_sentence(same_nursery: Nursery, case: dict[str, Any]):
    answer = ask(same_nursery, case)
    assert answer.status_code == 422
    assert answer.json["detail"].endswith(".")


@pytest.mark.parametrize(
    ("law", "ended_at", "expected"),
    [
        ("eu", "2026-03-02T09:00:00Z", ["2026-03-02T21:00:00Z", None, None]),
        ("us-wps", "2028-02-28T23:00:00-05:00",
         ["2028-02-29T11:00:00-05:00", "2028-03-30T11:00:00-05:00", "2030-03-01"]),
    ],
)  # fmt: skip
def test_an_interval_keeps_the_offset_it_was_given_and_other_laws_say_no_more(
    same_nursery: Nursery, law: str, ended_at: str, expected: list[Any]
):
    inputs = {"law": law, "ended_at": ended_at, "rei_hours": 12}
    said = ask(same_nursery, {"calculation": "re_entry", "inputs": inputs}).json["result"]
    assert [said["enter_after"], said["display_until"], said["keep_until"]] == expected


def test_wilsons_interval_is_the_same_on_the_phone(core_page: Page):
    for vector in VECTORS:
        if vector["calculation"] == "proportion_interval_wilson":
            counts = vector["inputs"]["successes"], vector["inputs"]["trials"]
            low, high = called_in_browser(core_page, "proportions", "wilson", *counts, Z_95)[
                "value"
            ]
            expected = vector["expected"]
            assert near([low, high], [expected["low"], expected["high"]], 1e-7)
