"""The small words of a watch rule: facts by dotted name, conditions, runs and lengths of time."""

import math
import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from lathhouse.domain.instants import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    local_instant,
    parse_instant,
    to_ms,
)

Facts = dict[str, Any]
# Python reads more spellings than RFC 3339 and other runtimes do, so the shape is checked first.
CANONICAL = re.compile(r"\d{4}-\d\d-\d\dT([01]\d|2[0-3])(:[0-5]\d){2}\.\d{3}Z", re.ASCII)
DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
UNITS_MS = {"days": DAY_MS, "hours": HOUR_MS, "minutes": MINUTE_MS}


def fact(facts: Facts, path: str) -> Any:
    """Return the fact of a dotted name, or None where it is not known."""
    # Most names have one part, and this is asked some sixty times for each lot.
    if "." not in path:
        return facts.get(path)
    value: Any = facts
    for part in _parts(path):
        value = value.get(part) if isinstance(value, dict) else None
    return value


@lru_cache(maxsize=4096)
def _parts(path: str) -> tuple[str, ...]:
    return tuple(path.split("."))


def is_number(value: Any) -> bool:
    """Say whether a value is a number (true and false are none)."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def compare(value: Any, op: str, wanted: Any) -> bool:
    """Say whether a value stands in this relation to what is wanted; unknown values never do.

    Raises:
        ValueError: no such relation.
    """
    if op in ("known", "unknown"):
        return (value is not None) == (op == "known")
    if op in ("in", "not_in"):
        return value is not None and (value in wanted) == (op == "in")
    if op in ("is", "is_not"):
        same = value == wanted and isinstance(value, bool) == isinstance(wanted, bool)
        return value is not None and same == (op == "is")
    if op == "outside":
        low, high = wanted
        return compare(value, "below", low) or compare(value, "above", high)
    if op not in ("at_least", "above", "at_most", "below"):
        raise ValueError(f"no such relation in a watch: {op}")
    both_numbers = is_number(value) and is_number(wanted)
    if not both_numbers and not (isinstance(value, str) and isinstance(wanted, str)):
        return False
    if op in ("at_least", "above"):
        return bool(value >= wanted if op == "at_least" else value > wanted)
    return bool(value <= wanted if op == "at_most" else value < wanted)


def wanted_value(term: Any, facts: Facts) -> Any:
    """Return a term's value: itself, or the fact that `{"fact": name}` names, in a list too."""
    if isinstance(term, list):
        return [wanted_value(one, facts) for one in term]
    return fact(facts, term["fact"]) if isinstance(term, dict) else term


def holds(condition: list[Any], facts: Facts) -> bool:
    """Say whether `[fact, relation, value]` holds."""
    wanted = wanted_value(condition[2], facts) if len(condition) > 2 else None
    return compare(fact(facts, condition[0]), condition[1], wanted)


def all_hold(conditions: Iterable[list[Any]], facts: Facts) -> bool:
    """Say whether every one of these conditions holds."""
    for condition in conditions:  # noqa: SIM110 - a generator costs as much as a condition
        if not holds(condition, facts):
            return False
    return True


def run_start(facts: Facts, term: dict[str, Any]) -> str | None:
    """Return when the unbroken run that `{"run_of": field, relation: value}` asks for began.

    With `nth` it begins at its nth value, and has not begun while it has fewer.
    """
    run = _run(facts, term)[0]
    nth = term.get("nth", 1)
    return run[-nth] if len(run) >= nth else None


def run_broken(facts: Facts, term: dict[str, Any]) -> str | None:
    """Return when the last value before the run stood, which was none of it; None without one."""
    return _run(facts, term)[1]


def _run(facts: Facts, term: dict[str, Any]) -> tuple[list[str], str | None]:
    series = fact(facts, f"series.{term['run_of']}") or []
    op = next(name for name in term if name not in ("run_of", "nth"))
    wanted = wanted_value(term[op], facts)
    run: list[str] = []
    for at, value in reversed(series):
        if not compare(value, op, wanted):
            return run, at
        run.append(at)
    return run, None


def length_ms(spec: dict[str, Any], facts: Facts) -> int | None:
    """Return a length of time in milliseconds.

    Either `{"days": 7}`, or `{"fact", "unit", "times", "over", "plus", "else"}`. None where the
    fact is not known and no `else` is given.
    """
    if "fact" not in spec:
        return round_half_up(sum(spec[unit] * UNITS_MS[unit] for unit in UNITS_MS if unit in spec))
    value = fact(facts, spec["fact"])
    if not is_number(value):
        return length_ms(spec["else"], facts) if "else" in spec else None
    scaled = value * UNITS_MS[spec["unit"]] * spec.get("times", 1) / spec.get("over", 1)
    return round_half_up(scaled) + (length_ms(spec.get("plus", {}), facts) or 0)


def round_half_up(number: float) -> int:
    """Round as both languages can: halves go up."""
    return math.floor(number + 0.5)


def instant_ms(value: Any, site: dict[str, Any]) -> int | None:
    """Return the instant of canonical text, a typed time, or a local date's first moment."""
    if not isinstance(value, str):
        return None
    try:
        if CANONICAL.fullmatch(value):
            return to_ms(value)
        if DAY.fullmatch(value):
            return local_instant(value, "00:00", site["offsets"])
        return parse_instant(value)
    except ValueError:  # no such day, or a BadInstant
        return None
