"""No sequence of records and times leaves an alert open whose condition is gone, or closed whose
condition holds: what stands in the store is what a fold from nothing would raise, at every step.
"""

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import text

from lathhouse.domain.instants import to_text
from lathhouse.domain.protocols import load_crops
from lathhouse.store.backup_age import note_backup
from tests.databases import empty_postgresql
from tests.server import Clock, Nursery, close_nursery, open_nursery

LABELS = ("A", "B", "C")
PLACES = ("bed", "bench")
# Around the limits of the watches, and years on.
STEPS_HOURS = (0, 1, 11, 12, 13, 24, 25, 36, 48, 24 * 7, 24 * 21, 24 * 42, 24 * 90, 24 * 366)
LOOKS = st.fixed_dictionaries(
    {},
    optional={
        "moisture": st.integers(1, 5),
        "fungus": st.sampled_from(["none", "spots", "spreading", "spreading"]),
        "sprouted_percent": st.sampled_from([0, 12]),
        "root_fill": st.sampled_from([3, 5]),
        "new_flush": st.booleans(),
    },
)
BUYER = {"container_l": 4, "buyer": "Kew"}
ACTS: st.SearchStrategy[tuple[str, dict[str, Any]]] = st.one_of(
    st.tuples(st.just("looked"), LOOKS),
    st.sampled_from(
        [
            ("cold_started", {"where": "outdoors"}),
            ("cold_ended", {}),
            ("soak_started", {}),
            ("soak_ended", {}),
            ("sown", {}),
            ("watered", {}),
            ("counted", {"emerged": 4, "out_of": 100}),
            ("potted_on", {"quantity": 90, "container_l": 4}),
            ("sold", {"quantity": 9, **BUYER}),
            ("sold", {"quantity": 5000, **BUYER}),
            ("stocktaken", {"quantity": 60, "unit": "plants"}),
            ("stocktaken", {"quantity": 0, "unit": "plants"}),
            ("read", {"quantity_kind": "ec_ms_cm", "value": 3.5}),
            ("lot_closed", {"why": "done"}),
            ("decided", {"watch": "overwintered", "why": "kept"}),
            ("deferred", {"watch": "look-due", "why": "rain"}),
        ]
    ),
)


