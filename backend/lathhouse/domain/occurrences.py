"""When a finding is another occurrence of its watch, and not the one that was told already.

`since` of a finding moves: a look that came late postpones it, a correction moves its clock, a
worse case has a clock of its own. None of that is new. It is another occurrence where what its
clock runs from happened only after the one before had begun, or where that one was over by itself.
"""

from typing import Any

from lathhouse.domain.instants import MINUTE_MS, to_ms
from lathhouse.domain.rule_terms import Facts, instant_ms, run_broken

Finding = dict[str, Any]
Case = dict[str, Any]
# Nearer to each other than this, two beginnings are one: readings of two thermometers, or two
# phones whose clocks differ a little. Ours.
SAME_MS = 5 * MINUTE_MS


def clear_at(case: Case, began_ms: int | None, facts: Facts, site: dict[str, Any]) -> int | None:
    """Return the last instant before it began at which the record shows that it was not so.

    A clock that is set back by an act (a look, a new soak) says so itself; a run of values says so
    by the value that broke it, and where none did, only its first value was corrected.
    """
    term = beginning_of(case)
    if isinstance(term, dict) and "run_of" in term:
        return instant_ms(run_broken(facts, term), site)
    return began_ms


def beginning_of(case: Case) -> Any:
    """Return what an occurrence begins with: the case's clock, unless `anew` says otherwise.

    `anew` is a clock as well, or null where no clock tells one occurrence from the next: a second
    visit to a closed place, another wet look, one more loss.
    """
    return case["anew"] if "anew" in case else case["clock"]


def is_another(stood: Finding, found: Finding) -> bool:
    """Say whether what is found now is another occurrence than the alert that stood until now."""
    if to_ms(found["since"]) < to_ms(stood["since"]) + SAME_MS:
        return False
    over = stood.get("ends_at")
    if over and over <= found["since"]:
        return True
    began, clear = found["began"], found["clear_at"]
    if began is None or clear is None:
        return False
    return bool(began > stood["since"] and clear > (stood.get("began") or stood["since"]))
