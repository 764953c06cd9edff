"""Runs the same cases through both cores and says where they first part."""

import json
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page

from lathhouse.domain import facts, protocols
from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.lot import fold, start_from
from lathhouse.domain.overlay import overlay, snapshot
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import evaluate, load_rules
from tests.parity.logs import CHILD, LOT

Case = dict[str, Any]
SITE = {
    "offsets": [["2025-10-04T16:00:00.000Z", 660], ["2026-04-04T16:00:00.000Z", 600],
                ["2026-10-03T16:00:00.000Z", 660]],
    "working_days": [1, 2, 3, 4, 5, 6],
}  # fmt: skip
DEADLINES = 7

JAVASCRIPT = """
async (text) => {
  const at = (name) => import(`/core/${name}.js`);
  const [lots, overlays, facts, watches, protocols, instants] = await Promise.all(
    ["lot", "overlay", "facts", "watches", "protocols", "instants"].map(at));
  const { cases, rules, crops, site, deadlines } = JSON.parse(text);
  const parents = new Map();
  const evaluations = (subject, known, start) => {
    const found = [];
    let now = start;
    for (let n = 0; n < deadlines && now; n += 1) {
      const here = watches.evaluate(rules, subject, known, now, site);
      found.push([now, here]);
      const ms = instants.toMs(now);
      for (const by of [-1, 1]) {
        const near = instants.toText(ms + by);
        found.push([near, watches.evaluate(rules, subject, known, near, site)]);
      }
      now = here.next_deadline;
    }
    return found;
  };
  const life = (one) => {
    const inherited = one.parent ? lots.startFrom([lots.fold("P", one.parent)]) : null;
    const lot = lots.fold(one.lot, one.events, inherited);
    const shot = overlays.snapshot(one.lot, one.events.slice(0, one.split), inherited);
    const over = overlays.overlay(shot, one.events.slice(one.split));
    const child = lots.fold(one.child, one.events, lots.startFrom([lot]));
    if (!lot) return { lot, shot, over, child };
    const crop = crops[lot.crop] ?? null;
    const known = facts.lotFacts(lot, crop, null);
    return {
      lot, shot, over, child, known,
      window: protocols.windowOf(lot, crop), next: protocols.nextStep(lot, crop),
      step: protocols.stepOf(lot, crop), progress: protocols.progress(lot, crop, one.start),
      evaluations: evaluations("lot", known, one.start),
    };
  };
  const run = (one) => {
    if (one.kind === "life") return life(one);
    const known = {
      place: () => facts.placeFacts(one.place, one.lots),
      nursery: () => facts.nurseryFacts(one.place, one.lots),
      phone: () => facts.phoneFacts(one.phone),
    }[one.kind]();
    return { known, evaluations: evaluations(one.kind, known, one.start) };
  };
  return JSON.stringify(cases.map(run));
}
"""


def in_python(case: Case, rules: Any = None) -> Any:
    """Return what the Python core makes of a case."""
    rules = rules or load_rules()
    if case["kind"] == "life":
        return _life(case, rules)
    known = {
        "place": lambda: facts.place_facts(case["place"], case["lots"]),
        "nursery": lambda: facts.nursery_facts(case["place"], case["lots"]),
        "phone": lambda: facts.phone_facts(case["phone"]),
    }[case["kind"]]()
    return {"known": known, "evaluations": _evaluations(rules, case["kind"], known, case["start"])}


def _life(case: Case, rules: Any) -> Any:
    inherited = start_from([fold("P", case["parent"]) or {}]) if case["parent"] else None
    lot = fold(case["lot"], case["events"], inherited)
    shot = snapshot(case["lot"], case["events"][: case["split"]], inherited)
    over = overlay(shot, case["events"][case["split"] :])
    child = fold(CHILD, case["events"], start_from([lot or {}]))
    found = {"lot": lot, "shot": shot, "over": over, "child": child}
    if lot is None:
        return found
    crop = load_crops().get(lot["crop"])
    known = facts.lot_facts(lot, crop)
    return {
        **found,
        "known": known,
        "window": protocols.window(lot, crop),
        "next": protocols.next_step(lot, crop),
        "step": protocols.step_of(lot, crop),
        "progress": protocols.progress(lot, crop, case["start"]),
        "evaluations": _evaluations(rules, "lot", known, case["start"]),
    }


def _evaluations(rules: Any, subject: str, known: Any, start: str) -> list[Any]:
    """Evaluate at the start and at each deadline that follows, and a millisecond to each side."""
    found, now = [], start
    for _ in range(DEADLINES):
        if now is None:
            break
        here = evaluate(rules, subject, known, now, SITE)
        found.append([now, here])
        for by in (-1, 1):
            near = to_text(to_ms(now) + by)
            found.append([near, evaluate(rules, subject, known, near, SITE)])
        now = here["next_deadline"]
    return found


def in_browser(page: Page, cases: list[Case], rules: Any = None) -> list[Any]:
    """Return what the phone's core, in a real browser, makes of the cases."""
    used = {case["events"][0]["data"].get("crop") for case in cases if case["kind"] == "life"}
    crops = {name: crop for name, crop in load_crops().items() if name in used}
    sent = {"cases": cases, "rules": rules or load_rules(), "crops": crops, "site": SITE}
    text = json.dumps({**sent, "deadlines": DEADLINES})
    found: list[Any] = json.loads(page.evaluate(JAVASCRIPT, text))
    return found


def first_difference(ours: Any, theirs: Any, path: str = "") -> str | None:
    """Return the first path at which two results part, with both values, or None."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        for key in sorted({*ours, *theirs}):
            if key not in ours or key not in theirs:
                return f"{path}.{key}: only in {'JavaScript' if key in theirs else 'Python'}"
            found = first_difference(ours[key], theirs[key], f"{path}.{key}")
            if found:
                return found
        return None
    if isinstance(ours, list | tuple) and isinstance(theirs, list):
        if len(ours) != len(theirs):
            return f"{path}: Python has {len(ours)}, JavaScript {len(theirs)}"
        pairs = enumerate(zip(ours, theirs, strict=True))
        return next(
            (d for i, (a, b) in pairs if (d := first_difference(a, b, f"{path}[{i}]"))), None
        )
    same = ours == theirs and isinstance(ours, bool) == isinstance(theirs, bool)
    return None if same else f"{path}: Python {ours!r}, JavaScript {theirs!r}"


def shrink(case: Case, differs: Callable[[Case], bool]) -> Case:
    """Return a smaller log that still differs, event by event, so that a person can read it."""
    if case["kind"] != "life":
        return case
    index = 0
    while index < len(case["events"]):
        events = case["events"][:index] + case["events"][index + 1 :]
        smaller = {**case, "events": events, "split": min(case["split"], len(events))}
        if events and differs(smaller):
            case = smaller
        else:
            index += 1
    return case


def life(seed: int, events: list[Any], split: int, start: str, parent: Any) -> Case:
    """Return the case of one lot's log."""
    case = {"kind": "life", "seed": seed, "lot": LOT, "events": events, "split": split}
    return {**case, "child": CHILD, "start": start, "parent": parent}
