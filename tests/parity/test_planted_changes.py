"""The comparison is worth something: a planted change in either twin, or in a rule, fails it."""

import copy
import functools
import random
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from lathhouse.domain import (
    corrections,
    counts,
    facts,
    instants,
    looks,
    lot,
    overlay,
    protocols,
    rule_terms,
    spells,
    stock,
    watches,
)
from lathhouse.domain.watches import load_rules
from tests.browser import FRONTEND, core_page_of
from tests.parity.cases import Case, random_cases
from tests.parity.twins import first_difference, in_browser, in_python

SEEDS = range(400)
AT_ONCE = 50

# In the phone's core: file, what stands there, what is planted.
IN_JAVASCRIPT = {
    "a level holds one millisecond late": (
        "watches.js", "times[level] <= nowMs", "times[level] < nowMs"),
    "the lightest case of a watch counts": (
        "watches.js", "if (!worst || heavier(found, worst))",
        "if (!worst || !heavier(found, worst))"),
    "a look on day 42 itself does not count": (
        "watches.js", "return at >= start +", "return at > start +"),
    "at least is more than": (
        "rule_terms.js", 'if (op === "at_least") return value >= wanted',
        'if (op === "at_least") return value > wanted'),
    "a day is too short": ("instants.js", "DAY_MS = 24 * HOUR_MS", "DAY_MS = 23 * HOUR_MS"),
    "days off count": ("instants.js", "left -= end - at", "left -= 0"),
    "ties go by the highest device": (
        "corrections.js", 'compare(a.device ?? "", b.device ?? "")',
        'compare(b.device ?? "", a.device ?? "")'),
    "a struck void still strikes": (
        "corrections.js", "if (!struck.has(id)) holds.add(id)", "holds.add(id)"),
    "sowing ends an outdoor cold": (
        "spells.js", 'spell.where === "outdoors"', 'spell.where === "fridge"'),
    "a start restarts": ("spells.js", "if (openSpell(lot, kind)) return false;", ""),
    "runs are short": ("looks.js", "const SERIES_MAX = 32", "const SERIES_MAX = 2"),
    "a falling count rises": (
        "counts.js", "if (emerged > before) lot.last_rise_at", "lot.last_rise_at"),
    "less than nothing is left": (
        "stock.js", "Math.max(0, lot.quantity - amount)", "lot.quantity - amount"),
    "a lot at nought is looked after": (
        "walk.js", "&& lot.quantity !== 0", ""),
    "the oldest parent's spell is forgotten": (
        "lot.js", "spell.started_at = starts.filter(Boolean).sort()[0]", "spell.nth = 1"),
    "a maximum is guessed higher": (
        "protocols.js", "WITHOUT_MAXIMUM = 1.5", "WITHOUT_MAXIMUM = 1.6"),
    "a checkpoint swallows a tie": (
        "overlay.js", "ordered[index].at > newest) safe", "ordered[index].at >= newest) safe"),
    "a door rings": ("chambers.js", "if (wrong) return since ?? at", "if (wrong) return at"),
    "alerts are someone else's": (
        "alert_ids.js", "`${watch}|${since}`", "`${watch} ${since}`"),
}  # fmt: skip
# In the Python core: module, name, what it is replaced by.
IN_PYTHON: dict[str, tuple[Any, str, Any]] = {
    "a start closes no warm spell": (
        spells, "CLOSED_BY_START", {**spells.CLOSED_BY_START, "cold": ("soak", "sanitise")}),
    "a soak lasts a day and a half": (protocols, "SOAK_HOURS", 36),
    "the window is narrower": (protocols, "WINDOW_OF_TARGET", (0.6, 1.4)),
    "sow at another figure": (facts, "SOW_AT_SPROUTED_PERCENT", 11),
    "only few looks are kept": (looks, "LOOKS_MAX", 2),
    "a count is nobody's visit": (lot, "SEEN", lot.SEEN - {"counted"}),
    "nobody saw the parent": (lot, "INHERITED", tuple(n for n in lot.INHERITED if n != "seen_at")),
    "the shortest tail is longer": (overlay, "TAIL_MIN", 9),
    "few counts are kept": (counts, "COUNTS_MAX", 1),
    "disagreements are forgotten": (stock, "DISCREPANCIES_MAX", 1),
    "the id decides": (corrections, "fold_order", lambda event: (event["at"], event["id"])),
    "a level comes a millisecond later": (
        watches, "length_ms", lambda spec, known: (rule_terms.length_ms(spec, known) or 0) + 1),
    "numbers are cut, not rounded": (watches, "round_half_up", int),
    "local days begin an hour late": (
        watches, "local_date", lambda ms, offsets: instants.local_date(ms - 3_600_000, offsets)),
}  # fmt: skip
# In a rule that the phone has: watch, field, what is planted there.
IN_RULES: dict[str, tuple[str, str, Any]] = {
    "alarm is a minute later": ("cold-never-looked", "after", {"alarm": {"minutes": 30241}}),
    "it need not be live": ("look-due", "when", []),
    "the start of the cold is no look": ("cold-look", "clock", ["look.at"]),
    "it hides nothing": ("cold-never-looked", "hides", []),
    "another word": ("moisture-dry", "says", "{label}: dry"),
}  # fmt: skip


