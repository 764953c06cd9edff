"""Runs the same cases through both cores and says where they first part."""

import json
import re
from collections.abc import Callable, Sequence
from functools import reduce
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from lathhouse.domain import bench, chambers, facts, protocols, rows
from lathhouse.domain.corrections import effective, fold_order
from lathhouse.domain.ids import alert_id
from lathhouse.domain.instants import offsets_of, parse_instant, to_ms, to_text
from lathhouse.domain.lot import fold, start_from
from lathhouse.domain.overlay import grow, overlay, snapshot
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.solutions import SOLUTION_KINDS, new_solution, solution_state
from lathhouse.domain.watches import evaluate, load_rules
from lathhouse.domain.weather_facts import NO_STOCK
from tests.parity.logs import BUCKET, CROPS

Case = dict[str, Any]
Event = dict[str, Any]
Rules = Sequence[dict[str, Any]]

JAVASCRIPT = (Path(__file__).parent / "run_cases.js").read_text(encoding="utf-8")
ZONES = {
    "Australia/Sydney": [1, 2, 3, 4, 5, 6],
    "America/New_York": [1, 2, 3, 4, 5],
    "Asia/Kathmandu": [7, 1, 2, 3, 4, 5],
    "Australia/Lord_Howe": [2],
    "Europe/London": [],
}
YEARS = (parse_instant("2025-07-01T00:00:00Z"), parse_instant("2027-07-01T00:00:00Z"))
SITES = [
    {
        "offsets": offsets_of(zone, *YEARS),
        "working_days": days,
        "hemisphere": "south" if zone.startswith("Australia") else "north",
    }
    for zone, days in ZONES.items()
]


def about(lot: str, events: Sequence[Event]) -> list[Event]:
    """Return the events that a lot's log holds; corrections are about whatever they name."""
    return [event for event in events if _is_about(lot, event)]


def _is_about(lot: str, event: Event) -> bool:
    kind, data = event["kind"], event.get("data") or {}
    if event["lot"] == lot or kind in ("amended", "voided"):
        return True
    if kind == "lot_started":
        return lot in (data.get("parents") or []) or data.get("parent") == lot
    return bool(kind == "potted_on" and data.get("into") == lot)


def in_python(case: Case, rules: Rules | None = None) -> Any:
    """Return what the Python core makes of a case."""
    rules = rules or load_rules()
    return _life(case, rules) if case["kind"] == "life" else _history(case, rules)


def _life(case: Case, rules: Rules) -> Any:
    lot_id, events = case["lot"], case["events"]
    parents = [fold(name, about(name, log)) for name, log in case["parents"].items()]
    inherited = start_from([parent for parent in parents if parent])
    before = about(lot_id, events[: case["split"]])
    after = about(lot_id, events[case["split"] :])
    lot = fold(lot_id, about(lot_id, events), inherited)
    shot = snapshot(lot_id, before, inherited)
    over = overlay(shot, after)
    sure = [event for event in after if event["id"] not in over["unconfirmed"]]
    known = {event["id"] for event in sure}
    tail = [event for event in shot["tail"] if event["id"] not in known]
    return {
        "lot": lot,
        "shot": shot,
        "over": over,
        "grown": grow(shot["checkpoint"], [*tail, *sure], shot["checkpoint_at"]),
        "whole": fold(lot_id, [*before, *sure], inherited),
        "child": fold(case["child"], about(case["child"], events), start_from([lot or {}])),
        "inherited": inherited,
        "stops": [stop for stop in _stops(case, inherited, rules) if stop],
    }


def _stops(case: Case, inherited: Any, rules: Rules) -> list[Any]:
    ordered = sorted(case["events"], key=fold_order)
    found: list[Any] = []
    for count, now, around in case["stops"]:
        then = fold(case["lot"], about(case["lot"], ordered[:count]), inherited)
        if then is None:
            continue
        crop = case.get("crops", load_crops()).get(then["crop"])
        bucket = _bucket(ordered[:count])
        beside = [one for one in case.get("spreading", []) if one[1] <= now]
        place = case.get("place", {"name": "Bench"})
        offsets = SITES[case["site"]]["offsets"]
        home = {**case["home"], "offsets": offsets} if "home" in case else None
        known = facts.lot_facts(then, crop, place, bucket, beside, home)
        found.append(
            {
                "facts": known,
                "step": protocols.step_of(then, crop),
                "next": protocols.next_step(then, crop),
                "progress": protocols.progress(then, crop, now),
                "bench": bench.bench_row(then, crop),
                "bucket": bucket,
                "state": solution_state(bucket, now),
                "looks": _looks(case, known, now, around, rules),
            }
        )
    return found


def _bucket(events: Sequence[Event]) -> Any:
    """Return the row of the bucket that lots of these logs are dipped in."""
    named = [e for e in events if (e.get("data") or {}).get("solution") == BUCKET]
    told = [e for e in named if e["kind"] in SOLUTION_KINDS]
    fixed = [e for e in events if e["kind"] in ("amended", "voided")]
    found = [e for e in effective([*told, *fixed]) if e["kind"] in SOLUTION_KINDS]
    return rows.go_on(new_solution(BUCKET), found)


