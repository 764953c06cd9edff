"""The Python core and the phone's core are one core: the same random logs, the same answers.

A failure names its seed, the smallest case that still differs, the first path at which the two part
and both results (DEVELOPERS.md says how to go on). LATHHOUSE_PARITY_LOGS asks for more logs than
the gate does, LATHHOUSE_PARITY_SEED for others.
"""

import os
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from itertools import repeat
from multiprocessing import get_context
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.watches import LEVELS, load_rules
from tests.parity.cases import random_cases
from tests.parity.rules import owners_rules, with_a_band
from tests.parity.twins import Case, first_difference, in_browser, in_python, report

LOGS = int(os.environ.get("LATHHOUSE_PARITY_LOGS", "5400"))
FIRST = int(os.environ.get("LATHHOUSE_PARITY_SEED", "0"))
BATCH = 250
SEEN_AT_LEAST = 50


def test_both_cores_give_the_same_answers_on_thousands_of_random_logs(
    core_page: Page, workers: Executor
):
    """Folds, snapshots, overlays, facts, findings and deadlines; every watch is seen often."""
    print(f"seeds {FIRST} to {FIRST + LOGS}")
    seen: Counter[tuple[str, str]] = Counter()
    confirmed = 0
    for first in range(FIRST, FIRST + LOGS, BATCH):
        cases = random_cases(range(first, min(first + BATCH, FIRST + LOGS)))
        results = compared(core_page, workers, cases, with_a_band())
        for case, result in zip(cases, results, strict=True):
            count_changes(result, seen)
            if case["kind"] == "life":
                confirmed += overlay_is_the_fold(case, result)
    assert confirmed > LOGS / 10, f"only {confirmed} overlays took every event"
    print({at: seen[at] for at in sorted(wanted_changes())})
    few = {at: seen[at] for at in wanted_changes() if seen[at] < SEEN_AT_LEAST}
    assert not few, f"too seldom to prove anything: {few}"


def test_both_cores_read_rules_alike_that_an_owner_has_changed_or_made(
    core_page: Page, workers: Executor
):
    for seed in range(FIRST, FIRST + 12):
        print(f"rules of seed {seed}")
        cases = random_cases(range(seed * 30, seed * 30 + 30))
        compared(core_page, workers, cases, owners_rules(seed))


@pytest.fixture(scope="module")
def workers() -> Iterator[Executor]:
    """Processes that run the Python core while the browser runs the other."""
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        yield pool


def compared(page: Page, workers: Executor, cases: list[Case], rules: Any = None) -> list[Any]:
    """Return the results that both cores agree on."""
    working = workers.map(in_python, cases, repeat(rules), chunksize=25)
    theirs = in_browser(page, cases, rules)
    ours = list(working)
    for case, here, there in zip(cases, ours, theirs, strict=True):
        if first_difference(here, there):
            raise AssertionError(report(page, case, rules))
    return ours


def overlay_is_the_fold(case: Case, result: Any) -> bool:
    """Hold the promise of checkpoints; say whether the overlay took all that was new.

    `overlay(snapshot(A), B) = fold(A and B)`, without what is named as older than the checkpoint.
    """
    over, checkpoint_at = result["over"], result["shot"]["checkpoint_at"]
    assert over["lot"] == result["whole"], f"seed {case['seed']}"
    assert result["grown"]["lot"] == result["whole"], f"seed {case['seed']}"
    by_id = {event["id"]: event for event in case["events"]}
    for event_id in over["unconfirmed"]:
        event = by_id[event_id]
        assert event["kind"] in ("amended", "voided") or event["at"] < checkpoint_at
    return not over["unconfirmed"] and case["split"] < len(case["events"])


def count_changes(result: Any, seen: Counter[tuple[str, str]]) -> None:
    """Count how often each watch came to each level, and how often it was over."""
    standing: dict[str, str] = {}
    for stop in result["stops"]:
        now, *near = ({f["watch"]: f["level"] for f in one["findings"]} for one in stop["looks"])
        seen.update(now.items() - standing.items())
        seen.update((watch, "cleared") for watch in standing.keys() - now.keys())
        if near:
            seen.update(near[1].items() - now.items())
        standing = now


def wanted_changes() -> set[tuple[str, str]]:
    """Return every level that a shipped watch can come to, and that it can be cleared."""
    wanted: set[tuple[str, str]] = set()
    for rule in load_rules():
        wanted.add((rule["id"], "cleared"))
        for case in rule.get("cases") or [rule]:
            after = case.get("after") or rule["after"]
            wanted |= {(rule["id"], level) for level in LEVELS if after.get(level) is not None}
    return wanted
