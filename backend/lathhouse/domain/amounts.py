"""Amounts that go into a calculation: checked one by one, and written for people.

What cannot be right is refused with a sentence that names it and says what would be possible. The
phone's twin writes the same sentences, letter for letter.
"""

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Any

Data = dict[str, Any]

# Nearer to nought or further from it than this, a number's digits help nobody.
SHOWN_MIN = Decimal("0.000001")
SHOWN_MAX = 1e15
# A smaller amount than this is a slip; divided by, it would no longer give a number.
AMOUNT_MIN = 1e-9


class CannotCalculate(ValueError):
    """The inputs cannot give a result; `says` tells why and what would be right."""

    def __init__(self, says: str, field: str | None = None) -> None:
        super().__init__(says)
        self.says = says
        self.field = field


class CannotMix(CannotCalculate):
    """A mixing that is impossible, or not to be guessed at.

    `readings`, where there are any, are the answers between which only the person can choose.
    """

    def __init__(self, field: str, says: str, readings: list[Data] | None = None) -> None:
        super().__init__(says, field)
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
    inputs: Data, field: str, words: str, high: float, unit: str = "", *, nought: bool = False
) -> float:
    """Return an amount above nought (or from it, where `nought` may be) and at most `high`.

    Raises:
        CannotMix: it is missing, no number, or outside that range; `words` name it in the sentence.
    """
    value = number(inputs.get(field))
    lowest = "from 0 to" if nought else "more than 0 and at most"
    wanted = f"{words} must be a number {lowest} {shown(high, 9)}{unit}"
    if inputs.get(field) is None:
        raise CannotMix(field, f"{wanted}; it is missing.")
    if value is None:
        raise CannotMix(field, f"{wanted}; what was given is no number.")
    if value > high or (value < AMOUNT_MIN and not (nought and value == 0)):
        raise CannotMix(field, f"{wanted}; {shown(value)}{unit} is not.")
    return value


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
