"""Stock that was covered and stands open again is another matter, on both sides alike. Ours."""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.facts import nursery_facts
from lathhouse.domain.instants import to_ms
from lathhouse.domain.rows import cover_said
from lathhouse.domain.tender import opened_at
from lathhouse.domain.watches import evaluate, load_rules
from tests.parity.twins import called_in_browser

SITE: dict[str, Any] = {"offsets": [], "working_days": [1, 2, 3, 4, 5, 6], "hemisphere": "south"}
NO_LOTS = {"live_lots": 2, "newest_seen_at": None}
RULES = [rule for rule in load_rules() if rule["id"] in ("frost-tonight", "frost-now")]
YESTERDAY = "2026-09-09T08:00:00.000Z"


def at(hour: int, minute: int = 0, second: int = 0) -> str:
    return f"2026-09-10T{hour:02}:{minute:02}:{second:02}.000Z"


# [bared, covered (None: it stands open)] of each lot; since when something has been open.
SPANS: list[tuple[str, list[list[str | None]], str | None]] = [
    ("nothing is there", [], None),
    ("all is covered", [[YESTERDAY, at(15)]], None),
    ("never covered", [[YESTERDAY, None]], YESTERDAY),
    ("bared again, the rest still covered", [[at(20), None], [YESTERDAY, at(16)]], at(20)),
    ("one was never covered", [[at(20), None], [YESTERDAY, None]], YESTERDAY),
    ("of two that were bared, the first counts", [[at(20), None], [at(20, 30), None]], at(20)),
    ("the first is covered again after the second was bared",
     [[at(20), at(20, 45)], [at(20, 30), None], [YESTERDAY, at(16)]], at(20)),
    ("at the same instant", [[at(20), at(20, 30)], [at(20, 30), None]], at(20)),
    ("a second before", [[at(20), at(20, 29, 59)], [at(20, 30), None]], at(20, 30)),
    ("one was covered only after another was bared: it was never all covered",
     [[YESTERDAY, at(20, 1)], [at(20), None]], YESTERDAY),
    ("through a third", [[at(20, 20), None], [at(20, 10), at(20, 25)], [at(20), at(20, 15)]],
     at(20)),
    ("a lot of which nothing is known", [["", None]], None),
]  # fmt: skip


@pytest.mark.parametrize("case", SPANS, ids=[case[0] for case in SPANS])
def test_since_when_something_has_been_open_without_a_break(core_page: Page, case: Any):
    _, spans, since = case
    assert opened_at([(bared, covered) for bared, covered in spans]) == since
    assert called_in_browser(core_page, "tender", "openedAt", spans)["value"] == since


def stock(**bed: Any) -> dict[str, Any]:
    """Return a bed under these covers, and a frame that has been covered since half past two."""
    lots = [{"id": name, "place": name, "until": "9999-12-31T23:59:59.999Z", "why": "tender",
             "known": True, "cover": None, "bared_at": YESTERDAY, "small": False,
             "seen_at": YESTERDAY} for name in ("bed", "frame")]  # fmt: skip
    covered = bed.pop("frame", {"at": at(14, 30)})
    frame = {"id": "frame", "name": "Frame", "covered": covered}
    places = {"bed": {"id": "bed", "name": "Bed", **bed}, "frame": frame}
    return {"entries": lots, "places": places, "houses": {}, "offsets": [], "home": {}}


def night(answers: dict[str, Any], **more: Any) -> dict[str, Any]:
    low = {"which": "low", "day": "2026-09-10", "value": -1, "at": at(7), "by": None}
    return {
        "id": "n",
        "name": "Home",
        "offsets": [],
        "forecasts": [low],
        "answers": answers,
        **more,
    }


def said(watch: str, instant: str) -> dict[str, Any]:
    return {watch: {"acknowledged": {"at": instant, "by": "orla"}}}


def left(watch: str, instant: str) -> dict[str, Any]:
    answer = {"at": instant, "by": "orla", "until": at(23), "why": "rain"}
    return {watch: {"shelved": answer}}


