"""What people answer to an alert: they have it, leave it until a time, or give it back."""

from typing import Any

from lathhouse.domain.instants import MINUTE_MS, to_ms, to_text
from lathhouse.domain.rule_terms import Facts, instant_ms

Answer = dict[str, Any]

# What is most urgent must not be left beyond the time to respond: until it gets worse, or, where it
# is at its worst, so long as it takes until the next person is told of it (alert catalogue).
MOST_URGENT = 1
RESPOND_MS = 30 * MINUTE_MS


def with_answer(answers: dict[str, Answer], how: str, answer: Answer) -> dict[str, Answer]:
    """Return the answers to a watch after one more, in the order of their time.

    Whoever has it gives it back; that somebody else did, meanwhile, is no matter. What is left is
    put back by anybody.
    """
    if how != "given_back":
        return {**answers, how: answer}
    has = answers.get("acknowledged")
    ended = {"shelved", *(["acknowledged"] if has and has["by"] == answer["by"] else [])}
    if not ended & answers.keys():
        return answers
    kept = {name: said for name, said in answers.items() if name not in ended}
    return {**kept, how: answer}


def answered(
    rule: dict[str, Any], facts: Facts, case: dict[str, Any], now_ms: int, site: dict[str, Any]
) -> tuple[dict[str, Any] | None, int | None]:
    """Return the state that people's answers give a finding, and when that ends.

    None for the state where somebody put the whole matter off (never for a fixed watch). An answer
    older than the finding was about an earlier one. Whoever takes on what is left, or takes it over
    from another, has it; what is given back is open again.
    """
    answers = (facts.get("answers") or {}).get(rule["id"]) or {}
    since = case["since"]
    deferred = answers.get("deferred")
    if deferred and rule.get("fixed") is not True:
        until = instant_ms(deferred.get("until"), site)
        if until is not None and now_ms < until:
            return None, until
        if until is None and to_ms(deferred["at"]) >= since:
            return None, None
    have_it, shelved, given = (
        _of_this(answers.get(how), since) for how in ("acknowledged", "shelved", "given_back")
    )
    state: dict[str, Any] = {"state": "open"}
    if have_it:
        state |= {"state": "acknowledged", **_told("acknowledged", have_it)}
    elif given and not shelved:
        state |= _told("given_back", given)
    ends = _left_until(rule, case, shelved, site) if shelved else None
    taken_up = shelved and have_it and have_it["at"] >= shelved["at"]
    if shelved and not taken_up and ends is not None and now_ms < ends:
        state |= {"state": "shelved", **_told("shelved", shelved)}
        state |= {"shelved_until": to_text(ends), "shelved_why": shelved.get("why")}
        return state, ends
    return state, None


def _of_this(answer: Answer | None, since_ms: int) -> Answer | None:
    return answer if answer and to_ms(answer["at"]) >= since_ms else None


def _told(how: str, answer: Answer) -> dict[str, Any]:
    said = {f"{how}_by_said": True} if answer.get("by_said") else {}
    return {f"{how}_at": answer["at"], f"{how}_by": answer["by"], **said}


def _left_until(
    rule: dict[str, Any], case: dict[str, Any], shelved: Answer, site: dict[str, Any]
) -> int | None:
    until = instant_ms(shelved.get("until"), site)
    priority = case.get("priority", rule.get("priority"))
    most = left_at_most(priority, case.get("times") or [], to_ms(shelved["at"]))
    return until if until is None or most is None else min(until, most)


def left_at_most(priority: int | None, times_ms: list[int], at_ms: int) -> int | None:
    """Return until when something may be left at an instant, or None where that is anybody's own.

    Args:
        priority: the finding's; only 1 is bound.
        times_ms: the instants at which its levels are reached.
        at_ms: when it is left.
    """
    if priority != MOST_URGENT:
        return None
    return min((at for at in times_ms if at > at_ms), default=at_ms + RESPOND_MS)