def _history(case: Case, rules: Rules) -> Any:
    found = []
    for index, now, around in case["stops"]:
        known = _facts_of(case["rows"][index])
        found.append({"facts": known, "looks": _looks(case, known, now, around, rules)})
    return {"stops": found}


def _facts_of(row: dict[str, Any]) -> Any:
    if "solution" in row:
        return facts.solution_facts(row["solution"])
    if "phone" in row:
        return facts.phone_facts(row["phone"])
    standing = facts.standing(row["lots"], row.get("left_at"))
    if "nursery" in row:
        return facts.nursery_facts(row["nursery"], standing, row.get("stock") or NO_STOCK)
    settings = chambers.settings_of(row["place"].get("chamber"))
    state = None
    if row.get("readings"):
        read = row["readings"]
        state = reduce(lambda s, r: chambers.read(s, *r, settings), read, chambers.new_state())
    place = {**row["place"], "chamber_state": state}
    return facts.place_facts(place, standing, row.get("stock") or NO_STOCK)


def _looks(case: Case, known: Any, now: str, around: bool, rules: Rules) -> list[Any]:
    """Evaluate at an instant, at the deadline that follows, and a millisecond to each side."""
    here = _look(case, known, now, rules)
    ahead = here["next_deadline"] if around else None
    near = [to_text(to_ms(ahead) + by) for by in (-1, 0, 1)] if ahead else []
    return [here, *(_look(case, known, at, rules) for at in near)]


def _look(case: Case, known: Any, now: str, rules: Rules) -> Any:
    subject = "lot" if case["kind"] == "life" else case["kind"]
    found = evaluate(rules, subject, known, now, SITES[case["site"]])
    ids = [alert_id(known["id"], one["watch"], one["since"]) for one in found["findings"]]
    return {"now": now, **found, "ids": ids}


def in_browser(page: Page, cases: list[Case], rules: Rules | None = None) -> list[Any]:
    """Return what the phone's core, in a real browser, makes of the cases."""
    crops = {crop: load_crops().get(crop) for crop in CROPS}
    sent = {"cases": cases, "rules": rules or load_rules(), "crops": crops, "sites": SITES}
    found: list[Any] = json.loads(page.evaluate(JAVASCRIPT, json.dumps(sent)))
    return found


def called_in_browser(page: Page, module: str, name: str, *args: Any) -> dict[str, Any]:
    """Return {value} of one function of the phone's core, or {refused: the error's name}.

    An argument `{"hex": …}` stands for bytes.
    """
    call = {"kind": "call", "module": module, "name": name, "args": args}
    return dict(in_browser(page, [call])[0])


def first_difference(ours: Any, theirs: Any) -> str | None:
    """Return the first path at which two results part, with both values, or None."""
    return None if _canonical(ours) == _canonical(theirs) else _where(_plain(ours), theirs, "")


def _canonical(value: Any) -> str:
    # JavaScript knows no 4.0, and JSON makes no difference between 4.0 and 4.
    return re.sub(r"(?<=\d)\.0(?=[,\]}])", "", json.dumps(value, sort_keys=True))


def _plain(value: Any) -> Any:
    return json.loads(json.dumps(value))


def _where(ours: Any, theirs: Any, path: str) -> str:
    if isinstance(ours, dict) and isinstance(theirs, dict):
        for key in sorted({*ours, *theirs}):
            if key not in ours or key not in theirs:
                side, value = ("JavaScript", theirs) if key in theirs else ("Python", ours)
                return f"{path}.{key}: only in {side}, {value[key]!r}"
            if _canonical(ours[key]) != _canonical(theirs[key]):
                return _where(ours[key], theirs[key], f"{path}.{key}")
    if isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        for index, (one, other) in enumerate(zip(ours, theirs, strict=True)):
            if _canonical(one) != _canonical(other):
                return _where(one, other, f"{path}[{index}]")
    return f"{path}: Python {ours!r}, JavaScript {theirs!r}"


def shrink(case: Case, differs: Callable[[Case], bool]) -> Case:
    """Return a smaller case that still differs, so that a person can read it."""
    for smaller in _without_parts(case):
        if differs(smaller):
            return shrink(smaller, differs)
    return case


def _without_parts(case: Case) -> list[Case]:
    found = [{**case, "stops": [stop]} for stop in case["stops"] if len(case["stops"]) > 1]
    if case["kind"] != "life":
        return found
    if case["stops"]:
        found.append({**case, "stops": []})
    if case["parents"]:
        found.append({**case, "parents": {}})
    for index, gone in enumerate(case["events"]):
        events = [event for event in case["events"] if event is not gone]
        split = case["split"] - (index < case["split"])
        found.append({**case, "events": events, "split": split})
    return found


def report(page: Page, case: Case, rules: Rules | None = None) -> str:
    """Return what a person needs to mend a difference: seed, least log, path, both results."""

    def difference(one: Case) -> str | None:
        return first_difference(in_python(one, rules), in_browser(page, [one], rules)[0])

    small = shrink(case, lambda one: bool(one.get("events", True)) and difference(one) is not None)
    return (
        f"seed {case['seed']}, {difference(small)}\n"
        f"case: {json.dumps(small)}\n"
        f"Python: {json.dumps(in_python(small, rules))}\n"
        f"JavaScript: {json.dumps(in_browser(page, [small], rules)[0])}"
    )
