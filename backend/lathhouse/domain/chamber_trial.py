"""What the chamber's watch would say of a few readings: for checking a band by hand."""

from typing import Any

from lathhouse.domain import chambers
from lathhouse.domain.amounts import CannotCalculate, number
from lathhouse.domain.facts import place_facts, standing
from lathhouse.domain.instants import MINUTE_MS, to_text
from lathhouse.domain.mixing_words import sentence
from lathhouse.domain.watches import evaluate, load_rules

Data = dict[str, Any]

READINGS_MAX = 10_000
MINUTES_MAX = 10_000_000
SAME = ("minutes_out", "minutes_out_long", "minutes_hard", "minutes_back")
SITE: Data = {"offsets": [["1970-01-01T00:00:00.000Z", 0]], "working_days": [1, 2, 3, 4, 5, 6]}
READINGS_WANTED = "readings must be a list of {minute, temp_c}."
BAND_WANTED = "band_c and hard_limits_c are [low, high] in °C, the low one first."


def chamber_band(inputs: Data) -> Data:
    """Return {level, says} of the chamber's watch at the last of these readings.

    Inputs: `readings` as {minute, temp_c}; optionally `band_c` and `hard_limits_c` ([low, high]),
    `hysteresis_c`, `minutes_out`, `minutes_out_long`, `minutes_hard`, `minutes_back`.

    Raises:
        CannotCalculate: a reading or a band cannot be right.
    """
    chamber = _chamber(inputs)
    given = inputs.get("readings")
    if not isinstance(given, list) or not 0 < len(given) <= READINGS_MAX:
        raise CannotCalculate("readings", sentence("as_it_is", words=READINGS_WANTED))
    state = chambers.new_state()
    at = ""
    for minute, temp_c in sorted(_reading(one) for one in given):
        at = to_text(round(minute * MINUTE_MS))
        state = chambers.read(state, at, temp_c, chamber)
    place = {"id": "chamber", "kind": "chamber", "chamber": chamber, "chamber_state": state}
    rules = [rule for rule in load_rules() if rule["id"] == "chamber-band"]
    found = evaluate(rules, "place", place_facts(place, standing([])), at, SITE)["findings"]
    return {"level": found[0]["level"] if found else None}


def _chamber(inputs: Data) -> chambers.Chamber:
    own: Data = {name: number(inputs.get(name)) for name in SAME}
    own["margin_c"] = number(inputs.get("hysteresis_c"))
    for name, ends in (
        ("band_c", ("low_c", "high_c")),
        ("hard_limits_c", ("hard_low_c", "hard_high_c")),
    ):
        pair = inputs.get(name) or [None, None]
        if not isinstance(pair, list) or len(pair) != 2:
            raise CannotCalculate(name, sentence("as_it_is", words=BAND_WANTED))
        own |= {end: number(one) for end, one in zip(ends, pair, strict=True)}
    try:
        return chambers.settings_of(own)
    except chambers.BandUpsideDown as error:
        raise CannotCalculate("band_c", sentence("as_it_is", words=BAND_WANTED)) from error


def _reading(given: Any) -> tuple[float, float]:
    one = given if isinstance(given, dict) else {}
    minute, temp_c = number(one.get("minute")), number(one.get("temp_c"))
    if minute is None or temp_c is None or not 0 <= minute <= MINUTES_MAX:
        raise CannotCalculate("readings", sentence("as_it_is", words=READINGS_WANTED))
    return minute, temp_c
