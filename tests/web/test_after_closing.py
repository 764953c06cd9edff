"""F26: what comes in of a lot that was closed meanwhile is kept, and a person is asked."""

import pytest

from tests.server import Nursery


@pytest.mark.parametrize("answer", ["closing", "record", "both"])
def test_f26_a_count_after_the_closing_is_kept_and_asked_about(one_nursery: Nursery, answer: str):
    nursery, ago = one_nursery, one_nursery.clock.text
    office, away = nursery.device(), nursery.device()
    lot = office.start_lot(at=ago(days=90))
    closed = office.record("lot_closed", lot, {"why": "nothing came up"}, at=ago(days=3))
    assert "after-closing" not in nursery.alerts()
    count = away.record("counted", lot, {"emerged": 7, "out_of": 100}, at=ago(days=2))
    assert nursery.alerts()["after-closing"] == "due"
    kept = nursery.lot(lot)
    assert kept is not None
    assert kept["emerged"]["count"] == 7
    assert kept["after_closing"]["event"] == count["id"]
    if answer == "both":
        office.record("decided", lot, {"watch": "after-closing", "why": "both are right"})
    else:
        wrong = closed if answer == "closing" else count
        office.record("voided", lot, {"of": wrong["id"]})
    assert "after-closing" not in nursery.alerts()
    nursery.clock.forward(minutes=1)
    # Whoever counts once more after that asks once more, unless the lot is open again.
    away.record("counted", lot, {"emerged": 9, "out_of": 100}, at=ago(minutes=0))
    assert ("after-closing" in nursery.alerts()) == (answer != "closing")
    assert nursery.differences() == []
