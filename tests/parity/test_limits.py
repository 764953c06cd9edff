"""No figure of a shipped watch can be off by one, and no comparison strict or lax, unnoticed.

Each rule is changed at one place: a figure by one of its unit up and down (a local time by a
minute), `at_least` to `above` and back, true to false. Some row of `tests/golden` must then come to
another level at another instant; what stays as it was is named in `THE_SAME`, with the reason.
Both sides are held to the rows themselves by `test_catalogue.py`, `test_golden.py` and
`test_two_winters.py`.
"""

import copy
import functools
from collections.abc import Iterator
from typing import Any

import pytest

from lathhouse.domain import facts
from lathhouse.domain.corrections import fold_order
from lathhouse.domain.lot import fold
from lathhouse.domain.watches import LEVELS, evaluate, load_rules
from tests.parity.golden import table, watch_case
from tests.parity.test_catalogue import CROPS, ROWS, expected
from tests.parity.test_two_winters import STORIES, case_of, rings
from tests.parity.twins import SITES, _bucket, _facts_of, about, in_python

Rule = dict[str, Any]
Path = tuple[str | int, ...]
# One instant: the kind of subject, its facts, the instant, what the rule must say there.
Look = tuple[str, Any, str, Any]
SWAPPED = {"at_most": "below", "below": "at_most", "at_least": "above", "above": "at_least"}
# Words, and what other tests hold: whether it rings (test_catalogue), what is foretold (there too),
# what tells one occurrence from the next (tests/domain/test_occurrences.py).
WORDS = ("id", "source", "grade", "says", "next_action", "foretells")
NOT_CHANGED = (*WORDS, "foretell", "rings", "anew")
KNOWN = "the facts always say how long a soak is: 24 hours where the crop says nothing"
LAXER = "a looser case also holds then, and the worst of them counts"
NOBODY = "where no lot lives there is nobody to have been seen, and no clock"
# Watch -> {the changed place: why nothing changes}.
THE_SAME: dict[str, dict[str, str]] = {
    "soak-over": {"else": KNOWN},
    "look-due": {"cases 5 when 1 2 3 -> 2": LAXER, "cases 6 when 1 2 7 -> 6": LAXER},
    "round-missing": {"when 0": NOBODY},
    "chamber-band": {
        "cases 2 when 0 1": "a quarter of an hour below nought is over at nought itself"
    },
}


def stops(case: dict[str, Any]) -> list[tuple[str, Any, str]]:
    """Return (kind of subject, facts, instant) of a case, which no change of a rule alters."""
    if case["kind"] != "life":
        return [(case["kind"], _facts_of(case["rows"][n]), now) for n, now, _ in case["stops"]]
    found = []
    ordered = sorted(case["events"], key=fold_order)
    for count, now, _ in case["stops"]:
        lot = fold(case["lot"], about(case["lot"], ordered[:count]), {})
        if lot is None:
            continue
        home = {**case["home"], "offsets": SITES[0]["offsets"]} if "home" in case else None
        beside = [one for one in case.get("spreading", []) if one[1] <= now]
        crop, place = case["crops"].get(lot["crop"]), case.get("place", {"name": "Bench"})
        bucket = _bucket(ordered[:count])
        found.append(("lot", facts.lot_facts(lot, crop, place, bucket, beside, home), now))
    return found


@functools.cache
def looks() -> dict[str, list[tuple[Any, list[Look]]]]:
    """Return {watch: [(the owner's figures if any, looks)]} of all rows of `tests/golden`."""
    found: dict[str, list[tuple[Any, list[Look]]]] = {}

    def add(watch: str, case: dict[str, Any], wanted: list[Any], given: Any = None) -> None:
        said = [(*stop, level) for stop, level in zip(stops(case), wanted, strict=True)]
        found.setdefault(watch, []).append((given, said))

    for row in ROWS:
        case = watch_case({**row, "expected": expected(row)}, CROPS)
        case |= {"home": row["home"]} if "home" in row else {}
        told = [[level, row.get("priority")] if level else None for _, level in expected(row)]
        add(row["watch"], case, told, row.get("given"))
    for row in table("watches")["cases"]:
        case = watch_case(row, table("watches")["crops"])
        add(row["watch"], case, [[level, None] if level else None for _, level in row["expected"]])
    for story in STORIES["cases"]:
        case = case_of(story)
        said = [rings(stop) for stop in in_python(case)["stops"]]
        for watch in ("emergence-none", "emergence-no-count"):
            add(watch, case, [[one[watch], None] if watch in one else None for one in said])
    return found


def holds(rule: Rule) -> bool:
    """Say whether a rule comes to what every row of its watch says."""
    for given, said in looks()[rule["id"]]:
        known = {**rule, "given": given} if given else rule
        for kind, of_it, now, wanted in said:
            found = evaluate([known], kind, of_it, now, SITES[0])["findings"]
            if bool(found) != bool(wanted) or (found and found[0]["level"] != wanted[0]):
                return False
            if wanted and wanted[1] and found[0]["priority"] != wanted[1]:
                return False
    return True


def changes(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any, Any]]:
    """Yield (where, what stands there, what is put there instead)."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if name not in NOT_CHANGED:
                yield from changes(inner, (*path, name))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from changes(inner, (*path, index))
    elif isinstance(value, bool):
        yield path, value, not value
    elif isinstance(value, int | float) and path[-1] != "priority":
        yield from ((path, value, value + by) for by in (1, -1))
    elif isinstance(value, str) and value in SWAPPED:
        yield path, value, SWAPPED[value]
    elif isinstance(value, str) and path[-1] == "local_time":
        minutes = int(value[:2]) * 60 + int(value[3:])
        for other in (minutes + 1, minutes - 1):
            yield path, value, f"{other // 60:02}:{other % 60:02}"


def changed(rule: Rule, path: Path, value: Any) -> Rule:
    found = copy.deepcopy(rule)
    inner: Any = found
    for name in path[:-1]:
        inner = inner[name]
    inner[path[-1]] = value
    return found


def same(rule: Rule, path: Path, old: Any, new: Any) -> bool:
    """Say whether it is known that a change makes no difference."""
    if (old, new) == (0, -1) and path[-2] in LEVELS:
        return True  # Before a clock begins nothing is on record that could be told.
    said = f"{' '.join(str(name) for name in path)} {old} -> {new}"
    return any(where in said for where in THE_SAME.get(rule["id"], {}))


@pytest.mark.parametrize("rule", load_rules(), ids=lambda rule: rule["id"])
def test_every_figure_and_every_comparison_of_a_watch_is_held_by_some_row(rule: Rule):
    assert holds(rule)
    unnoticed = [
        f"{' '.join(str(name) for name in path)}: {old} -> {new}"
        for path, old, new in changes(rule)
        if not same(rule, path, old, new) and holds(changed(rule, path, new))
    ]
    assert unnoticed == []
