"""What people answer to an alert, on both sides alike. Ours throughout."""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.answers import answered, left_at_most, with_answer
from lathhouse.domain.instants import to_ms
from tests.parity.twins import called_in_browser

SITE: dict[str, Any] = {"offsets": []}


def at(hour: int, minute: int = 0) -> str:
    return f"2026-09-10T{hour:02}:{minute:02}:00.000Z"


def said(hour: int, by: str | None = "orla", **more: Any) -> dict[str, Any]:
    return {"at": at(hour), "by": by, **more}


def left(hour: int, until: str, by: str = "orla") -> dict[str, Any]:
    return said(hour, by, until=until, why="rain")


# Frost: due at two, late an hour before the sun is down at six, alarm then.
FROST = {"priority": 1, "since": to_ms(at(14)), "times": [to_ms(at(h)) for h in (14, 17, 18)]}
ORDINARY = {**FROST, "priority": 2}
CASES: list[tuple[str, dict[str, Any], dict[str, Any], str, dict[str, Any]]] = [
    ("an answer to an earlier one is none", ORDINARY,
     {"acknowledged": said(13), "given_back": said(13)}, at(15), {"state": "open"}),
    ("another takes it over", ORDINARY, {"acknowledged": said(16, "dev", by_said=True)}, at(17),
     {"state": "acknowledged", "acknowledged_at": at(16), "acknowledged_by": "dev",
      "acknowledged_by_said": True}),
    ("who has it gives it back", ORDINARY,
     {"acknowledged": said(15), "given_back": said(16)}, at(17),
     {"state": "open", "given_back_at": at(16), "given_back_by": "orla"}),
    ("who had it before gives back nothing", ORDINARY,
     {"acknowledged": said(15, "dev"), "given_back": said(16)}, at(17),
     {"state": "acknowledged", "acknowledged_at": at(15), "acknowledged_by": "dev"}),
    ("it is taken on again", ORDINARY,
     {"acknowledged": said(17), "given_back": said(16)}, at(18),
     {"state": "acknowledged", "acknowledged_at": at(17), "acknowledged_by": "orla"}),
    ("what is left is taken on at once", ORDINARY,
     {"shelved": left(15, at(23)), "acknowledged": said(16, "dev")}, at(17),
     {"state": "acknowledged", "acknowledged_at": at(16), "acknowledged_by": "dev"}),
    ("what somebody else has is not given back, but what is left", ORDINARY,
     {"acknowledged": said(15, "dev"), "shelved": left(16, at(23)), "given_back": said(17)}, at(18),
     {"state": "acknowledged", "acknowledged_at": at(15), "acknowledged_by": "dev"}),
    ("nothing is given back where nobody has it", ORDINARY, {"given_back": said(16)}, at(17),
     {"state": "open"}),
    ("what is left goes back on the list, by whom it may", ORDINARY,
     {"shelved": left(15, at(23)), "given_back": said(16, "dev")}, at(17),
     {"state": "open", "given_back_at": at(16), "given_back_by": "dev"}),
    ("what somebody has is left all the same", ORDINARY,
     {"shelved": left(16, at(23)), "acknowledged": said(15)}, at(17),
     {"state": "shelved", "shelved_at": at(16), "shelved_by": "orla", "shelved_until": at(23),
      "shelved_why": "rain", "acknowledged_at": at(15), "acknowledged_by": "orla"}),
    ("frost is left until the covers must be on", FROST, {"shelved": left(15, at(23))}, at(16),
     {"state": "shelved", "shelved_at": at(15), "shelved_by": "orla", "shelved_until": at(17),
      "shelved_why": "rain"}),
    ("and is open from then on", FROST, {"shelved": left(15, at(23))}, at(17), {"state": "open"}),
    ("at its worst it is left for half an hour", FROST, {"shelved": left(18, at(23))}, at(18, 29),
     {"state": "shelved", "shelved_at": at(18), "shelved_by": "orla", "shelved_until": at(18, 30),
      "shelved_why": "rain"}),
    ("a shorter end is kept", FROST, {"shelved": left(15, at(16))}, at(16), {"state": "open"}),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_the_state_that_answers_give(core_page: Page, case: Any):
    _, found, said, now, expected = case
    answers: dict[str, Any] = {}
    for how, answer in sorted(said.items(), key=lambda one: str(one[1]["at"])):
        both = called_in_browser(core_page, "answers", "withAnswer", answers, how, answer)["value"]
        answers = with_answer(answers, how, answer)
        assert both == answers
    given = ({"id": "a-watch"}, {"answers": {"a-watch": answers}}, found, to_ms(now), SITE)
    ours, ends = answered(*given)
    assert called_in_browser(core_page, "answers", "answered", *given)["value"] == [ours, ends]
    assert ours == expected


def test_what_is_less_urgent_may_be_left_as_long_as_anybody_likes(core_page: Page):
    for priority, most in ((1, to_ms(at(17))), (2, None), (4, None)):
        given = (priority, FROST["times"], to_ms(at(15)))
        assert left_at_most(*given) == most
        assert called_in_browser(core_page, "answers", "leftAtMost", *given)["value"] == most
