"""Amounts that go into a calculation: checked one by one, and written for people.

What cannot be right is refused with a sentence that names it and says what would be possible. The
phone's twin refuses with the same sentences, by their keys.
"""

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Any

from lathhouse.domain.mixing_words import Sentence, say, sentence

Data = dict[str, Any]

# Nearer to nought or further from it than this, a number's digits help nobody.
SHOWN_MIN = Decimal("0.000001")
SHOWN_MAX = 1e15
# A smaller amount than this is a slip; divided by, it would no longer give a number.
AMOUNT_MIN = 1e-9


class CannotCalculate(ValueError):
    """The inputs cannot give a result; `said` tells why, `says` the same in English."""

    def __init__(self, field: str | None, said: Sentence) -> None:
        super().__init__(say(said))
        self.field = field
        self.said = said
        self.says = say(said)


class CannotMix(CannotCalculate):
    """A mixing that is impossible, or not to be guessed at.

    `readings`, where there are any, are the answers between which only the person can choose.
    """

    def __init__(self, field: str, said: Sentence, readings: list[Data] | None = None) -> None:
        super().__init__(field, said)
        self.readings = readings or []


def number(value: Any) -> float | None:
    """Return a finite number as a float, or None for anything else (true, text, NaN, infinity)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        found = float(value)
    except OverflowError:
        return None
    return found if math.isfinite(found) else None


def amount(
    inputs: Data, field: str, what: str, high: float, unit: str = "none", *, nought: bool = False
) -> float:
    """Return an amount above nought (or from it, where `nought` may be) and at most `high`.

    Args:
        inputs: what was given.
        field: which of it is asked for.
        what: names it in a refusal, as `what_…` of the words.
        high: the most that it may be.
        unit: its unit, as `unit_…` of the words.
        nought: whether it may be 0.

    Raises:
        CannotMix: it is missing, no number, or outside that range.
    """
    value = number(inputs.get(field))
    if value is not None and (AMOUNT_MIN <= value <= high or (nought and value == 0)):
        return value
    in_unit = sentence(f"unit_{unit}")
    why = sentence("missing" if inputs.get(field) is None else "no_number")
    if value is not None:
        why = sentence("outside", value=shown(value), unit=in_unit)
    key = "amount_from" if nought else "amount_above"
    named = sentence(f"what_{what}")
    raise CannotMix(field, sentence(key, what=named, high=shown(high, 9), unit=in_unit, why=why))


def quantity(value: float, unit: str, digits: int = 4) -> Sentence:
    """Return a number with its unit, to be said."""
    return sentence("quantity", n=shown(value, digits), unit=sentence(f"unit_{unit}"))


def shown(value: float, digits: int = 4) -> str:
    """Return a number for people: so many significant digits, no exponent, thousands apart.

    Ties go away from nought, as in ECMAScript's `toPrecision`, so that both cores write the same.
    """
    if abs(value) >= SHOWN_MAX:
        return "a number of more than 15 digits"
    exact = Context(prec=digits, rounding=ROUND_HALF_UP).create_decimal(Decimal(value))
    if exact == 0:
        return "0"
    if abs(exact) < SHOWN_MIN:
        return "almost 0"
    text = f"{exact:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
