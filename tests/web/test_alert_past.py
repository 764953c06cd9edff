"""What is over, and what rings most: asked of the server, whose alerts hold their whole history."""

from typing import Any

from tests.server import Nursery


def dry_lot(nursery: Nursery) -> tuple[Any, str]:
    """Return a phone, and a lot that it found dust-dry just now."""
    phone = nursery.device()
    lot = phone.start_lot()
    phone.record("looked", lot, {"moisture": 1})
    return phone, lot


def figures(nursery: Nursery, days: int = 30) -> dict[str, Any]:
    found = nursery.call("GET", f"/api/v1/alerts/figures?days={days}").json
    return {row["watch"]: row for row in found["watches"]}


def test_what_a_record_cleared_is_acted_on_and_told_with_its_history(nursery: Nursery):
    phone, lot = dry_lot(nursery)
    nursery.clock.forward(hours=2)
    phone.record("acknowledged", lot, {"watch": "moisture-dry"})
    phone.record("watered", lot, {})
    (over,) = nursery.call("GET", "/api/v1/alerts/past?days=7").json["alerts"]
    assert [step["what"] for step in over["history"]] == ["raised", "acknowledged", "cleared"]
    assert over["history"][-1]["how"] == "record"
    found = figures(nursery)["moisture-dry"]
    assert (found["raised"], found["acknowledged"], found["acted_in_time"]) == (1, 1, 1)
    assert found["median_hours_to_act"] == 2


def test_what_a_changed_limit_cleared_is_not_acted_on(nursery: Nursery):
    phone, _ = dry_lot(nursery)
    (rule,) = [one for one in nursery.rows("watches") if one["id"] == "moisture-dry"]
    phone.record("watch_changed", None, {**rule, "enabled": False})
    nursery.tick()
    found = figures(nursery)["moisture-dry"]
    assert (found["raised"], found["standing"], found["acted"]) == (1, 0, 0)


def test_what_was_over_before_then_is_neither_told_nor_counted(nursery: Nursery):
    phone, lot = dry_lot(nursery)
    phone.record("watered", lot, {})
    nursery.clock.forward(days=8)
    other = phone.start_lot()
    phone.record("looked", other, {"moisture": 1})
    assert nursery.call("GET", "/api/v1/alerts/past?days=7").json["alerts"] == []
    assert figures(nursery, 7)["moisture-dry"]["raised"] == 1
    assert figures(nursery, 30)["moisture-dry"]["raised"] == 2


def test_a_length_that_cannot_be_is_refused_in_a_sentence(same_nursery: Nursery):
    for days in ("0", "367", "many"):
        said = same_nursery.call("GET", f"/api/v1/alerts/figures?days={days}")
        assert (said.status_code, said.content_type) == (422, "application/problem+json")
        assert "days must be" in said.json["detail"]
