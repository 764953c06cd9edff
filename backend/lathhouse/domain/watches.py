"""Watches: alert rules as data, read by this small interpreter (its twin is `core/watches.js`).

A rule has one or more cases. A case holds while its conditions do; its clock starts at an instant
among the facts; the level is the last one whose time has come, from that exact instant on. The
worst case gives the finding. `now` is always passed in.
"""

import json
from functools import cache
from importlib.resources import files
from typing import Any

from lathhouse.domain.answers import answered
from lathhouse.domain.instants import (
    LAST_MS,
    after_working_time,
    local_date,
    local_instant,
    local_time,
    next_working_day,
    to_ms,
    to_text,
)
from lathhouse.domain.occurrences import beginning_of, clear_at
from lathhouse.domain.rule_terms import (
    Facts,
    all_hold,
    fact,
    instant_ms,
    is_number,
    length_ms,
    round_half_up,
    run_start,
)
from lathhouse.domain.winters import after_growing_time, nth_midwinter

Rule = dict[str, Any]
Site = dict[str, Any]

LEVELS = ("due", "late", "alarm")
# What the cases of a rule have in common unless they say otherwise.
SHARED = ("clock", "anew", "after", "unless", "until", "counts")
MONTHS = "January February March April May June July August September October November December"


@cache
def load_rules() -> tuple[Rule, ...]:
    """Return the watches that ship with the program, as `data/watches.json` holds them."""
    text = (files("lathhouse") / "data" / "watches.json").read_text(encoding="utf-8")
    return tuple(json.loads(text)["watches"])


def evaluate(
    rules: list[Rule] | tuple[Rule, ...], subject: str, facts: Facts, now: str, site: Site
) -> dict[str, Any]:
    """Return {findings, notices, next_deadline} of one subject at an instant.

    Args:
        rules: watches; only the enabled ones for this kind of subject are read.
        subject: `lot`, `place`, `phone` or `nursery`.
        facts: what `domain.facts` made of the subject.
        now: canonical text.
        site: `offsets`, `working_days` (1 = Monday), `hemisphere` and `season_starts` of the
            nursery.
    """
    now_ms = to_ms(now)
    findings, notices, deadlines = [], [], []
    for shipped in rules:
        rule = as_it_stands(shipped, facts)
        if subject not in rule["subjects"] or rule.get("enabled") is False:
            continue
        known = {**facts, "given": rule["given"]} if "given" in rule else facts
        case, seen, ahead = worst_of_each(rule, known, now_ms, site)
        deadlines += ahead
        if case is not None:
            answer, ends = answered(rule, known, case, now_ms, site)
            deadlines += [ends] if ends is not None else []
            if answer is not None:
                findings.append({**_finding(rule, case, seen, site), **answer})
        notices += foretold(rule, known, now_ms, site)
    _hide(rules, findings)
    ahead = [at for at in deadlines if at > now_ms]
    return {
        "findings": findings,
        "notices": notices,
        "next_deadline": to_text(min(ahead)) if ahead else None,
    }


def as_it_stands(rule: Rule, facts: Facts) -> Rule:
    """Return the rule as it stands for a subject: its place beats its crop beats the nursery."""
    return for_place(for_crop(rule, facts.get("crop")), facts.get("place"))


def for_crop(rule: Rule, crop: str | None) -> Rule:
    """Return the rule as it stands for a crop: what the owner changed for it replaces the rest."""
    changed = (rule.get("crops") or {}).get(crop)
    return {**rule, **changed} if changed else rule


def for_place(rule: Rule, place: str | None) -> Rule:
    """Return the rule as it stands in a place, for the place itself and for the lots in it."""
    changed = (rule.get("places") or {}).get(place)
    return {**rule, **changed} if changed else rule


def cases_of(rule: Rule) -> list[dict[str, Any]]:
    """Return the rule's cases, each with what all of them share."""
    shared: dict[str, Any] = {key: rule[key] for key in SHARED if key in rule}
    return [{**shared, **case} for case in rule.get("cases") or [{}]]


def worst_of_each(
    rule: Rule, facts: Facts, now_ms: int, site: Site
) -> tuple[dict[str, Any] | None, Facts, list[int]]:
    """Return the worst case, the facts it was found in, and every instant ahead.

    A rule with `each: [list, name]` is read once for each entry of a list of facts, which stands
    under that name among the others; the worst of them counts.
    """
    if "each" not in rule:
        case, ahead = worst_case(rule, facts, now_ms, site)
        return case, facts, ahead
    path, name = rule["each"]
    worst: dict[str, Any] | None = None
    seen, ahead = facts, []
    for entry in fact(facts, path) or []:
        own = {**facts, name: entry}
        case, more = worst_case(rule, own, now_ms, site)
        ahead += more
        if case is not None and (worst is None or _weight(case) > _weight(worst)):
            worst, seen = case, own
    return worst, seen, ahead


