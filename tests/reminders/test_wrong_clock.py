"""The server's own clock ran ahead for a while and is right again: what it left behind is mended.

The same nursery on a clock that was always right is the measure. All limits here are ours.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest

from lathhouse.reminders.clock import catch_up
from lathhouse.reminders.nightly import Nightly, backup_due
from lathhouse.store.backup import last_backup
from lathhouse.store.figures import figures
from lathhouse.store.leases import take_lease
from lathhouse.store.work import looking
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

AHEAD_DAYS = 400


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Nursery, Nursery]]:
    """A nursery whose clock runs ahead for a while, and its twin whose clock never does."""
    found = []
    for name in ("wrong", "right"):
        url = address_for(tmp_path / f"{name}.sqlite")
        found.append(open_nursery(url, tmp_path / name, Clock()))
    yield found[0], found[1]
    for nursery in found:
        close_nursery(nursery)


def live(nursery: Nursery) -> dict[str, str]:
    """Begin lots at several stages; return {label: id}."""
    device, lots = nursery.device(), {}
    said = {"name": "N", "timezone": "Australia/Sydney", "working_days": [1, 2, 3, 4, 5, 6]}
    at = nursery.clock.text(days=60)
    device.record("nursery_changed", None, {"id": nursery.site, **said}, at=at)
    for label, days in (("A", 50), ("B", 34), ("C", 3)):
        lots[label] = device.start_lot(at=nursery.clock.text(days=days + 1), label=label)
        at = nursery.clock.text(days=days)
        device.record("cold_started", lots[label], {"where": "fridge"}, at=at)
    device.record("looked", lots["B"], {"moisture": 3}, at=nursery.clock.text(days=2))
    return lots


def ticked(nursery: Nursery, owner: str) -> bool:
    """Do as the alert clock of a process does; say whether it had the lease."""
    with nursery.app.app_context():
        had = take_lease(nursery.site, owner, nursery.clock.ms)
        if had:
            catch_up(nursery.site, nursery.clock.ms)
    return had


def standing(nursery: Nursery, lots: dict[str, str]) -> set[tuple[str, str, str]]:
    """Return (watch, level, lot's label) of what stands."""
    labels = {lot: label for label, lot in lots.items()}
    found = nursery.call("GET", "/api/v1/alerts?state=standing&limit=1000").json["alerts"]
    return {(one["watch"], one["level"], labels.get(one["lot"] or "", "")) for one in found}


def test_alerts_are_those_of_a_clock_that_was_always_right(two: tuple[Nursery, Nursery]):
    """Ahead for one tick and one look, started again when it is right: a new owner of the lease."""
    wrong, right = two
    lots, others = live(wrong), live(right)
    wrong.clock.forward(days=AHEAD_DAYS)
    assert ticked(wrong, "before")
    assert len(standing(wrong, lots)) > len(standing(right, others))
    wrong.clock.forward(days=-AHEAD_DAYS)
    assert wrong.clock.ms == right.clock.ms
    for days in (0, 8):
        for nursery in two:
            nursery.clock.forward(days=days)
            assert ticked(nursery, f"after {days}")
        assert standing(wrong, lots) == standing(right, others)
    assert wrong.call("GET", "/ready", role=None).json["clock"] is True


def test_a_lease_of_a_clock_that_ran_ahead_is_no_readiness(nursery: Nursery):
    nursery.clock.forward(days=AHEAD_DAYS)
    assert ticked(nursery, "before")
    nursery.clock.forward(days=-AHEAD_DAYS)
    assert nursery.call("GET", "/ready", role=None).json["clock"] is False


def test_backups_go_on_and_their_absence_is_told(one_nursery: Nursery, tmp_path: Path):
    nursery = one_nursery
    live(nursery)
    night = Nightly(nursery.app, nursery.site, tmp_path / "nights", nursery.clock)
    nursery.clock.forward(days=AHEAD_DAYS)
    assert ticked(nursery, "before")
    with nursery.app.app_context():
        assert night.look()
    nursery.clock.forward(days=5 - AHEAD_DAYS)
    assert ticked(nursery, "after")
    # Nobody has made one since the record was opened, five days ago.
    assert nursery.alerts()["backup-old"] == "late"
    with nursery.app.app_context():
        now = nursery.clock.text()
        assert figures(nursery.site, now)["backup_age_seconds"] is None
        assert backup_due(nursery.site, nursery.clock.ms)
        assert night.look()
        assert looking(nursery.site, now, last_backup)["at"] == now
        assert not backup_due(nursery.site, nursery.clock.ms)
    assert "backup-old" not in nursery.alerts()
