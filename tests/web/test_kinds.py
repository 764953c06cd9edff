"""Every event kind: what is taken, and what is refused in which words."""

import json
import time
from typing import Any

import pytest

from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import load_rules
from lathhouse.errors import BadField, FixedWatch, FromTheFuture, NotAnEvent, Refusal
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.shapes import KINDS, WITHOUT_A_LOT
from tests.server import Clock
from tests.web.samples import RIGHT, WRONG, event

NEEDS_NO_SAMPLE = {"watch_changed", "protocol_changed"}
# RFC 3339 (Klyne and Newman, 2002) sections 5.6 and 5.7: no dates and times.
NOT_RFC3339 = (
    "1985-04-12T24:00:00Z",
    "1985-04-12 23:20:50",
    "1985-4-12T23:20:50Z",
    "1985-02-29T00:00:00Z",
    "1985-04-12T23:20:50",
    "10/11/1996",
    "1985-04-12T23:20:50+0100",
)
# RFC 3339 section 5.8: one leap second in two spellings. Kept as the next second, our own choice.
LEAP_SECONDS = ("1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00")


def refusal(raw: Any) -> Refusal:
    with pytest.raises(Refusal) as caught:
        check_event(raw)
    return caught.value


def test_every_kind_has_samples_and_refusals():
    assert KINDS.keys() - NEEDS_NO_SAMPLE == RIGHT.keys()
    assert KINDS.keys() - {kind for kind, *_ in WRONG} == set()


@pytest.mark.parametrize(
    ("kind", "data"), [(kind, data) for kind, samples in RIGHT.items() for data in samples]
)
def test_what_can_be_right_is_taken_as_it_came(kind: str, data: dict[str, Any]):
    raw = event(kind, data, whatever={"newer": [1]})
    assert check_event(raw) == raw


@pytest.mark.parametrize(("kind", "data", "field", "says"), WRONG)
def test_what_cannot_be_right_is_refused_in_words(
    kind: str, data: dict[str, Any], field: str, says: str
):
    said = refusal(event(kind, data))
    assert said.problem()["field"] == field
    assert says in said.detail
    assert said.detail.endswith(".")


@pytest.mark.parametrize("kind", sorted(KINDS.keys() - WITHOUT_A_LOT))
def test_a_record_about_a_lot_names_it(kind: str):
    said = refusal(event(kind, RIGHT[kind][0], lot=None))
    assert (said.problem()["field"], said.detail) == (
        "lot",
        f"A record of kind {kind} names its lot.",
    )


@pytest.mark.parametrize("kind", sorted(WITHOUT_A_LOT - NEEDS_NO_SAMPLE - {"acknowledged"}))
def test_a_record_about_a_place_a_mixing_or_a_person_needs_no_lot(kind: str):
    assert check_event(event(kind, RIGHT[kind][0], lot=None))["lot"] is None


def test_unknown_fields_and_unknown_kinds_are_kept_whole():
    looked = event("looked", {"moisture": 3, "frost_lift": 2}, aura="blue")
    sung = event("sung_to", {"song": ["la", 1]}, lot=None)
    assert check_event(looked) == looked
    assert check_event(sung) == sung


def test_a_shipped_crop_and_a_shipped_watch_are_right_as_changed_rows():
    crop = load_crops()["acer-palmatum"]
    rule = next(rule for rule in load_rules() if rule["id"] == "look-due")
    assert check_event(event("protocol_changed", crop, lot=None))
    assert check_event(event("watch_changed", rule, lot=None))


def test_the_six_week_watch_cannot_be_changed():
    rule = next(rule for rule in load_rules() if rule["id"] == "cold-six-weeks")
    with pytest.raises(FixedWatch):
        check_event(event("watch_changed", rule, lot=None))


@pytest.mark.parametrize("raw", [None, 5, "looked", [], {}, {"kind": 3}, {"kind": "Looked at"}])
def test_what_is_no_event_is_told_so(raw: Any):
    with pytest.raises(NotAnEvent):
        check_event(raw)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("id", "7", "UUID"),
        ("id", "{0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e}", "UUID"),
        ("seq", -1, "whole number"),
        ("seq", True, "whole number"),
        ("seq", 1.5, "whole number"),
        ("seq", "1", "whole number"),
        ("seq", 2**60, "whole number"),
        ("lot", "fridge lot", "UUID"),
        ("by", "Orla", "UUID"),
        ("typed", "yes", "true or false"),
        ("mends", 4, "UUID"),
        ("recorded_at", "yesterday", "UTC offset"),
        ("data", [1], "an object"),
        ("observed_at", None, "must not be left empty"),
    ],
)
def test_an_envelope_that_cannot_be_right_is_refused(name: str, value: Any, says: str):
    said = refusal({**event("looked", {}), name: value})
    assert says in said.detail
    assert said.problem()["field"] == name