def worst_case(
    rule: Rule, facts: Facts, now_ms: int, site: Site
) -> tuple[dict[str, Any] | None, list[int]]:
    """Return the case with the highest level reached (the longest standing of equals), if any,
    and every instant ahead at which a level changes."""
    worst: dict[str, Any] | None = None
    ahead: list[int] = []
    began: list[tuple[int | None, int | None]] = []
    if not all_hold(rule.get("when", ()), facts):
        return None, []
    for case in cases_of(rule):
        times = level_times(case, facts, site)
        until = instant_ms(fact(facts, case["until"]), site) if "until" in case else None
        if until is not None:
            times = {level: at for level, at in times.items() if at < until}
            if now_ms >= until:
                continue
        ahead += times.values()
        reached = [level for level in LEVELS if level in times and times[level] <= now_ms]
        if not reached:
            continue
        if until is not None:
            ahead.append(until)
        since = min(times[level] for level in reached)
        found = {**case, "level": reached[-1], "since": since, "level_since": times[reached[-1]]}
        found |= {"times": sorted(times.values()), "ends": until}
        began.append(_began(case, facts, site))
        if worst is None or _weight(found) > _weight(worst):
            worst = found
    if worst is not None:
        # It began with the oldest of its cases: a worse one that came to it is no new beginning.
        worst["began"], worst["clear"] = min(began, key=lambda one: (one[0] is not None, one[0]))
    return worst, ahead


def _began(case: dict[str, Any], facts: Facts, site: Site) -> tuple[int | None, int | None]:
    """Return (when a case began, when it was last known not to be so); None where nothing says."""
    term = beginning_of(case)
    began = clock_start(term, facts, site) if term is not None else None
    return began, clear_at(case, began, facts, site)


def _weight(case: dict[str, Any]) -> tuple[int, int]:
    return LEVELS.index(case["level"]), -int(case["since"])


def level_times(case: dict[str, Any], facts: Facts, site: Site) -> dict[str, int]:
    """Return {level: instant} of a case; empty where it does not apply or has not begun."""
    if not all_hold(case.get("when", ()), facts):
        return {}
    if any(answered_by(term, facts, site) for term in case.get("unless", [])):
        return {}
    start = clock_start(case["clock"], facts, site)
    if start is None:
        return {}
    times = {}
    for level, spec in case["after"].items():
        at = _level_time(start, spec, case, facts, site) if spec is not None else None
        # What the year 9999 does not see any more never comes.
        if at is not None and at <= LAST_MS:
            times[level] = at
    return times


def _level_time(
    start: int, spec: dict[str, Any], case: dict[str, Any], facts: Facts, site: Site
) -> int | None:
    if "local_time" in spec:
        day = local_date(start, site["offsets"])
        # Never before the clock began: nobody is told of a time at which nothing was amiss yet.
        return max(start, local_instant(day, spec["local_time"], site["offsets"]))
    if "at" in spec:
        at = instant_ms(fact(facts, spec["at"]), site)
        less = length_ms(spec.get("less", {}), facts) or 0
        return None if at is None else max(start, at - less)
    length = length_ms(spec, facts)
    if length is None:
        return None
    if case.get("counts") == "working_days":
        days = facts.get("works_on") or site["working_days"]
        return after_working_time(start, length, site["offsets"], days)
    if case.get("counts") == "growth":
        return after_growing_time(start, length, site["offsets"], site)
    return start + length


def clock_start(clock: Any, facts: Facts, site: Site) -> int | None:
    """Return when a clock starts, or None while it has not.

    A list of facts starts at the latest of those that are known, and needs its first one; a run
    starts with its first value; `working_day_after` starts at the local midnight that begins the
    first working day after the day of that fact, `midwinter_after` at that of its nth midwinter.
    """
    if isinstance(clock, list):
        first = instant_ms(fact(facts, clock[0]), site)
        others = [instant_ms(fact(facts, path), site) for path in clock[1:]]
        return None if first is None else max([first, *(at for at in others if at is not None)])
    if "run_of" in clock:
        return instant_ms(run_start(facts, clock), site)
    if "midwinter_after" in clock:
        at = instant_ms(fact(facts, clock["midwinter_after"]), site)
        nth, offsets = clock.get("nth", 1), site["offsets"]
        return None if at is None else nth_midwinter(at, nth, offsets, site)
    seen = instant_ms(fact(facts, clock["working_day_after"]), site)
    if seen is None:
        return None
    day = next_working_day(local_date(seen, site["offsets"]), site["working_days"])
    return local_instant(day, "00:00", site["offsets"]) if day else None


