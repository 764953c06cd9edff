"""The chain over the log: each entry's hash holds the one before it, so that a changed or missing
entry shows, and which was the first. Pure.

A chain proves nothing against somebody who can write the whole of it anew; the heads that were
given away before (to phones, in backups) do.
"""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

Entry = dict[str, Any]

# What a chain begins with, before its first entry.
START = "0" * 64
WHOLE = ""
FIELDS = ("position", "id", "device_id", "seq", "kind", "lot_id", "of_id", "at", "hash", "body")
CANONICAL = json.JSONEncoder(separators=(",", ":"), ensure_ascii=True)


def link(head: str, entry: Entry) -> str:
    """Return the SHA-256 (hex) of a chain's head and one entry's every stored field."""
    text = CANONICAL.encode([head, *(entry[name] for name in FIELDS)])
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass
class Chains:
    """The heads of the whole log's chain and of each device's, and how long they are."""

    heads: dict[str, str] = field(default_factory=dict)
    lengths: dict[str, int] = field(default_factory=dict)

    def head(self, of: str) -> str:
        """Return the head of a device's chain, or of the whole log's (`WHOLE`)."""
        return self.heads.get(of, START)

    def add(self, entry: Entry) -> tuple[str, str]:
        """Go on with one entry; return (the whole log's head, its device's)."""
        for of in (WHOLE, entry["device_id"]):
            self.heads[of] = link(self.head(of), entry)
            self.lengths[of] = self.lengths.get(of, 0) + 1
        return self.heads[WHOLE], self.heads[entry["device_id"]]


def first_breaks(entries: Iterable[Entry], kept: Chains) -> list[str]:
    """Return in words the first place at which each chain parts from what was kept; empty if none.

    Args:
        entries: the log by position, each with `chain` and `device_chain`.
        kept: the heads and lengths that stand beside the log.
    """
    made, found, broken = Chains(), [], set()
    last = 0
    for entry in entries:
        missing = range(last + 1, entry["position"])
        last = entry["position"]
        heads = dict(zip((WHOLE, entry["device_id"]), made.add(entry), strict=True))
        stored = {WHOLE: entry["chain"], entry["device_id"]: entry["device_chain"]}
        for of, head in heads.items():
            if of not in broken and stored[of] != head:
                broken.add(of)
                found.append(_parted(of, entry, missing))
    return found + _cut_off(made, kept, broken)


def _parted(of: str, entry: Entry, missing: range) -> str:
    where = f"event {entry['id']} ({entry['kind']} of {entry['at']}, number {entry['seq']}"
    where += f" of device {entry['device_id']}, position {entry['position']})"
    chain = f"the chain of device {of}" if of else "the log's chain"
    if missing and not of:
        return f"{chain}: {len(missing)} removed right before {where}"
    return f"{chain}: parts at {where}: it was altered, or the one before it removed"


def _cut_off(made: Chains, kept: Chains, broken: set[str]) -> list[str]:
    found = []
    for of in sorted(kept.lengths.keys() | made.lengths.keys()):
        chain = f"the chain of device {of}" if of else "the log's chain"
        short = kept.lengths.get(of, 0) - made.lengths.get(of, 0)
        if of in broken:
            continue
        if short > 0:
            found.append(f"{chain}: its last {short} events were removed")
        elif short < 0 or made.head(of) != kept.head(of):
            found.append(f"{chain}: its head is not what its events give")
    return found