FIRST = {"at": at(15), "by": "orla", "until": None, "for_low_c": 2}
LONGER = {**FIRST, "until": "2026-09-12"}
# What was over it, what is recorded at 20:00; what is over it then.
COVERS: list[tuple[str, Any, dict[str, Any], Any]] = [
    ("the first", None, {"for_low_c": 2},
     {"at": at(20), "by": "dev", "until": None, "for_low_c": 2}),
    ("another over it is a cover of its own, but something was over it since the first", FIRST,
     {"for_low_c": -4},
     {"at": at(20), "since": at(15), "by": "dev", "until": None, "for_low_c": -4}),
    ("and a third", {**FIRST, "since": at(13)}, {},
     {"at": at(20), "since": at(13), "by": "dev", "until": None, "for_low_c": None}),
    ("the first stays on: since when, by whom and for what is as it was", FIRST,
     {"stays": True, "until": "2026-09-12"}, LONGER),
    ("no longer so long", LONGER, {"stays": True}, FIRST),
    ("what is not there does not stay on", None, {"stays": True, "until": "2026-09-12"}, None),
]  # fmt: skip


@pytest.mark.parametrize("case", COVERS, ids=[case[0] for case in COVERS])
def test_what_a_record_of_a_cover_leaves_over_it(core_page: Page, case: Any):
    _, before, data, expected = case
    event = {"kind": "covered", "at": at(20), "by": "dev", "data": data}
    assert cover_said(event, before) == expected
    assert called_in_browser(core_page, "rows", "coverSaid", event, before)["value"] == expected


COLD = {"since": at(18), "at": at(20), "temp_c": 1, "peak_c": 1}
OPEN_STILL, BARED = {"bared_at": YESTERDAY}, {"bared_at": at(20)}
THIN = {"covered": {"at": at(15), "for_low_c": 2}}
# What stands where, what was answered when; since when which matter stands, and how.
STATES: list[tuple[str, dict[str, Any], dict[str, Any], str, tuple[str, str, str]]] = [
    ("never covered: it stands since two", OPEN_STILL, said("frost-tonight", at(14)), at(21),
     ("frost-tonight", at(14), "acknowledged")),
    ("bared again: what was said before is of the first opening", BARED,
     said("frost-tonight", at(19, 59, 59)), at(20), ("frost-tonight", at(20), "open")),
    ("said from that instant on, it is of this one", BARED, said("frost-tonight", at(20)), at(20),
     ("frost-tonight", at(20), "acknowledged")),
    ("nor is what was left", BARED, left("frost-tonight", at(19, 59, 59)), at(20, 10),
     ("frost-tonight", at(20), "open")),
    ("left from then on, it is left", BARED, left("frost-tonight", at(20)), at(20, 10),
     ("frost-tonight", at(20), "shelved")),
    ("a cover too thin, put on after the answer", THIN, said("frost-tonight", at(14, 59, 59)),
     at(16), ("frost-tonight", at(15), "open")),
    ("a second cover over the frame while the bed stands open is no break in what was open",
     {**BARED, "frame": {"since": at(14, 30), "at": at(20, 30)}},
     said("frost-tonight", at(19, 59, 59)), at(21), ("frost-tonight", at(20), "open")),
    ("or before it", THIN, said("frost-tonight", at(15)), at(16),
     ("frost-tonight", at(15), "acknowledged")),
]  # fmt: skip


@pytest.mark.parametrize("case", STATES, ids=[case[0] for case in STATES])
def test_an_answer_is_of_the_opening_it_was_given_in(core_page: Page, case: Any):
    _, bed, answers, now, expected = case
    assert seen(core_page, night(answers), bed, now) == [expected]


def test_frost_by_the_thermometer_goes_by_the_opening_too(core_page: Page):
    watch = "frost-now"
    for answered, state in ((at(19, 59, 59), "open"), (at(20), "acknowledged")):
        row = night(said(watch, answered), cold=COLD, forecasts=[])
        assert seen(core_page, row, BARED, at(20)) == [(watch, at(20), state)]
    row = night(said(watch, at(18)), cold=COLD, forecasts=[])
    assert seen(core_page, row, OPEN_STILL, at(20)) == [(watch, at(18), "acknowledged")]


def seen(page: Page, row: dict[str, Any], bed: dict[str, Any], now: str) -> list[Any]:
    """Return (watch, since, state) of what both sides find at an instant."""
    known = nursery_facts(row, NO_LOTS, stock(**bed))
    assert (
        called_in_browser(page, "facts", "nurseryFacts", row, NO_LOTS, stock(**bed))["value"]
        == known
    )
    given = (RULES, "nursery", known, now, SITE)
    found = evaluate(*given)
    assert called_in_browser(page, "watches", "evaluate", *given)["value"] == found
    assert all(to_ms(one["since"]) <= to_ms(now) for one in found["findings"])
    return [(one["watch"], one["since"], one["state"]) for one in found["findings"]]
