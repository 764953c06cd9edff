"""The published check values about watches, on both sides, each with its source beside it."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.calculations import watch
from lathhouse.domain.instants import parse_instant, to_text
from tests.parity.golden import log_of
from tests.parity.logs import CHILD, LOT
from tests.parity.twins import Case, in_browser, in_python

TABLE = json.loads(
    (Path(__file__).parent.parent / "reference" / "vectors_job.json").read_text("utf-8")
)
# Sown when its window opens, this crop gives the window that a vector states outright.
OPENS_AT_ONCE = {"id": "example", "botanical": "Example", "stages": [
    {"kind": "germinate", "min": 0, "max": 1000}]}  # fmt: skip


def case_of(vector: dict[str, Any]) -> Case:
    """Return a vector as a case; `window_opened` and `synced` stand for what is derived."""
    inputs = vector["inputs"]
    events = [{**event, "at": to_text(parse_instant(event["at"]))} for event in inputs["events"]]
    now = to_text(parse_instant(inputs["now"]))
    case = {"seed": vector["id"], "site": 0, "stops": [[0, now, False]]}
    if events[0]["kind"] == "synced":
        phone = {"id": LOT, "name": None, "last_sync_at": max(event["at"] for event in events)}
        return {**case, "kind": "phone", "rows": [{"phone": phone}]}
    told = [
        {**event, "kind": "sown"} if event["kind"] == "window_opened" else event for event in events
    ]
    began = {"kind": "lot_started", "at": min(event["at"] for event in events)}
    start = {"crop": "example", "label": "A", "quantity": 100, "unit": "seeds"}
    log = log_of([{**began, "data": start}, *told], start=False)
    life = {"kind": "life", "lot": LOT, "child": CHILD, "parents": {}, "split": 0, "events": log}
    return {**case, **life, "crops": {"example": OPENS_AT_ONCE}, "stops": [[len(log), now, False]]}


@pytest.mark.parametrize("vector", TABLE["vectors"], ids=[v["id"] for v in TABLE["vectors"]])
def test_both_cores_and_the_calculation_give_the_level_of_the_vector(
    core_page: Page, vector: dict[str, Any]
):
    assert vector["source"] in TABLE["sources"]
    assert vector["where"]
    case = case_of(vector)
    levels = [watch(vector["inputs"])["result"]["level"]]
    for result in (in_python(case), *in_browser(core_page, [case])):
        (here,) = result["stops"][0]["looks"]
        of_it = [one for one in here["findings"] if one["watch"] == vector["inputs"]["watch"]]
        levels.append(of_it[0]["level"] if of_it else None)
    assert levels == [vector["expected"]["level"]] * 3