class Season(RuleBasedStateMachine):
    """A small nursery whose alerts are compared with a fold from nothing after every step."""

    url = ""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory(prefix="lathhouse-season-")
        self.clock = Clock()
        url = self.url or f"sqlite:///{self.folder.name}/season.sqlite"
        self.nursery = open_nursery(url, Path(self.folder.name), self.clock)
        self.phone = self.nursery.device()
        self.recorded: list[str] = []

    @initialize()
    def begin(self) -> None:
        """Three lots in two places, one walked daily."""
        for place in PLACES:
            row = {"id": place, "name": place, "kind": place, "daily": place == "bench"}
            self.phone.record("place_changed", None, row)
        self.lots = [self.phone.start_lot(label=label, place="bed") for label in LABELS]

    def _record(self, kind: str, lot: str | None, data: dict[str, Any], ago: int = 0) -> None:
        at = self.clock.text(hours=ago)
        self.recorded.append(self.phone.record(kind, lot, data, at=at)["id"])

    @rule(which=st.integers(0, 2), act=ACTS, ago=st.sampled_from([0, 0, 0, 5, 30]))
    def somebody_records(self, which: int, act: tuple[str, dict[str, Any]], ago: int) -> None:
        """Now, or typed in later with its true time."""
        self._record(act[0], self.lots[which], act[1], ago)

    @rule(which=st.integers(0, 2), place=st.sampled_from(PLACES))
    def somebody_moves_it(self, which: int, place: str) -> None:
        self._record("moved", self.lots[which], {"place": place})

    @rule(which=st.sampled_from([None, 0, 1, 2]), rei=st.sampled_from([0, 12, 48]))
    def somebody_sprays(self, which: int | None, rei: int) -> None:
        """One lot, or the whole bed."""
        now = self.clock.text()
        spray = {"product": "soap", "reason": "aphids", "rate_value": 1, "rate_unit": "mL/L",
                 "operator": "Orla", "started_at": now, "ended_at": now, "rei_hours": rei,
                 "sale_hold_days": 7, "places": ["bed"]}  # fmt: skip
        self._record("treated", None if which is None else self.lots[which], spray)

    @rule(which=st.integers(0, 2), days=st.sampled_from([3, 20, 60, 120]))
    def somebody_promises(self, which: int, days: int) -> None:
        day = self.clock.text(days=-days)[:10]
        self._record("promised", self.lots[which], {"quantity": 95, "deliver_on": day, **BUYER})

    @rule(temp_c=st.sampled_from([-1, 1, 2.5, 16, 20]), place=st.sampled_from(PLACES))
    def somebody_reads(self, temp_c: float, place: str) -> None:
        self._record("read", None, {"quantity_kind": "temp_c", "value": temp_c, "place": place})

    @rule(value=st.sampled_from([-4, 2, 3, 9]), which=st.sampled_from(["low", "high"]),
          ahead=st.sampled_from([None, 0, 1, 3]), ago=st.sampled_from([0, 0, 5, 30]))  # fmt: skip
    def a_forecast_comes(self, value: int, which: str, ahead: int | None, ago: int) -> None:
        """A night's low, or a day's high of 27 to 36 °C."""
        day = None if ahead is None else self.clock.text(days=-ahead)[:10]
        said = {"quantity_kind": f"forecast_{which}_c", "value": value if which == "low" else 27
                + value, "for_night_of" if which == "low" else "for_day": day}  # fmt: skip
        self._record("read", None, said, ago)

    @rule(where=st.sampled_from([*PLACES, 0, 1, 2]), on=st.booleans(), ago=st.sampled_from([0, 9]),
          days=st.sampled_from([None, None, 2]), low_c=st.sampled_from([None, 2, -4]))  # fmt: skip
    def somebody_covers(
        self, where: str | int, on: bool, ago: int, days: int | None, low_c: int | None
    ) -> None:
        """A place or a lot, until some day or for a night of some cold; or bares it."""
        said: dict[str, Any] = {"place": where} if isinstance(where, str) else {}
        if on:
            until = None if days is None else self.clock.text(days=-days)[:10]
            said |= {"until": until, "for_low_c": low_c}
        lot = self.lots[where] if isinstance(where, int) else None
        self._record("covered" if on else "uncovered", lot, said, ago)

    @rule(place=st.sampled_from([None, *PLACES]), value=st.sampled_from([35, 60, 80]))
    def somebody_reads_the_air(self, place: str | None, value: int) -> None:
        """Warm and damp enough for the heat index, or cold."""
        where = {} if place is None else {"place": place}
        for kind, read in (("temp_c", value - 30), ("humidity_percent", value)):
            self._record("read", None, {**where, "quantity_kind": kind, "value": read})

    @rule(tenderness=st.sampled_from(["tender", "half_hardy", "hardy", None]))
    def the_owner_says_what_it_stands(self, tenderness: str | None) -> None:
        """The lots' crop becomes tender, or not: the frost watch follows with the next tick."""
        crop = {**load_crops()["acer-palmatum"], "tenderness": tenderness}
        self._record("protocol_changed", None, crop)

    @rule(place=st.sampled_from(PLACES), free=st.booleans(), kind=st.sampled_from(["house", "bed"]))
    def the_owner_changes_a_place(self, place: str, free: bool, kind: str) -> None:
        row = {"id": place, "name": place, "kind": kind, "daily": place == "bench"}
        self._record("place_changed", None, {**row, "frost_free": free})

    @rule(place=st.sampled_from(PLACES))
    def somebody_closes_the_round(self, place: str) -> None:
        self._record("round_closed", None, {"place": place})

    @rule(which=st.integers(0, 40))
    def somebody_takes_it_back(self, which: int) -> None:
        if self.recorded:
            self._record("voided", None, {"of": self.recorded[which % len(self.recorded)]})

    @rule()
    def it_is_backed_up(self) -> None:
        with self.nursery.app.app_context():
            note_backup(self.nursery.site, to_text(self.clock.ms))

    @rule(hours=st.sampled_from(STEPS_HOURS), off=st.sampled_from([-1, 0, 1]))
    def time_goes_by(self, hours: int, off: int) -> None:
        self.clock.ms += max(0, hours * 3_600_000 + off)

    @invariant()
    def what_stands_is_what_holds(self) -> None:
        self.nursery.tick()
        assert self.nursery.differences() == []

    def teardown(self) -> None:
        close_nursery(self.nursery)
        self.folder.cleanup()


def run(machine: type[Season], examples: int) -> None:
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.about_sqlite("the next test is the same on PostgreSQL")
def test_alerts_stand_as_long_as_their_conditions_hold_on_sqlite():
    run(Season, 12)


def test_alerts_stand_as_long_as_their_conditions_hold_on_postgresql(postgresql: str):
    with ExitStack() as databases:

        class OnPostgreSQL(Season):
            def __init__(self) -> None:
                self.url = databases.enter_context(empty_postgresql(postgresql))
                super().__init__()

        run(OnPostgreSQL, 3)


def test_the_comparison_notices_an_alert_that_was_left_open(one_nursery: Nursery):
    """It is worth something: an alert whose lot was looked at behind the store's back is named."""
    phone = one_nursery.device()
    lot = phone.start_lot()
    phone.record("cold_started", lot, {})
    one_nursery.clock.forward(days=15)
    one_nursery.tick()
    assert one_nursery.differences() == []
    one_nursery.clock.forward(days=30)
    assert one_nursery.differences() == []  # due: the clock has not come by yet
    one_nursery.tick()
    with one_nursery.database() as connection:
        connection.execute(text("UPDATE alerts SET standing = FALSE, state = 'cleared'"))
    assert any("does not stand" in one for one in one_nursery.differences())
