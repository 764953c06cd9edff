"""The morning list over HTTP: what is due, in walking order, in three forms."""

import re
import uuid
from typing import Any

import pytest
import segno

from lathhouse.domain.instants import MINUTE_MS, local_time
from lathhouse.domain.morning import LOTS_MAX
from lathhouse.domain.morning_words import TYPED_WORDS
from lathhouse.store.config import rows_of_kind
from lathhouse.store.work import Work, looking
from tests.server import Device, Nursery


def place(device: Device, name: str, order: int, *, daily: bool = False) -> str:
    row = {"id": str(uuid.uuid4()), "name": name, "order": order, "kind": "bench", "daily": daily}
    device.record("place_changed", None, row)
    return str(row["id"])


def cold(device: Device, where: str, days: float, **more: Any) -> str:
    lot = device.start_lot(at=device.nursery.clock.text(days=days), place=where, **more)
    device.record("cold_started", lot, {}, at=device.nursery.clock.text(days=days))
    return lot


def listed(nursery: Nursery) -> dict[str, Any]:
    answer = nursery.call("GET", "/api/v1/morning")
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json
    return found


def test_what_is_due_stands_in_walking_order_with_the_alarms_first(one_nursery: Nursery):
    device = one_nursery.device()
    far, near = place(device, "Far bench", 2), place(device, "Near fridge", 1)
    place(device, "Quiet shelf", 3)
    cold(device, far, 8, label="26-002-A")
    forgotten = cold(device, near, 43, label="26-001-B")
    cold(device, near, 1, label="26-003-C")
    found = listed(one_nursery)
    assert [(stop["number"], stop["name"]) for stop in found["stops"]] == [
        (1, "Near fridge"),
        (2, "Far bench"),
    ]
    assert [[lot["label"] for lot in stop["lots"]] for stop in found["stops"]] == [
        ["26-001-B"],
        ["26-002-A"],
    ]
    assert found["nothing_due"] == ["3. Quiet shelf"]
    # The nursery itself rings too: nobody has recorded anything for weeks.
    assert [alarm["lot"] for alarm in found["alarms"]] == [forgotten, None]
    # The lot's own line does not say its name twice.
    (todo, *_) = found["stops"][0]["lots"][0]["todo"]
    assert todo["says"].startswith("six weeks in the cold since")


def test_a_place_that_is_walked_daily_lists_its_lots_until_they_are_seen(one_nursery: Nursery):
    device = one_nursery.device()
    bench = place(device, "Bench", 1, daily=True)
    lot = cold(device, bench, 1)
    (stop,) = listed(one_nursery)["stops"]
    assert [one["lot"] for one in stop["lots"]] == [lot]
    assert stop["lots"][0]["todo"] == []
    device.record("looked", lot, {"moisture": 3})
    found = listed(one_nursery)
    assert [lot for stop in found["stops"] for lot in stop["lots"]] == []


def test_what_runs_stands_on_the_list_with_the_hour_seen_or_not(one_nursery: Nursery):
    """Nobody on paper is told by a phone that a dip is over.

    10 min and 4 h: `domain/bench.py`; 36 h: `crops.json`, Acer palmatum (24 to 48 h, AH 727).
    """
    device, clock = one_nursery.device(), one_nursery.clock
    shed = place(device, "Shed", 1)
    steps = (("soak", "soak_started", 30), ("bleach", "sanitise_started", 2))
    for label, kind, minutes in steps:
        lot = device.start_lot(at=clock.text(days=2), place=shed, label=label)
        device.record("looked", lot, {"moisture": 3})
        device.record(kind, lot, {}, at=clock.text(days=minutes / 1440))
    drained = device.start_lot(at=clock.text(days=2), place=shed, label="drained")
    device.record("soak_started", drained, {}, at=clock.text(days=1))
    device.record("soak_ended", drained, {}, at=clock.text(days=5 / 1440))
    found = listed(one_nursery)
    assert [(one["label"], one["kind"]) for one in found["running"]] == [
        ("bleach", "sanitise"),
        ("drained", "drained"),
        ("soak", "soak"),
    ]
    assert [one["until"]["time"] for one in found["running"]] == [
        local(one_nursery, minutes) for minutes in (8, 4 * 60 - 5, 36 * 60 - 30)
    ]
    text = one_nursery.call("GET", "/api/v1/morning?as=text").text
    assert f"[ ] bleach Acer palmatum: in the bleach since {local(one_nursery, -2)}" in text
    assert f"rinse at {local(one_nursery, 8)} (Shed)" in text
    page = one_nursery.call("GET", "/api/v1/morning?as=html").text
    assert f"drained since {local(one_nursery, -5)}" in page


