"""Another occurrence is told anew; the same one, moved by what came late, is not. Ours."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lathhouse.domain import looks
from lathhouse.domain.instants import DAY_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.occurrences import SAME_MS, is_another
from lathhouse.domain.watches import evaluate, load_rules
from tests.parity.golden import life_of, spelled_out, table
from tests.parity.twins import in_python

SITE = {"offsets": [], "working_days": [1, 2, 3, 4, 5, 6], "hemisphere": "south"}
CROPS = table("watches")["crops"]
Event = tuple[str, str, dict[str, Any]]


def looked(at: str, **said: Any) -> Event:
    return ("looked", at, said)


def acted(kind: str, at: str, **said: Any) -> Event:
    return (kind, at, said)


COLD = acted("cold_started", "day 0")
# watch; what was known at first, and when it was looked at; what came then, and when; another one?
TOLD: list[tuple[str, list[Event], str, list[Event], str, bool]] = [
    ("moisture-dry", [looked("hour 8", moisture=1)], "hour 9",
     [looked("hour 10", moisture=3), looked("hour 13", moisture=1)], "hour 14", True),
    ("moisture-dry", [looked("hour 8", moisture=1)], "hour 9",
     [looked("hour 10", moisture=1), looked("hour 13", moisture=1)], "hour 14", False),
    ("moisture-dry", [looked("hour 8", moisture=1)], "hour 9",
     [acted("watered", "hour 10"), looked("hour 13", moisture=1)], "hour 14", True),
    # Its first look was of another lot: it began later, and was never over.
    ("moisture-dry", [looked("hour 8", moisture=1), looked("hour 10", moisture=1)], "hour 11",
     [acted("voided", "hour 12", of="e1")], "hour 14", False),
    # A correction that takes away the moist look between makes it begin earlier.
    ("moisture-dry", [looked("hour 8", moisture=1), looked("hour 9", moisture=3),
                      looked("hour 10", moisture=1)], "hour 11",
     [acted("voided", "hour 12", of="e2")], "hour 14", False),
    # From dry to dust-dry the worse case has a later start, and it was dry all the time.
    ("moisture-dry", [looked("hour 1", moisture=2)], "hour 14",
     [looked("hour 15", moisture=1)], "hour 20", False),
    ("look-due", [looked("hour 1"), acted("sown", "hour 1")], "hour 26",
     [looked("hour 2")], "hour 30", False),
    ("look-due", [looked("hour 1"), acted("sown", "hour 1")], "hour 26",
     [looked("hour 27")], "hour 60", True),
    ("cold-look", [COLD], "day 8", [looked("day 6")], "day 14", False),
    ("cold-look", [COLD], "day 8", [looked("day 9")], "day 16", True),
    ("cold-look", [COLD], "day 8",
     [acted("cold_ended", "day 9"), acted("cold_started", "day 10")], "day 18", True),
    ("soak-over", [acted("soak_started", "hour 1")], "hour 26",
     [acted("soak_ended", "hour 27"), acted("soak_started", "hour 28")], "hour 60", True),
    ("soak-over", [acted("soak_started", "hour 1")], "hour 26",
     [acted("amended", "hour 27", of="e1", data={})], "hour 60", False),
    ("fungus-recheck", [looked("day 1", fungus="spots")], "day 4",
     [looked("day 5", fungus="spots")], "day 8", True),
    # Wet again is wet still; wet after it had drained is not.
    ("moisture-wet", [COLD, looked("day 1", moisture=5)], "day 2",
     [looked("day 3", moisture=5)], "day 4", False),
    ("moisture-wet", [COLD, looked("day 1", moisture=5)], "day 2",
     [looked("day 3", moisture=3), looked("day 4", moisture=5)], "day 5", True),
    ("after-closing", [acted("lot_closed", "day 1", why="sold"), looked("day 2")], "day 3",
     [looked("day 4")], "day 5", False),
    ("after-closing", [acted("lot_closed", "day 1", why="sold"), looked("day 2")], "day 3",
     [acted("lot_closed", "day 4", why="sold"), looked("day 5")], "day 6", True),
    ("cold-sprouting", [COLD, looked("day 20", sprouted_percent=12)], "day 21",
     [looked("day 22", sprouted_percent=20)], "day 23", False),
    ("cold-sprouting", [COLD, looked("day 20", sprouted_percent=12)], "day 21",
     [looked("day 22", sprouted_percent=2), looked("day 24", sprouted_percent=20)], "day 25", True),
    ("emergence-stalled", [acted("sown", "day 0"), acted("counted", "day 20", emerged=5, out_of=99),
                           acted("counted", "day 31", emerged=5, out_of=99)], "day 31",
     [acted("counted", "day 32", emerged=5, out_of=99)], "day 33", False),
    ("emergence-stalled", [acted("sown", "day 0"), acted("counted", "day 15", emerged=5, out_of=99),
                           acted("counted", "day 25", emerged=5, out_of=99)], "day 25",
     [acted("counted", "day 26", emerged=8, out_of=99),
      acted("counted", "day 37", emerged=8, out_of=99)], "day 38", True),
]  # fmt: skip


def finding_of(watch: str, events: list[Event], at: str) -> dict[str, Any]:
    """Return what a watch says of a lot with this record, at an instant."""
    log = [{"kind": kind, "at": when, "data": data} for kind, when, data in events]
    case = life_of({"name": watch, "events": log}, CROPS, [])
    case["events"].sort(key=lambda event: event["at"])
    stop = [len(case["events"]), at, False]
    (rule,) = (rule for rule in load_rules() if rule["id"] == watch)
    found = in_python({**case, "stops": [stop]}, [rule])["stops"][0]["looks"][0]["findings"]
    assert len(found) == 1, (watch, at, found)
    return dict(found[0])


@pytest.mark.parametrize(
    "row", range(len(TOLD)), ids=[f"{n} {one[0]}" for n, one in enumerate(TOLD)]
)
def test_what_each_watch_takes_for_another_occurrence(row: int):
    watch, known, first, more, then, expected = TOLD[row]
    spelled = table_of(known), table_of(more)
    stood = finding_of(watch, spelled[0], instant(first))
    found = finding_of(watch, spelled[0] + spelled[1], instant(then))
    assert is_another(stood, found) is expected


def instant(text: str) -> str:
    return str(spelled_out(text))


def table_of(events: list[Event]) -> list[Event]:
    return [(kind, instant(at), data) for kind, at, data in events]


MORNING = to_ms("2026-05-01T08:00:00.000Z")
VALUES = st.lists(
    st.tuples(st.integers(0, 3000), st.integers(1, 5), st.booleans()), min_size=1, max_size=14,
    unique_by=lambda one: one[0],
)  # fmt: skip


def dry(values: list[tuple[int, int, bool]], now_ms: int) -> dict[str, Any] | None:
    """Return what `moisture-dry` says of a lot that has come up, with these looks on record."""
    lot: dict[str, Any] = {"last": {}, "series": {}}
    for minute, value, _ in sorted(values):
        looks.observe(lot, "moisture", value, to_text(MORNING + minute * MINUTE_MS))
    known = {**lot, "kind": "lot", "id": "a", "live": True, "before_emergence": False}
    rules = [rule for rule in load_rules() if rule["id"] == "moisture-dry"]
    found = evaluate(rules, "lot", known, to_text(now_ms), SITE)["findings"]
    return found[0] if found else None


@given(VALUES)
def test_it_is_told_again_where_it_was_seen_to_be_over_in_between_and_only_there(values):
    """Some looks are known at first, all of them later; order of arrival means nothing else."""
    known = [one for one in values if one[2]]
    now_ms = MORNING + 3 * DAY_MS
    stood, found = dry(known, now_ms), dry(values, now_ms)
    if stood is None or found is None:
        return
    first, again = to_ms(stood["since"]), to_ms(found["since"])
    minutes = [(MORNING + minute * MINUTE_MS, value) for minute, value, _ in values]
    over = any(first < at < again and value > 1 for at, value in minutes)
    assert is_another(stood, found) is (over and again - first >= SAME_MS)
    assert not is_another(found, found)
