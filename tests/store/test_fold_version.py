"""Whoever changes what a log comes to raises `FOLD_VERSION`, or records kept so far stay as they
were until they are touched. What frozen logs come to stands beside the number, as a hash.

To put a new one there, once the number is raised:
    PYTHONPATH=backend python -m tests.store.test_fold_version
"""

import hashlib
import json
from pathlib import Path
from typing import Any

from lathhouse.domain.corrections import effective
from lathhouse.domain.facts import is_live, phase
from lathhouse.domain.lot import ACTS
from lathhouse.domain.neighbours import spreading_since
from lathhouse.domain.overlay import FOLD_VERSION, snapshot
from lathhouse.domain.rows import ANSWERS, PLACE_KINDS, about
from lathhouse.domain.solutions import SOLUTION_KINDS
from lathhouse.domain.tender import weather_entry
from lathhouse.store.config import fold_row

FILE = Path(__file__).parent.parent / "golden" / "fold_version.json"
# About a place only, or about what is no lot.
ROW_ONLY = {"round_closed", "solution_mixed", "solution_discarded"}


def folded(told: dict[str, Any]) -> Any:
    """Return all that is kept of a frozen log: a lot and what stands beside it, or a row."""
    events = told["events"]
    if "lot" not in told:
        return fold_row("home", tuple(told["row"]), {"id": told["row"][1], **told["is"]}, events)
    kept = snapshot(told["lot"], events)
    lot = kept["lot"]
    if lot is None:
        return [kept, None]
    return [kept, weather_entry(lot, None, phase(lot)), spreading_since(lot), is_live(lot)]


def hash_of(frozen: dict[str, Any]) -> str:
    found = [folded(told) for told in frozen["logs"]]
    return hashlib.sha256(json.dumps(found, sort_keys=True).encode()).hexdigest()


def test_what_frozen_logs_come_to_belongs_to_this_number_of_the_fold():
    frozen = json.loads(FILE.read_text("utf-8"))
    says = (
        "A log comes to something else than it did. Where that is meant, raise FOLD_VERSION in "
        "domain/overlay.py, so that kept records are folded again at the next start, and put the "
        "new hash into tests/golden/fold_version.json as this file's head says."
    )
    assert frozen["sha256"][str(FOLD_VERSION)] == hash_of(frozen), says
    assert max(map(int, frozen["sha256"])) == FOLD_VERSION, says


def test_every_kind_that_is_folded_stands_in_a_frozen_log():
    """A new kind is stored whole by older versions and not folded: it changes the fold too."""
    frozen = json.loads(FILE.read_text("utf-8"))
    told = {event["kind"] for log in frozen["logs"] for event in log["events"]}
    folded_kinds = {*ACTS, *ANSWERS, *PLACE_KINDS, *SOLUTION_KINDS, "treated", "amended", "voided"}
    assert sorted(folded_kinds - told) == [], "freeze a log of it, and raise FOLD_VERSION"
    for log in frozen["logs"]:
        if "row" in log:
            kind, subject = log["row"]
            assert about(kind, subject, effective(log["events"]), "home"), log["row"]


if __name__ == "__main__":
    stored = json.loads(FILE.read_text("utf-8"))
    stored["sha256"][str(FOLD_VERSION)] = hash_of(stored)
    lines = [json.dumps(log, separators=(",", ":")) for log in stored.pop("logs")]
    head = json.dumps(stored, indent=1)[:-2]
    FILE.write_text(head + ',\n "logs": [\n' + ",\n".join(lines) + "\n]}\n", "utf-8")
