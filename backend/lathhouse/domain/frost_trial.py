"""What the frost watch would say of one forecast at one hour: for checking it by hand."""

from typing import Any

from lathhouse.domain.amounts import CannotCalculate, number, shown
from lathhouse.domain.instants import DAY_MS, HOUR_MS, to_text
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.watches import evaluate, load_rules

Data = dict[str, Any]

SITE: Data = {"offsets": [["1970-01-01T00:00:00.000Z", 0]], "working_days": [1, 2, 3, 4, 5, 6]}
# Any day serves: hours are counted from its midnight.
MIDNIGHT_MS = 20_000 * DAY_MS


def frost_tonight(inputs: Data) -> Data:
    """Return {level} of the frost watch.

    Inputs: `forecast_low_c`, `threshold_c` (3 where left out), `uncovered` (tender lots), `hour`
    (from 0, past 24 after midnight) and `sunset`, both hours of the local day.

    Raises:
        CannotCalculate: a number is missing, or outside what it can be.
    """
    low, threshold = (
        _number({"threshold_c": 3, **inputs}, name, -60, 60)
        for name in ("forecast_low_c", "threshold_c")
    )
    lots, hour = _number(inputs, "uncovered", 0, 1e6), _number(inputs, "hour", 0, 30)
    night = {
        "low_c": low, "lots": lots, "thin_lots": 0, "day_at": _at(0), "ends_at": _at(31),
        "sunset_at": _at(_number(inputs, "sunset", 12, 24)),
    }  # fmt: skip
    facts = {"kind": "nursery", "id": "example", "nights": [night]}
    (rule,) = [rule for rule in load_rules() if rule["id"] == "frost-tonight"]
    rule = {**rule, "when": [["night.low_c", "at_most", threshold]]}
    found = evaluate([rule], "nursery", facts, _at(hour), SITE)["findings"]
    return {"level": found[0]["level"] if found else None}


def _number(inputs: Data, field: str, low: float, high: float) -> float:
    found = number(inputs.get(field))
    if found is None or not low <= found <= high:
        values = {"field": field, "low": shown(low), "high": shown(high)}
        raise CannotCalculate(field, sentence("climate_number", **values))
    return found


def _at(hour: float) -> str:
    return to_text(round(MIDNIGHT_MS + hour * HOUR_MS))
