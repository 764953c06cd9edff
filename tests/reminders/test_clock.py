"""The alert clock looks at what is due and at nothing else; one ticks for a whole database."""

import threading
import uuid
from collections.abc import Callable
from queue import Queue
from typing import Any

import pytest
from sqlalchemy import event, insert, select, text

from lathhouse.domain.instants import local_date, to_text
from lathhouse.reminders import clock
from lathhouse.reminders.clock import Clock, tick
from lathhouse.store.leases import LEASE_MS, take_lease
from lathhouse.store.models import Subject, db
from lathhouse.store.watching import Watcher
from lathhouse.store.work import Work
from tests.server import Nursery

DUE = 30


def copies(nursery: Nursery, lot: str, count: int, deadline: str) -> None:
    """Put copies of a lot on record in bulk, each to be looked at again at a time."""
    with nursery.database() as connection:
        query = select(Subject.__table__).where(Subject.kind == "lot", Subject.id == lot)
        row = dict(connection.execute(query).mappings().one())
        first = connection.execute(text("SELECT count(*) FROM subjects")).scalar()
        made = [
            {
                **row,
                "id": f"copy-{first}-{number}",
                "data": row["data"].replace(lot, f"copy-{first}-{number}"),
                "place_id": None,
                "next_deadline": deadline,
            }
            for number in range(count)
        ]
        connection.execute(insert(Subject), made)


class Counted:
    """What a tick does while it is watched: statements, lots read, and subjects evaluated."""

    def __init__(self, nursery: Nursery, patch: pytest.MonkeyPatch) -> None:
        self.nursery, self.patch = nursery, patch
        self.statements = self.lots_read = self.evaluated = 0

    def __enter__(self) -> "Counted":
        with self.nursery.app.app_context():
            event.listen(db.engine, "before_cursor_execute", self._note)
        self.patch.setattr(Work, "rows", self._reading(Work.rows))
        self.patch.setattr(Watcher, "evaluate", self._evaluating(Watcher.evaluate))
        return self

    def __exit__(self, *_: Any) -> None:
        with self.nursery.app.app_context():
            event.remove(db.engine, "before_cursor_execute", self._note)
        self.patch.undo()

    def _note(self, *_: Any) -> None:
        self.statements += 1

    def _reading(self, rows: Callable[..., Any]) -> Callable[..., Any]:
        def read(work: Work, *asked: Any) -> Any:
            found = rows(work, *asked)
            self.lots_read += sum(row.get("kind") == "lot" for row in found)
            return found

        return read

    def _evaluating(self, evaluate: Callable[..., Any]) -> Callable[..., Any]:
        def counting(*asked: Any) -> Any:
            self.evaluated += 1
            return evaluate(*asked)

        return counting


@pytest.fixture
def sleeping(nursery: Nursery) -> tuple[Nursery, str]:
    """A nursery whose one lot has nothing due."""
    lot = nursery.device().start_lot()
    nursery.tick()
    return nursery, lot


def test_a_tick_touches_what_is_due_however_many_more_lots_sleep(
    sleeping: tuple[Nursery, str], monkeypatch: pytest.MonkeyPatch
):
    nursery, lot = sleeping
    later, asked = to_text(nursery.clock.ms + 10**10), []
    for sleepers in (300, 3000):
        copies(nursery, lot, sleepers, later)
        copies(nursery, lot, DUE, nursery.clock.text())
        with Counted(nursery, monkeypatch) as counted, nursery.app.app_context():
            assert tick(nursery.site, nursery.clock.ms) == DUE
        assert (counted.lots_read, counted.evaluated) == (DUE, DUE)
        asked.append(counted.statements)
    assert asked[0] == asked[1]