def local(nursery: Nursery, minutes: int) -> str:
    """Return the nursery's time of day in so many minutes."""
    at = nursery.clock() + minutes * MINUTE_MS
    with nursery.app.app_context():
        (row,) = looking(nursery.site, nursery.clock.text(), nursery_rows)
    return local_time(at, row["offsets"])


def nursery_rows(work: Work) -> list[dict[str, Any]]:
    return list(rows_of_kind(work, "nursery").values())


def test_text_and_page_name_the_same_lots(one_nursery: Nursery):
    device = one_nursery.device()
    odd = place(device, "Bed <b> & more", 1)
    cold(device, odd, 43, label="26-001-B")
    text = one_nursery.call("GET", "/api/v1/morning?as=text")
    assert text.content_type == "text/plain; charset=utf-8"
    assert "[ ] 26-001-B Acer palmatum" in text.text
    assert "1. Bed <b> & more    at ____:____" in text.text
    page = one_nursery.call("GET", "/api/v1/morning?as=html")
    assert page.content_type == "text/html; charset=utf-8"
    assert "Bed &lt;b&gt; &amp; more" in page.text
    assert "<b>" not in page.text
    assert "(Bed &lt;b&gt; &amp; more)</li>" in page.text
    assert "sha256-" in page.headers["Content-Security-Policy"]
    # What opens this very list for typing in: in the text as an address, on the page as a drawing.
    day, time = text.text.split("#/typed/")[1].split("/")[:2]
    link = f"http://localhost/#/typed/{day}/{time}/26-001-B"
    assert link in text.text
    drawn = re.search(r"<svg.*?</svg>", page.text)
    assert drawn
    assert drawn[0] == segno.make(link, error="l").svg_inline(border=2, omitsize=True)


def test_another_form_is_refused_with_those_there_are(one_nursery: Nursery):
    answer = one_nursery.call("GET", "/api/v1/morning?as=pdf")
    assert answer.status_code == 422
    assert "json, text, html" in answer.json["detail"]


@pytest.mark.parametrize(("role", "status"), [("viewer", 200), ("sensor", 403), (None, 401)])
def test_it_is_for_people_of_the_house(one_nursery: Nursery, role: str | None, status: int):
    answer = one_nursery.call("GET", "/api/v1/morning", role=role)
    assert answer.status_code == status


def test_a_list_beyond_a_walk_says_how_many_it_leaves_out(one_nursery: Nursery):
    """`LOTS_MAX` is ours."""
    device = one_nursery.device()
    bench = place(device, "Bench", 1, daily=True)
    at = one_nursery.clock.text(days=1)
    lots = [
        device.event(
            "lot_started",
            str(uuid.uuid4()),
            {
                "crop": "acer-palmatum",
                "label": f"L{n}",
                "quantity": 9,
                "unit": "seeds",
                "place": bench,
            },
            at=at,
        )
        for n in range(LOTS_MAX + 3)
    ]
    device.push(*lots)
    found = listed(one_nursery)
    assert sum(len(stop["lots"]) for stop in found["stops"]) == LOTS_MAX
    assert found["lots_left"] == 3


def test_the_square_names_lots_and_boxes_then_places_and_says_when_it_can_name_nothing(
    one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """`LINK_MAX` is ours; a square is read back by the phone (`core/boxes.js`, e2e)."""
    device, clock = one_nursery.device(), one_nursery.clock
    bench = place(device, "Bench", 1, daily=True)
    cold(device, bench, 1, label="26-001-of-the-long-bed")
    soaked = device.start_lot(at=clock.text(days=1), place=bench)
    device.record("soak_started", soaked, {}, at=clock.text(days=1 / 24))
    device.record("covered", None, {"place": bench}, at=clock.text(days=1))
    boxes = f"k:{soaked[-8:]},u:{bench[-8:]}"
    whole = re.escape(f"/26-001-of-the-long-bed/{boxes}")
    link = re.compile(rf"http://localhost/#/typed/[-\d]+/\d\d:\d\d{whole}")
    said = one_nursery.call("GET", "/api/v1/morning?as=text").text
    found = link.search(said)
    assert found
    for most, words, end in (
        (1200, "typed_in", f"26-001-of-the-long-bed/{boxes}"),
        (len(found[0]) - 1, "typed_places", f"/w:{bench[-8:]},{boxes}"),
        (9, "typed_none", None),
    ):
        monkeypatch.setattr("lathhouse.web.morning.LINK_MAX", most)
        page = one_nursery.call("GET", "/api/v1/morning?as=html").text
        assert TYPED_WORDS[words] in page
        drawn = re.search(r"<svg.*?</svg>", page)
        assert (drawn is None) == (end is None)
        if drawn:
            head = found[0].split("26-001-of-the-long-bed")[0]
            assert drawn[0] == segno.make(head + end, error="l").svg_inline(border=2, omitsize=True)
