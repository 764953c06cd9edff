"""What asks to cover and what asks to uncover go by one limit, and a cover stays what it was put on
for. Which nights are meant is ours; so are the limits."""

import copy
import uuid
from typing import Any

from sqlalchemy import select

from lathhouse.domain.watches import load_rules
from lathhouse.store.models import Subject
from lathhouse.store.watch_preview import preview
from tests.server import Device, Nursery

BED = str(uuid.UUID(int=1))
TODAY = "2026-09-10"
HOME = {
    "name": "Quillstone", "timezone": "Australia/Sydney", "hemisphere": "south", "units": "metric",
    "currency": "AUD", "working_days": [1, 2, 3, 4, 5, 6],
    "latitude_deg": -33.6, "longitude_deg": 149.7,
}  # fmt: skip


def covered_bed(nursery: Nursery, low_c: float, **said: Any) -> Device:
    """Return the phone that covered a bed of seedlings yesterday evening; tonight is forecast."""
    phone, clock = nursery.device(), nursery.clock
    phone.record("nursery_changed", None, {**HOME, "id": nursery.site})
    phone.record("place_changed", None, {"id": BED, "name": "Bed", "kind": "bed"})
    clock.set("2026-09-09T12:00:00+10:00")
    lot = phone.start_lot(place=BED, unit="seeds", quantity=100)
    phone.record("sown", lot, {"flats": 1, "per_flat": 100})
    phone.record("counted", lot, {"emerged": 60, "out_of": 100})
    clock.set("2026-09-09T16:45:00+10:00")
    phone.record("covered", None, {"place": BED, **said})
    clock.set(f"{TODAY}T08:00:00+10:00")
    forecast(phone, low_c)
    return phone


def forecast(phone: Device, low_c: float) -> None:
    said = {"quantity_kind": "forecast_low_c", "value": low_c, "for_night_of": TODAY}
    phone.record("read", None, said)


def frost_begins_at(phone: Device, limit_c: float) -> None:
    """Change the watch of frost as its screen does."""
    rule = next(dict(one) for one in load_rules() if one["id"] == "frost-tonight")
    rule["when"] = [["night.low_c", "at_most", limit_c]]
    phone.record("watch_changed", None, rule)


def stands(nursery: Nursery, at: str) -> set[str]:
    """Return which of the two stand at a local time of the day."""
    nursery.clock.set(f"{TODAY}T{at}:00+10:00")
    nursery.tick()
    return {"frost-tonight", "cover-left-on"} & set(nursery.alerts())


def deadline(nursery: Nursery, kind: str) -> str | None:
    query = select(Subject.next_deadline).where(Subject.kind == kind)
    with nursery.database() as connection:
        return connection.execute(query).scalar()


def test_a_warmer_limit_leaves_covers_on_for_the_night_it_covers_for(one_nursery: Nursery):
    phone = covered_bed(one_nursery, 4)
    assert stands(one_nursery, "14:30") == {"cover-left-on"}
    frost_begins_at(phone, 5)
    assert stands(one_nursery, "14:31") == set()
    phone.record("uncovered", None, {"place": BED})
    assert stands(one_nursery, "14:32") == {"frost-tonight"}


def test_a_colder_limit_asks_for_what_it_does_not_cover_to_come_off(one_nursery: Nursery):
    phone = covered_bed(one_nursery, 2)
    assert stands(one_nursery, "14:30") == set()
    frost_begins_at(phone, 0)
    assert stands(one_nursery, "14:31") == {"cover-left-on"}
    phone.record("uncovered", None, {"place": BED})
    assert stands(one_nursery, "14:32") == set()


def test_a_cover_that_stays_on_is_still_too_thin_for_a_colder_night(one_nursery: Nursery):
    phone = covered_bed(one_nursery, -6, for_low_c=1)
    assert stands(one_nursery, "14:30") == {"frost-tonight"}
    # What the covering list sends.
    stays = {"place": BED, "until": "2026-09-12", "stays": True}
    phone.record("covered", None, stays)
    assert stands(one_nursery, "14:31") == {"frost-tonight"}
    (row,) = (place["covered"] for place in one_nursery.rows("places"))
    said = ("2026-09-09T06:45:00.000Z", "2026-09-12", 1)
    assert (row["at"], row["until"], row["for_low_c"]) == said
    # Off meanwhile, it does not come back by that.
    phone.record("uncovered", None, {"place": BED})
    phone.record("covered", None, stays)
    assert [place["covered"] for place in one_nursery.rows("places")] == [None]


def test_a_watch_of_frost_with_an_hour_of_its_own_has_its_list_stand_from_then_on(
    one_nursery: Nursery,
):
    phone = covered_bed(one_nursery, 2)
    assert stands(one_nursery, "12:30") == {"cover-left-on"}
    rule = next(copy.deepcopy(one) for one in load_rules() if one["id"] == "frost-tonight")
    for case in rule["cases"]:
        case["after"]["due"] = {"local_time": "12:00"}
    phone.record("watch_changed", None, rule)
    assert stands(one_nursery, "12:31") == set()
    # Off, it lends its hour to nothing any more.
    phone.record("watch_changed", None, {**rule, "enabled": False})
    assert stands(one_nursery, "13:59") == {"cover-left-on"}
    assert stands(one_nursery, "14:00") == set()


def test_the_preview_goes_by_the_limit_of_each_day(one_nursery: Nursery):
    """Until this morning frost began at 0 °C: yesterday's 2 °C left covers asked off."""
    phone = covered_bed(one_nursery, 2)
    frost_begins_at(phone, 0)
    assert stands(one_nursery, "14:30") == {"cover-left-on"}
    one_nursery.clock.set("2026-09-11T08:00:00+10:00")
    frost_begins_at(phone, 3)
    one_nursery.clock.set("2026-09-11T08:30:00+10:00")
    rule = next(dict(one) for one in load_rules() if one["id"] == "cover-left-on")
    with one_nursery.app.app_context():
        now = one_nursery.clock.text()
        (one,) = preview(one_nursery.site, rule, 3, now)["alerts"]
    eight = "2026-09-10T22:00:00.000Z"
    # From nine yesterday on it was asked for, past two o'clock and through the night.
    assert (one["raised_at"], one["cleared_at"]) == ("2026-09-09T23:00:00.000Z", eight)


def test_a_reading_on_the_nursery_has_no_place_and_no_lot_looked_at_again(one_nursery: Nursery):
    phone = covered_bed(one_nursery, 4)
    stands(one_nursery, "09:30")
    now = one_nursery.clock.text()
    phone.record("read", None, {"quantity_kind": "temp_c", "value": 9})
    ahead = [deadline(one_nursery, kind) for kind in ("place", "lot")]
    assert all(at is None or at > now for at in ahead)
    forecast(phone, 2)
    assert deadline(one_nursery, "place") == now
    assert deadline(one_nursery, "lot") == ahead[1]
    north = {**HOME, "id": one_nursery.site, "hemisphere": "north"}
    phone.record("nursery_changed", None, north)
    assert deadline(one_nursery, "lot") == now
