"""Buckets and fridges on a phone without a network, and the same once the server has it all."""

import uuid
from typing import Any

from tests.phone.conftest import Phone
from tests.phone.network import Network

AGO = "(hours) => phone.clock.localText(new Date(Date.now() - hours * 3_600_000))"
BUCKETS = "() => phone.house.solutions.value"
PLACE = "(id) => phone.house.one('place', id)"
FINDINGS = "(at) => (phone.house.findings.value.get(at) ?? []).map((one) => [one.watch, one.level])"


def said(app: Phone, hours: float) -> dict[str, Any]:
    return {"observedAt": app.run(AGO, hours)}


def mix(app: Phone, hours_ago: float) -> str:
    bucket = str(uuid.uuid4())
    data = {
        "solution": bucket, "product_strength": 4, "product_unit": "percent_available_chlorine",
        "wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000, "product_ml": 600,
        "water_ml": 3400, "ppm": 6000,
    }  # fmt: skip
    app.record("solution_mixed", None, data, **said(app, hours_ago))
    return bucket


def test_a_dip_in_an_old_bucket_is_told_offline_and_the_server_agrees(app: Phone, network: Network):
    app.page.context.set_offline(True)
    old, fresh = mix(app, 30), mix(app, 1)
    assert [bucket["id"] for bucket in app.run(BUCKETS)] == [fresh, old]
    lots = [app.start_lot(label=label) for label in ("26-017-R", "26-018-T")]
    for lot, bucket in zip(lots, (old, fresh), strict=True):
        app.record("sanitise_started", lot, {"solution": bucket, "limit_minutes": 10})
    assert [app.watches(lot).get("solution-old") for lot in lots] == ["due", None]
    guessed = app.run(BUCKETS)
    assert [bucket["used_for"] for bucket in guessed] == [[lots[1]], [lots[0]]]
    app.page.context.set_offline(False)
    app.until_in_touch()
    for before, after in zip(guessed, app.run(BUCKETS), strict=True):
        assert {name: after[name] for name in before} == before
    assert [app.watches(lot).get("solution-old") for lot in lots] == ["due", None]


def test_a_fridge_read_by_hand_offline_rings_itself_and_an_opened_door_does_not(
    app: Phone, network: Network
):
    app.page.context.set_offline(True)
    rows = [{"id": str(uuid.uuid4()), "name": name, "kind": "chamber"} for name in ("Shed", "Barn")]
    for row in rows:
        app.record("place_changed", None, row)
    temps = ([4, 6, 6.2, 6.4, 6.6], [4, 9, 4.4, 4, 4])
    for row, read in zip(rows, temps, strict=True):
        for hours, value in zip((2, 1.5, 1, 0.5, 0.25), read, strict=True):
            data = {"place": row["id"], "quantity_kind": "temp_c", "value": value}
            app.record("read", None, data, **said(app, hours))
    found = [app.run(FINDINGS, f"place:{row['id']}") for row in rows]
    assert found == [[["chamber-band", "late"]], []]
    guessed = [app.run(PLACE, row["id"]) for row in rows]
    assert [sum(bucket[4] for bucket in place["hours"]) for place in guessed] == [5, 5]
    app.page.context.set_offline(False)
    app.until_in_touch()
    for row, before in zip(rows, guessed, strict=True):
        after = app.run(PLACE, row["id"])
        assert {name: after[name] for name in before} == before