def test_what_is_due_is_found_by_an_index(sleeping: tuple[Nursery, str]):
    """Not by reading every lot: the database itself says how it goes about it."""
    nursery, lot = sleeping
    copies(nursery, lot, 3000, to_text(nursery.clock.ms + 10**10))
    query = "SELECT kind, id FROM subjects WHERE site_id = :site AND next_deadline <= :now"
    with nursery.database() as connection:
        explain = "EXPLAIN QUERY PLAN" if connection.dialect.name == "sqlite" else "EXPLAIN"
        if explain == "EXPLAIN":
            connection.execute(text("ANALYZE subjects"))
        found = connection.execute(
            text(f"{explain} {query}"), {"site": nursery.site, "now": nursery.clock.text()}
        )
        plan = " ".join(str(row) for row in found)
    assert "subjects_by_deadline" in plan


def test_one_clock_ticks_and_another_takes_over_when_it_is_silent(nursery: Nursery):
    ms = nursery.clock.ms
    with nursery.app.app_context():
        assert take_lease(nursery.site, "first worker", ms)
        assert not take_lease(nursery.site, "second worker", ms)
        assert take_lease(nursery.site, "first worker", ms + LEASE_MS // 2)
        assert not take_lease(nursery.site, "second worker", ms + LEASE_MS)
        assert take_lease(nursery.site, "second worker", ms + 2 * LEASE_MS)
        assert not take_lease(nursery.site, "first worker", ms + 2 * LEASE_MS + 1)


@pytest.fixture
def tries(monkeypatch: pytest.MonkeyPatch) -> "Queue[tuple[str, bool]]":
    """Every try for the lease, as (owner, whether it was got), of clocks that wait for nothing."""
    found: Queue[tuple[str, bool]] = Queue()

    def taking(site: str, owner: str, now_ms: int, certain_ms: int) -> bool:
        got = take_lease(site, owner, now_ms, certain_ms)
        found.put((owner, got))
        return got

    monkeypatch.setattr(clock, "take_lease", taking)
    monkeypatch.setattr(clock, "EVERY_SECONDS", 0.02)
    return found


def until_got(tries: "Queue[tuple[str, bool]]", owner: str, times: int = 3) -> set[str]:
    """Wait until an owner had the lease some times; return who else tried meanwhile in vain."""
    had, in_vain = 0, set()
    while had < times:
        who, got = tries.get(timeout=60)
        had += got and who == owner
        assert not got or who == owner, "two clocks tick"
        in_vain |= {who} - {owner}
    return in_vain


def test_of_two_running_clocks_one_ticks_and_the_other_goes_on_when_it_has_died(
    nursery: Nursery, tries: "Queue[tuple[str, bool]]"
):
    chill(nursery, days=42 - 10 / 86_400)
    workers = [Clock(nursery.app, nursery.site, nursery.clock) for _ in range(2)]
    first, second = workers
    first.start()
    until_got(tries, first.owner, times=1)
    second.start()
    while second.owner not in until_got(tries, first.owner):
        continue
    nursery.clock.forward(seconds=11)
    until_got(tries, first.owner)
    assert nursery.alerts()["cold-six-weeks"] == "alarm"
    # It ends without a word, as a killed worker does; its lease runs out by itself.
    first.stop()
    while not tries.empty():
        assert tries.get() in ((first.owner, True), (second.owner, False))
    nursery.clock.forward(days=1)
    until_got(tries, second.owner)
    second.stop()
    (alert,) = alert_of(nursery, "cold-six-weeks")
    assert [step["what"] for step in alert["history"]] == ["raised"]


def chill(nursery: Nursery, days: float) -> str:
    device = nursery.device()
    lot = device.start_lot(at=nursery.clock.text(days=days + 1))
    device.record("cold_started", lot, {"where": "fridge"}, at=nursery.clock.text(days=days))
    return lot


def alert_of(nursery: Nursery, watch: str, state: str = "all") -> list[dict[str, Any]]:
    found = nursery.call("GET", f"/api/v1/alerts?state={state}&limit=1000").json["alerts"]
    return [alert for alert in found if alert["watch"] == watch]


def test_the_clock_raises_what_no_event_announces_and_raises_it_once(nursery: Nursery):
    """Six weeks at about 4 °C: common practice, no source."""
    chill(nursery, days=41)
    assert alert_of(nursery, "cold-six-weeks") == []
    nursery.clock.forward(days=1)
    nursery.tick()
    for _ in range(5):
        nursery.clock.forward(hours=7)
        nursery.tick()
    (alert,) = alert_of(nursery, "cold-six-weeks")
    assert [step["what"] for step in alert["history"]] == ["raised"]
    assert alert["level"] == "alarm"


def test_late_to_alarm_changes_one_alert_and_every_step_says_who_and_when(nursery: Nursery):
    lot = chill(nursery, days=10)
    (alert,) = alert_of(nursery, "cold-look")
    raised_at = nursery.clock.text()
    nursery.clock.forward(days=11)
    nursery.tick()
    at = f"/api/v1/alerts/{alert['id']}"
    assert nursery.call("POST", f"{at}/acknowledge", {}).status_code == 200
    (alert,) = alert_of(nursery, "cold-look", "acknowledged")
    assert alert["level"] == "alarm"
    nursery.clock.forward(hours=1)
    until = to_text(nursery.clock.ms + 3 * 86_400_000)
    assert nursery.call("POST", f"{at}/shelve", {"until": until, "why": "away"}).status_code == 200
    assert alert_of(nursery, "cold-look", "shelved")
    # A shelf has an end: then it stands open again, the same alert.
    nursery.clock.forward(days=4)
    nursery.tick()
    assert [one["id"] for one in alert_of(nursery, "cold-look", "standing")] == [alert["id"]]
    assert alert_of(nursery, "cold-look", "shelved") == []
    cleared_at = nursery.clock.text()
    nursery.device().record("looked", lot, {"moisture": 3})
    (alert,) = alert_of(nursery, "cold-look", "cleared")
    steps = {step["what"]: step["at"] for step in alert["history"]}
    assert list(steps) == ["raised", "alarm", "acknowledged", "shelved", "cleared"]
    assert (steps["raised"], steps["cleared"]) == (raised_at, cleared_at)
    assert all({"what", "at", "by"} <= step.keys() for step in alert["history"])


def rule(nursery: Nursery, watch: str) -> dict[str, Any]:
    row = next(row for row in nursery.rows("watches") if row["id"] == watch)
    return {name: value for name, value in row.items() if name not in ("revision", "shipped")}


def test_a_limit_changed_for_the_nursery_holds_for_what_stands_already(nursery: Nursery):
    chill(nursery, days=10)
    assert nursery.alerts()["cold-look"] == "due"
    own = rule(nursery, "cold-look") | {"after": {"due": {"days": 12}, "late": {"days": 20}}}
    nursery.device().record("watch_changed", None, own)
    nursery.tick()
    assert "cold-look" not in nursery.alerts()


def test_a_limit_changed_for_one_crop_leaves_the_others_alone(nursery: Nursery):
    first = chill(nursery, days=10)
    device = nursery.device()
    second = device.start_lot(crop="cornus-kousa", at=nursery.clock.text(days=20))
    device.record("cold_started", second, {}, at=nursery.clock.text(days=10))
    own = rule(nursery, "cold-look")
    own["crops"] = {"cornus-kousa": {"after": {"due": {"days": 30}}}}
    device.record("watch_changed", None, own)
    nursery.tick()
    assert {alert["lot"] for alert in alert_of(nursery, "cold-look", "standing")} == {first}


def test_each_step_of_an_alert_names_the_person_whose_record_it_was(nursery: Nursery):
    """Raised by what Mele recorded late, answered by Jo, cleared by Mele's look."""
    mele, jo = str(uuid.uuid4()), str(uuid.uuid4())
    device = nursery.device()
    lot = device.start_lot(at=nursery.clock.text(days=50))
    cold = {"kind": "cold_started", "lot": lot, "data": {}, "by": mele}
    device.record(**cold, at=nursery.clock.text(days=45))
    answer = {"watch": "cold-six-weeks"}
    device.record("acknowledged", lot, answer, by=jo, at=nursery.clock.text(hours=2))
    device.record("shelved", lot, {**answer, "until": nursery.clock.text(days=-1)}, by=jo)
    device.record("looked", lot, {"moisture": 3}, by=mele)
    (alert,) = alert_of(nursery, "cold-six-weeks")
    assert [(step["what"], step["by"]) for step in alert["history"]] == [
        ("raised", mele),
        ("acknowledged", jo),
        ("shelved", jo),
        ("cleared", mele),
    ]


def test_an_alert_that_was_answered_before_the_server_heard_of_it_says_so(nursery: Nursery):
    jo, device = str(uuid.uuid4()), nursery.device()
    lot = device.start_lot(at=nursery.clock.text(days=50))
    answered_at = nursery.clock.text(hours=3)
    device.push(
        device.event("cold_started", lot, {}, at=nursery.clock.text(days=45)),
        device.event("acknowledged", lot, {"watch": "cold-six-weeks"}, by=jo, at=answered_at),
    )
    (alert,) = alert_of(nursery, "cold-six-weeks", "acknowledged")
    steps = [(step["what"], step["by"], step["at"]) for step in alert["history"]]
    assert steps[1:] == [("acknowledged", jo, answered_at)]


def test_a_walk_clears_what_its_place_missed_in_the_walkers_name(nursery: Nursery):
    mele, place, device = str(uuid.uuid4()), str(uuid.uuid4()), nursery.device()
    house = {"id": place, "name": "House", "order": 1, "kind": "house", "daily": True}
    device.record("place_changed", None, house, at=nursery.clock.text(days=30))
    lot = device.start_lot(at=nursery.clock.text(days=20), place=place)
    nursery.tick()
    device.record("looked", lot, {"moisture": 3}, by=mele)
    cleared = alert_of(nursery, "round-missing", "cleared")
    (alert,) = [one for one in cleared if one["subject"] == {"kind": "place", "id": place}]
    assert [(step["what"], step["by"]) for step in alert["history"]][-1] == ("cleared", mele)


def test_the_clock_clears_and_raises_in_nobodys_name(nursery: Nursery):
    chill(nursery, days=41)
    nursery.clock.forward(days=1)
    nursery.tick()
    (alert,) = alert_of(nursery, "cold-six-weeks")
    assert [(step["what"], step["by"]) for step in alert["history"]] == [("raised", None)]


def test_a_record_that_comes_while_the_clock_evaluates_has_the_last_word(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """Ours: the bay is covered in the very moment in which the clock raises tonight's frost."""
    clock_at, device, bay, lot = nursery.clock, nursery.device(), *(str(uuid.uuid4()) for _ in "ab")
    days = [1, 2, 3, 4, 5, 6]
    zone = {"id": nursery.site, "name": "N", "timezone": "Australia/Sydney", "working_days": days}
    device.record("nursery_changed", None, zone, at=clock_at.text(days=60))
    place = {"id": bay, "name": "Bay 1", "order": 1}
    device.record("place_changed", None, place, at=clock_at.text(days=60))
    said = {"crop": "cornus-kousa", "label": "A", "quantity": 99, "unit": "seeds", "place": bay}
    device.push(
        device.event("lot_started", lot, said, at=clock_at.text(days=60)),
        device.event("sown", lot, {}, at=clock_at.text(days=50)),
        device.event("counted", lot, {"emerged": 9, "out_of": 99}, at=clock_at.text(days=1)),
    )
    tonight = local_date(clock_at.ms, [[clock_at.text(days=60), 600]])
    low = {"quantity_kind": "forecast_low_c", "value": 0.5, "for_night_of": tonight}
    device.record("read", None, low)
    nursery.tick()
    clock_at.set(f"{tonight}T14:00:00+10:00")
    evaluate, covering = clock.watch_rows, []

    def slowly(work: Work, watcher: Watcher, rows: Any) -> Any:
        found = evaluate(work, watcher, rows)
        if not covering and ("nursery", nursery.site) in rows:
            covered = {"place": bay}
            covering.append(threading.Thread(target=device.record, args=("covered", None, covered)))
            covering[0].start()
            # Time enough to write, were it let; it is not let before the tick has ended.
            covering[0].join(timeout=1)
        return found

    monkeypatch.setattr(clock, "watch_rows", slowly)
    nursery.tick()
    covering[0].join()
    assert "frost-tonight" not in nursery.alerts()
