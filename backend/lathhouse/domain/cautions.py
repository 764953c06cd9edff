"""What stands beside a number that can hurt someone; the words ship as `data/cautions.json`."""

import json
from functools import cache
from importlib.resources import files
from typing import Any

Caution = dict[str, Any]
GRADES = ("read", "derived", "practice")


class BadCaution(ValueError):
    """A caution claims a source that is not there."""


@cache
def load_cautions() -> tuple[Caution, ...]:
    """Return every caution: key, about, grave, says, source and grade.

    Raises:
        BadCaution: one claims to be read and names no source.
    """
    text = (files("lathhouse") / "data" / "cautions.json").read_text(encoding="utf-8")
    table = json.loads(text)
    for caution in table["cautions"]:
        unread = caution["grade"] == "read" and caution["source"] not in table["sources"]
        if caution["grade"] not in GRADES or unread:
            raise BadCaution(f"{caution['key']} names no source")
    return tuple(table["cautions"])


def cautions_about(*hazards: str) -> list[Caution]:
    """Return the cautions about any of these, the grave ones first.

    Args:
        hazards: `bleach`, `acid`, `electricity`, `toxic`, `sprays`, `frost` or `heat`.
    """
    found = [one for one in load_cautions() if set(one["about"]) & set(hazards)]
    return sorted(found, key=lambda one: not one["grave"])