def answered_by(term: dict[str, Any], facts: Facts, site: Site) -> bool:
    """Say whether `{"fact", "from", "plus"}` holds: the fact is at or after that instant."""
    at = instant_ms(fact(facts, term["fact"]), site)
    start = instant_ms(fact(facts, term["from"]), site)
    if at is None or start is None:
        return False
    return at >= start + (length_ms(term.get("plus", {}), facts) or 0)


def foretold(rule: Rule, facts: Facts, now_ms: int, site: Site) -> list[dict[str, Any]]:
    """Return the list entry of a rule that is announced before its time (it never rings)."""
    if "foretell" not in rule:
        return []
    if not all_hold(rule.get("when", ()), facts):
        return []
    case = cases_of(rule)[0]
    times = level_times(case, facts, site)
    start = clock_start(case["clock"], facts, site) if times else None
    ahead = length_ms(rule["foretell"], facts)
    if start is None or ahead is None or not start + ahead <= now_ms < min(times.values()):
        return []
    on = to_text(min(times.values()))
    says = fill(rule["foretells"], {**facts, "on": on}, site)
    return [{"watch": rule["id"], "since": to_text(start + ahead), "on": on, "says": says}]


def _finding(rule: Rule, case: dict[str, Any], facts: Facts, site: Site) -> dict[str, Any]:
    kind = facts["kind"]
    times = {name: to_text(case[name]) for name in ("since", "level_since")}
    later = [at for at in case["times"] if at > case["level_since"]]
    words = {**facts, **times, "level": case["level"]}
    return {
        "watch": rule["id"],
        "level": case["level"],
        **times,
        "began": _known(case["began"]),
        "clear_at": _known(case["clear"]),
        "rises_at": _known(min(later, default=None)),
        "ends_at": _known(case["ends"]),
        "subject": {"kind": kind, "id": facts["id"]},
        "lot": facts["id"] if kind == "lot" else None,
        "place": facts["id"] if kind == "place" else facts.get("place"),
        "priority": case.get("priority", rule["priority"]),
        "rings": rule.get("rings") is not False,
        "says": fill(case.get("says") or rule["says"], words, site),
        "next_action": fill(case.get("next_action") or rule["next_action"], words, site),
        "hidden_by": None,
    }


def _known(at_ms: int | None) -> str | None:
    return None if at_ms is None else to_text(at_ms)


def _hide(rules: list[Rule] | tuple[Rule, ...], findings: list[dict[str, Any]]) -> None:
    found = {finding["watch"]: finding for finding in findings}
    for rule in rules:
        for hidden in rule.get("hides", []):
            if rule["id"] in found and hidden in found:
                found[hidden]["hidden_by"] = rule["id"]


def fill(template: str, facts: Facts, site: Site) -> str:
    """Return a sentence with its gaps filled in: `{fact}`, `{fact|date}` or `{fact|time}`.

    Unknown is "?"; `{fact|date|its sowing}` says instead what stands last. `{fact|lot|lots}` is the
    word that goes with a figure.
    """
    parts = template.split("{")
    text = parts[0]
    for part in parts[1:]:
        term, rest = part.split("}", 1)
        path, *shapes = term.split("|")
        text += _shown(fact(facts, path), shapes, site) + rest
    return text


def _shown(value: Any, shapes: list[str], site: Site) -> str:
    shape = shapes[0] if shapes else ""
    if len(shapes) > 1 and (shape not in ("date", "time") or value is None):
        return shape if value == 1 else shapes[1]
    at = instant_ms(value, site) if shape else None
    if at is not None and shape == "time":
        return local_time(at, site["offsets"])
    if at is not None:
        _, month, day = local_date(at, site["offsets"]).split("-")
        return f"{int(day)} {MONTHS.split()[int(month) - 1]}"
    if is_number(value):
        tenths = round_half_up(value * 10) / 10
        text = str(int(tenths)) if tenths == int(tenths) else str(tenths)
        return text.replace("-", "−")
    return str(value) if isinstance(value, str) and value else "?"
