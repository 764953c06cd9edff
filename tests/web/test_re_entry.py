"""Who has been in a place closed after a spray has been there, whatever becomes of the lot."""

import pytest

from tests.server import Nursery
from tests.web.samples import TREATED

BAY = {"id": "bay", "name": "Bay", "order": 1}


@pytest.mark.parametrize("then", ["moved", "closed", "sold out"])
def test_nothing_that_becomes_of_the_lot_ends_the_alarm_of_a_closed_place(
    nursery: Nursery, then: str
):
    """Ours; the interval is the label's. The time or a voided record ends it, and nothing else."""
    device, ago = nursery.device(), nursery.clock.text
    device.record("place_changed", None, BAY, at=ago(days=9))
    device.record("place_changed", None, {**BAY, "id": "shed"}, at=ago(days=9))
    lot = device.start_lot(at=ago(days=9), place="bay", unit="plants", quantity=20)
    spray = {"started_at": ago(hours=4), "ended_at": ago(hours=3), "rei_hours": 48}
    device.record("treated", None, {**TREATED, **spray, "places": ["bay"]}, at=ago(hours=2.5))
    assert "re-entry" not in nursery.alerts()
    device.record("looked", lot, {}, at=ago(hours=1))
    assert nursery.alerts()["re-entry"] == "alarm"
    if then == "moved":
        after = device.record("moved", lot, {"place": "shed"})
    elif then == "closed":
        after = device.record("lot_closed", lot, {"why": "thrown away"})
    else:
        sale = {"quantity": 20, "container_l": 2, "buyer": "Hill House"}
        after = device.record("sold", lot, sale)
    assert nursery.alerts()["re-entry"] == "alarm"
    # Moved on, out of a third place: the first one is still what it was.
    if then == "moved":
        device.record("moved", lot, {"place": "gate"})
        assert nursery.alerts()["re-entry"] == "alarm"
    nursery.clock.forward(hours=44)
    nursery.tick()
    assert nursery.alerts()["re-entry"] == "alarm"
    nursery.clock.forward(hours=2)
    nursery.tick()
    assert "re-entry" not in nursery.alerts()
    assert after["kind"] != "looked"
    assert nursery.differences() == []


def test_the_move_that_was_no_visit_is_taken_back(nursery: Nursery):
    """The lot stood elsewhere all the time: neither the move nor the look was in the closed bay."""
    device, ago = nursery.device(), nursery.clock.text
    device.record("place_changed", None, BAY, at=ago(days=9))
    lot = device.start_lot(at=ago(days=9), place="bay")
    spray = {"started_at": ago(hours=4), "ended_at": ago(hours=3), "rei_hours": 48}
    device.record("treated", None, {**TREATED, **spray, "places": ["bay"]}, at=ago(hours=2.5))
    moved = device.record("moved", lot, {"place": "gate"}, at=ago(hours=1))
    assert nursery.alerts()["re-entry"] == "alarm"
    device.record("voided", lot, {"of": moved["id"]})
    assert "re-entry" not in nursery.alerts()
