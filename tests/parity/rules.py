"""Watches as an owner might leave them: limits changed, for one crop too, off, invented."""

import copy
import random
from typing import Any

from lathhouse.domain.rule_check import check_rule
from lathhouse.domain.watches import load_rules
from tests.parity.logs import CROPS

Rule = dict[str, Any]
FACTS = (
    "quantity", "container_l", "last.moisture.value", "last.fungus.value", "emerged.count", "phase",
    "cold.nth", "soak.target_hours", "crop_facts.double", "no.such.fact", "label", "place", "unit",
    "closed", "conflict.percent", "cold.where", "stage",
)  # fmt: skip
CLOCKS = (
    ["seen_at"], ["stage_since"], ["cold.started_at", "look.at"], ["label", "seen_at"],
    ["window.opens_at", "held_until"], ["potted_at"], ["sown_at", "last_watered_at", "no.fact"],
    {"run_of": "moisture", "below": 3}, {"run_of": "fungus", "is_not": "none"},
    {"run_of": "sprouted_percent", "above": {"fact": "crop_facts.sow_at_sprouted_percent"}},
    {"working_day_after": "seen_at"}, {"midwinter_after": "stage_since", "nth": 2},
    {"run_of": "moisture", "outside": [{"fact": "given.low"}, {"fact": "given.high"}], "nth": 2},
)  # fmt: skip
WANTED = (0, 1, 3, 100, 37.5, True, False, "pots", "none", "outdoors", None, {"fact": "quantity"})


def owners_rules(seed: int) -> list[Rule]:
    """Return the shipped watches with an owner's changes, and a few of the owner's own."""
    pick = random.Random(f"rules {seed}")
    rules = copy.deepcopy(list(load_rules()))
    for rule in rules:
        if rule.get("fixed") or "after" not in rule:
            continue
        change = pick.random()
        if change < 0.2:
            rule["after"] = limits(pick)
        elif change < 0.4:
            rule["crops"] = {crop: {"after": limits(pick)} for crop in pick.sample(CROPS, 2)}
            rule["places"] = {place: {"after": limits(pick)} for place in ("p1", "p3")}
        elif change < 0.45:
            rule["enabled"] = False
        elif change < 0.5:
            rule["counts"] = pick.choice(["working_days", "growth"])
    rules += [invented(pick, number) for number in range(6)]
    pick.shuffle(rules)
    for rule in rules:
        check_rule(rule)
    return rules


def with_a_band() -> list[Rule]:
    """Return the shipped watches as an owner leaves them who has set a band for the feed."""
    rules = copy.deepcopy(list(load_rules()))
    band = {"ec_low_ms_cm": 0.5, "ec_high_ms_cm": 2.5, "ph_low": None, "ph_high": 6.5}
    return [{**rule, "given": band} if rule["id"] == "ec-band" else rule for rule in rules]


def limits(pick: random.Random) -> Rule:
    """Return how long until each level, some of them never."""
    return {
        level: pick.choice([length(pick), length(pick), None]) if level != "alarm" else length(pick)
        for level in ("due", "late", "alarm")
    }


def length(pick: random.Random) -> Rule:
    """Return a length of time, of each form that there is."""
    plain = {pick.choice(["days", "hours", "minutes"]): pick.choice([0, 0.5, 1, 7, 33, 10_000])}
    fact = {"fact": pick.choice(FACTS), "unit": pick.choice(["days", "hours"])}
    return pick.choice([
        plain, plain, plain, {"days": 1, "hours": 1.25, "minutes": 0.1}, {"local_time": "14:30"},
        fact, {**fact, "else": plain}, {"at": pick.choice(FACTS), "less": plain},
        {"at": "window.closes_at", "less": {"days": 3}},
        {**fact, "times": 4, "over": 3, "plus": plain},
    ])  # fmt: skip


def condition(pick: random.Random) -> list[Any]:
    """Return a condition of any relation."""
    op = pick.choice("known unknown is is_not at_least above at_most below in not_in".split())
    if op in ("known", "unknown"):
        return [pick.choice(FACTS), op]
    wanted = pick.sample([3, "pots", "cold", 100, False], 2) if "in" in op else pick.choice(WANTED)
    return [pick.choice(FACTS), op, [3] if op in ("in", "not_in") and wanted is None else wanted]


def invented(pick: random.Random, number: int) -> Rule:
    """Return a watch that nobody foresaw."""
    hides = {"hides": [pick.choice(["look-due", "cold-look", "no-such-watch"])]}
    foretell = {"foretell": {"hours": 5}, "foretells": "{label} on {on|date} at {on|time}"}
    unless = {"unless": [{"fact": "look.at", "from": "started_at", "plus": length(pick)}]}
    unless["unless"][0]["plus"].pop("local_time", None)
    until = {"until": pick.choice(["window.closes_at", "held_until", "label"])}
    rule: Rule = {
        "id": f"invented-{number}",
        "subjects": pick.choice([["lot"], ["lot", "place"], ["phone", "nursery"]]),
        "priority": pick.choice([1, 2, 3, 4]),
        "when": [condition(pick) for _ in range(pick.randint(0, 2))],
        "clock": pick.choice(CLOCKS),
        "after": limits(pick),
        "says": "{label} {quantity} {last.moisture.at|time} {seen_at|date} {no.such|date} {level}",
        "next_action": "Do {phase} since {since|date} {since|time}",
    }
    counts = {"counts": pick.choice(["working_days", "growth"])}
    given = {"given": {"low": pick.choice([1, None]), "high": 3}, "rings": False}
    for extra in (hides, foretell, unless, until, counts, given):
        if pick.random() < 0.25:
            rule |= extra
    if pick.random() < 0.4:
        rule["cases"] = [
            {"when": [condition(pick)], "after": limits(pick), "priority": pick.choice([1, 4])}
            for _ in range(pick.randint(1, 3))
        ]
    return rule