@pytest.mark.parametrize("name", ["id", "seq", "observed_at"])
def test_an_envelope_names_id_number_and_time(name: str):
    raw = event("looked", {})
    del raw[name]
    assert f"{name} is missing; it must be" in refusal(raw).detail


@pytest.mark.parametrize("text", NOT_RFC3339)
def test_what_rfc_3339_does_not_allow_is_refused_with_an_example(text: str):
    said = refusal(event("looked", {}, observed_at=text))
    assert said.detail == (
        "observed_at must be a time with its UTC offset such as 2026-05-01T08:00:00+10:00, "
        f"not {text!r}."
    )


@pytest.mark.parametrize("text", LEAP_SECONDS)
def test_a_leap_second_is_taken_as_the_next_second(text: str):
    raw = check_event(event("looked", {}, observed_at=text))
    assert corrected_at(raw, 0, Clock().ms) == "1991-01-01T00:00:00.000Z"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused_in_known_and_unknown_fields(value: float):
    assert "must be a number" in refusal(event("looked", {"temp_c": value})).detail
    assert "too large" in refusal(event("looked", {"unheard_of": [value]})).detail


def test_a_record_has_a_size_and_says_so():
    said = refusal(event("looked", {f"f{n}": "x" * 3000 for n in range(25)}))
    assert "A record holds at most 64,000 characters" in said.detail


@pytest.mark.parametrize(
    ("clock", "push_skew_ms", "at"),
    [
        ({"run": "a", "skew_ms": 119_999}, 0, "2026-09-09T22:00:00.000Z"),
        ({"run": "a", "skew_ms": 120_000}, 0, "2026-09-09T22:02:00.000Z"),
        ({"run": "a", "skew_ms": -3_600_000}, 7_200_000, "2026-09-09T21:00:00.000Z"),
        (None, 3_600_000, "2026-09-09T23:00:00.000Z"),
        ("odd", 3_600_000, "2026-09-09T23:00:00.000Z"),
        ({"skew_ms": float("inf")}, 0, "2026-09-09T22:00:00.000Z"),
        ({"skew_ms": True}, 0, "2026-09-09T22:00:00.000Z"),
    ],
)
def test_f12_a_clock_that_is_out_is_corrected_from_two_minutes_on(
    clock: Any, push_skew_ms: int, at: str
):
    raw = event("looked", {}, clock=clock)
    assert corrected_at(raw, push_skew_ms, Clock().ms) == at


def test_f12_a_time_typed_by_hand_is_never_corrected():
    raw = event("looked", {}, typed=True, clock={"run": "a", "skew_ms": 9_000_000})
    assert corrected_at(raw, 9_000_000, Clock().ms) == "2026-09-09T22:00:00.000Z"


def test_f12_more_than_a_day_ahead_is_refused_and_looks_at_the_corrected_time():
    clock = Clock("2026-09-10T08:00:00+10:00")
    ahead = event("looked", {}, observed_at="2026-09-11T08:00:00.001+10:00")
    with pytest.raises(FromTheFuture):
        corrected_at(ahead, 0, clock.ms)
    assert corrected_at({**ahead, "clock": {"skew_ms": -3_600_000}}, 0, clock.ms)
    just = event("looked", {}, observed_at="2026-09-11T08:00:00+10:00")
    assert corrected_at(just, 0, clock.ms) == "2026-09-10T22:00:00.000Z"


def test_a_time_before_the_first_year_is_refused():
    raw = event("looked", {}, observed_at="0001-01-01T00:00:00Z", clock={"skew_ms": -9_000_000})
    with pytest.raises(BadField):
        corrected_at(raw, 0, Clock().ms)


def test_a_check_costs_little_beside_reading_its_json():
    """A push of 1,000 looks must not wait for its checks: measured 26 µs, 2.6 × the JSON."""
    looks = [event("looked", {"moisture": 3, "fungus": "none", "temp_c": 4.5}) for _ in range(2000)]
    text = json.dumps(looks)
    started = time.process_time()
    for _ in range(5):
        json.loads(text)
    reading = time.process_time() - started
    started = time.process_time()
    for look in looks:
        check_event(look)
    assert time.process_time() - started < 12 * reading
