"""A saved file as a phone writes it, in Python: `tests/golden/saved_file.json` pins both to one."""

import json
from typing import Any

from lathhouse.domain.saved_file import checksum


def write_saved_file(held: dict[str, Any]) -> str:
    """Return the text of a file that holds `events`, `refused`, `unreadable` and `photos`."""
    records: list[dict[str, Any]] = [
        *({"event": event} for event in held["events"]),
        *({"refused": one["event"], "problem": one["problem"]} for one in held.get("refused", ())),
        *({"unreadable": key} for key in held.get("unreadable", ())),
        *held.get("photos", ()),
    ]
    head = {"lathhouse": "unsent", "form": 2 if held.get("photos") else 1}
    head |= {name: held[name] for name in ("site", "device", "made_at", "skew_ms")}
    head["lines"] = len(records) + 2
    before = "".join(f"{_line(one)}\n" for one in (head, *records))
    return before + _line({"lines": len(records) + 1, "crc32": checksum(before)}) + "\n"


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
