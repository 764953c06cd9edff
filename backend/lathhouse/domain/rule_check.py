"""Whether a rule can be read at all, before it is let into the house."""

from typing import Any

from lathhouse.domain.rule_terms import UNITS_MS, holds, run_start

SUBJECTS = ("lot", "place", "phone", "nursery", "solution", "person", "sensor")
LEVELS = ("due", "late", "alarm")


class BadRule(ValueError):
    """The rule cannot be read; the message says which part and what would be right."""


def check_rule(rule: dict[str, Any]) -> None:
    """Refuse a watch that the interpreter could not read.

    Raises:
        BadRule: in one sentence.
    """
    if not rule["subjects"] or any(subject not in SUBJECTS for subject in rule["subjects"]):
        raise BadRule(f"subjects must be among {', '.join(SUBJECTS)}")
    if rule.get("priority") not in (1, 2, 3, 4):
        raise BadRule("priority must be 1, 2, 3 or 4")
    if not isinstance(rule.get("rings", True), bool):
        raise BadRule("rings must be true, or false for a list entry that never rings")
    by_crop, by_place = _overrides(rule, "crops"), _overrides(rule, "places")
    for crop in ({}, *by_crop):
        for place in ({}, *by_place):
            _check_version({**rule, **crop, **place})


def _overrides(rule: dict[str, Any], name: str) -> list[dict[str, Any]]:
    """Return what the owner changed for some crops, or in some places."""
    changed = {} if rule.get(name) is None else rule[name]
    if not isinstance(changed, dict) or not all(isinstance(c, dict) for c in changed.values()):
        raise BadRule(f"{name} must be an object of {name[:-1]} ids, each with what is changed")
    return list(changed.values())


def _check_version(rule: dict[str, Any]) -> None:
    _conditions(rule.get("when", []))
    _given(rule.get("given", {}))
    each = rule.get("each", ["", ""])
    if not isinstance(each, list) or len(each) != 2 or not all(isinstance(e, str) for e in each):
        raise BadRule("each must name a list of facts and what one of them is called")
    for case in rule.get("cases") or [{}]:
        whole = {**rule, **case}
        _conditions(case.get("when", []))
        for name in ("says", "next_action"):
            if not isinstance(whole.get(name), str) or whole[name].count("{") != whole[name].count(
                "}"
            ):
                raise BadRule(f"{name} must be a sentence, its facts in braces")
        _clock(whole.get("clock"))
        if whole.get("anew") is not None:
            _clock(whole["anew"])
        if whole.get("counts") not in (None, "working_days", "growth"):
            raise BadRule("counts must be working_days or growth, or be left out")
        after = whole.get("after")
        if not isinstance(after, dict) or not after or any(level not in LEVELS for level in after):
            raise BadRule("after must say how long until due, late or alarm")
        for spec in after.values():
            if spec is not None:
                _length(spec)
        for term in whole.get("unless", []):
            if not isinstance(term, dict) or not {"fact", "from"} <= term.keys():
                raise BadRule("unless must name a fact and from which other one it counts")
            _length(term.get("plus", {}))
        if not isinstance(whole.get("until", ""), str):
            raise BadRule("until must name a fact")


def _given(given: Any) -> None:
    numbers = isinstance(given, dict) and all(
        value is None or (isinstance(value, int | float) and not isinstance(value, bool))
        for value in given.values()
    )
    if not numbers:
        raise BadRule("given must be an object of numbers, each of which may be null")


def _conditions(conditions: Any) -> None:
    if not isinstance(conditions, list):
        raise BadRule("when must be a list of conditions")
    for condition in conditions:
        fits = isinstance(condition, list) and 2 <= len(condition) <= 3
        if not fits or not all(isinstance(part, str) for part in condition[:2]):
            raise BadRule("a condition is [fact, relation, value]")
        try:
            holds(condition, {})
        except (ValueError, TypeError, KeyError) as error:
            raise BadRule(f"a condition cannot be read: {condition}") from error


def _clock(clock: Any) -> None:
    if isinstance(clock, list) and clock and all(isinstance(path, str) for path in clock):
        return
    if isinstance(clock, dict) and isinstance(clock.get("working_day_after"), str):
        return
    if isinstance(clock, dict) and not _is_nth(clock.get("nth", 1)):
        raise BadRule("nth must be a whole number from 1 to 30")
    if isinstance(clock, dict) and isinstance(clock.get("midwinter_after"), str):
        return
    is_run = isinstance(clock, dict) and isinstance(clock.get("run_of"), str)
    if is_run and len(clock.keys() - {"nth"}) == 2:
        try:
            run_start({"series": {clock["run_of"]: [["", 1]]}}, clock)
        except (ValueError, TypeError, KeyError) as error:
            raise BadRule(f"the clock cannot be read: {clock}") from error
        return
    raise BadRule(
        "clock must be a list of facts, a run of values, or the working day or midwinter after one"
    )


def _is_nth(nth: Any) -> bool:
    return isinstance(nth, int) and not isinstance(nth, bool) and 1 <= nth <= 30


def _length(spec: Any) -> None:
    if not isinstance(spec, dict):
        raise BadRule('a length of time is an object such as {"days": 7}')
    if isinstance(spec.get("local_time"), str):
        hour, _, minute = spec["local_time"].partition(":")
        if not (hour.isdigit() and minute.isdigit() and int(hour) < 24 and int(minute) < 60):
            raise BadRule("local_time must be a time such as 11:00")
        return
    if "at" in spec:
        if not isinstance(spec["at"], str):
            raise BadRule("a time at a fact names that fact")
        _length(spec.get("less", {}))
        return
    if "fact" in spec:
        if not isinstance(spec["fact"], str) or spec.get("unit") not in UNITS_MS:
            raise BadRule("a length from a fact names the fact and its unit")
        _length(spec.get("plus", {}))
        _length(spec.get("else", {}))
        return
    for unit, value in spec.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if unit not in UNITS_MS or not number or not 0 <= value <= 10_000:
            raise BadRule("a length of time is days, hours or minutes, not negative")
