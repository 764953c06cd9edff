"""Reads the hand-written examples of `tests/golden` into cases that both cores run."""

import json
import re
from pathlib import Path
from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, parse_instant, to_ms, to_text
from tests.parity.logs import CHILD, LOT, PARENTS
from tests.parity.twins import Case, Event

FOLDER = Path(__file__).parent.parent / "golden"
PARTS = ("lots", "left_at", "readings", "stock")
DAY_NOUGHT = parse_instant("2026-05-01T08:00:00Z")
UNITS = {"day": DAY_MS, "hour": HOUR_MS, "minute": MINUTE_MS}
AFTER_DAY_NOUGHT = re.compile(r"(day|hour|minute) (\d+)( - 1 ms)?")
NAMES = {"LOT": LOT, "CHILD": CHILD, "PARENT1": PARENTS[0], "PARENT2": PARENTS[1]}


def table(name: str) -> dict[str, Any]:
    """Return one file of examples, its times and names spelled out."""
    text = (FOLDER / f"{name}.json").read_text(encoding="utf-8")
    found: dict[str, Any] = spelled_out(json.loads(text))
    return found


def spelled_out(value: Any) -> Any:
    """Return a value with its times ("day 3", "hour 5 - 1 ms") and its names spelled out."""
    if isinstance(value, dict):
        return {NAMES.get(key, key): spelled_out(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [spelled_out(inner) for inner in value]
    match = AFTER_DAY_NOUGHT.fullmatch(value) if isinstance(value, str) else None
    if not match:
        return NAMES.get(value, value) if isinstance(value, str) else value
    unit, number, just_before = match.groups()
    return to_text(DAY_NOUGHT + int(number) * UNITS[unit] - bool(just_before))


def log_of(
    events: list[Event], *, lot: str = LOT, crop: str = "example", start: bool = True
) -> list[Event]:
    """Return whole events; without a start of its own a log begins with 100 seeds on day 0."""
    first = {
        "id": "start",
        "kind": "lot_started",
        "at": to_text(DAY_NOUGHT),
        "data": {"crop": crop, "label": "A", "quantity": 100, "unit": "seeds"},
    }
    told = [first, *events] if start else events
    plain = {"device": "a", "lot": lot, "by": None, "data": {}}
    return [{**plain, "id": f"e{n}", "seq": n, **event} for n, event in enumerate(told)]


def life_of(example: dict[str, Any], crops: dict[str, Any], stops: list[Any]) -> Case:
    """Return the case of an example about a lot."""
    start = not example.get("without_start")
    crop = example.get("crop", "example")
    events = log_of(example["events"], crop=crop, start=start)
    parents = {
        name: log_of(told, lot=name, crop=crop)
        for name, told in (example.get("parents") or {}).items()
    }
    named = {"kind": "life", "seed": example["name"], "site": 0, "lot": LOT, "child": CHILD}
    log = {"events": events, "split": len(events), "parents": parents, "crops": crops}
    log |= {"spreading": example.get("spreading", [])}
    log |= {"place": example.get("stands_in", {"name": "Bench"})}
    return {**named, **log, "stops": stops}


def watch_case(example: dict[str, Any], crops: dict[str, Any]) -> Case:
    """Return the case of an example about a watch: what it says at each of its instants."""
    instants = [at for at, _ in example["expected"]]
    kind = next(
        (kind for kind in ("place", "nursery", "phone", "solution") if kind in example), None
    )
    if kind is None:
        case = life_of(example, crops, [])
        ordered = sorted(case["events"], key=lambda event: str(event["at"]))
        # What is not yet recorded at an instant is not known then.
        known = [sum(to_ms(event["at"]) <= to_ms(at) for event in ordered) for at in instants]
        return {**case, "stops": [[n, at, False] for n, at in zip(known, instants, strict=True)]}
    row = {
        "lots": [],
        **{part: example[part] for part in (kind, *PARTS) if part in example},
    }
    # What the row says from some instant on: another visit, another reading.
    then = example.get("then", {"at": None})
    rows = [row, {**row, **{part: then[part] for part in then if part != "at"}}]
    stops = [[int(then["at"] is not None and at >= then["at"]), at, False] for at in instants]
    return {"kind": kind, "seed": example["name"], "site": 0, "rows": rows, "stops": stops}


def missing_from(found: Any, expected: Any, path: str = "") -> str | None:
    """Return where `found` says something else than `expected`, which may name only some fields."""
    if isinstance(expected, dict) and isinstance(found, dict):
        inner = [
            missing_from(found.get(key, "nothing"), value, f"{path}.{key}")
            for key, value in expected.items()
        ]
    elif isinstance(expected, list) and isinstance(found, list) and len(found) == len(expected):
        pairs = enumerate(zip(found, expected, strict=True))
        inner = [missing_from(one, other, f"{path}[{n}]") for n, (one, other) in pairs]
    else:
        return None if found == expected else f"{path}: {found!r}, not {expected!r}"
    return next((where for where in inner if where), None)