@functools.cache
def batches() -> list[list[Case]]:
    """Return the logs in which the changes must show, some at a time."""
    cases = random.Random(1).sample(random_cases(SEEDS), k=len(SEEDS) * 3 // 2)
    return [cases[at : at + AT_ONCE] for at in range(0, len(cases), AT_ONCE)]


@functools.cache
def unchanged_python(batch: int) -> list[Any]:
    """Return what the Python core, unchanged, makes of a batch."""
    return [in_python(case) for case in batches()[batch]]


@pytest.fixture(scope="module")
def unchanged_phone(core_page: Page) -> Callable[[int], list[Any]]:
    """What the phone's core, unchanged, makes of a batch."""
    return functools.cache(lambda batch: in_browser(core_page, batches()[batch]))


def they_differ(ours: Callable[[int], Iterable[Any]], theirs: Callable[[int], list[Any]]) -> bool:
    """Say whether the comparison reports anything; it stops at the first that it does."""
    return any(
        first_difference(here, there)
        for batch in range(len(batches()))
        for here, there in zip(ours(batch), theirs(batch), strict=True)
    )


def test_nothing_planted_nothing_reported(unchanged_phone: Callable[[int], list[Any]]):
    assert not they_differ(unchanged_python, unchanged_phone)


@pytest.mark.parametrize("change", IN_JAVASCRIPT)
def test_a_change_planted_in_the_phones_core_is_reported(browser: Browser, change: str):
    name, before, after = IN_JAVASCRIPT[change]
    text = (FRONTEND / "core" / name).read_text(encoding="utf-8")
    assert text.count(before) == 1
    with core_page_of(browser, {f"/core/{name}": text.replace(before, after)}) as page:
        assert they_differ(unchanged_python, lambda batch: in_browser(page, batches()[batch]))


@pytest.mark.parametrize("change", IN_PYTHON)
def test_a_change_planted_in_the_python_core_is_reported(
    unchanged_phone: Callable[[int], list[Any]], monkeypatch: pytest.MonkeyPatch, change: str
):
    module, name, planted = IN_PYTHON[change]
    monkeypatch.setattr(module, name, planted)
    assert they_differ(lambda batch: map(in_python, batches()[batch]), unchanged_phone)


@pytest.mark.parametrize("change", IN_RULES)
def test_a_change_planted_in_a_rule_is_reported(
    unchanged_phone: Callable[[int], list[Any]], change: str
):
    watch, field, planted = IN_RULES[change]
    changed = copy.deepcopy(load_rules())
    next(rule for rule in changed if rule["id"] == watch)[field] = planted

    def ours(batch: int) -> Iterable[Any]:
        return (in_python(case, changed) for case in batches()[batch])

    assert they_differ(ours, unchanged_phone)
