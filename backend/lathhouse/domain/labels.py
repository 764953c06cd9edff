"""Lot codes: year, running number, check letter, such as `26-017-R`.

The letter catches any one wrong sign and any two neighbours swapped, and 22 in 23 of two wrong
digits at once (`tests/parity/test_labels.py` measures it): the digits are weighted with
different primes and summed modulo 23, the number of letters left when I, O and Q, which are read as
1 and 0, are not used.
"""

import re

# Digits of other scripts are none of a code's: `[0-9]`, not `\d`.
CODE = re.compile(r"([0-9]{2})-([0-9]{3})-([A-Z])")
LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"
WEIGHTS = (2, 3, 5, 7, 11)


def check_letter(year: int, number: int) -> str:
    """Return the check letter of a year (two digits) and a running number (up to 999)."""
    digits = f"{year % 100:02d}{number % 1000:03d}"
    total = sum(weight * int(digit) for weight, digit in zip(WEIGHTS, digits, strict=True))
    return LETTERS[total % len(LETTERS)]


def lot_code(year: int, number: int) -> str:
    """Return the code of a lot."""
    return f"{year % 100:02d}-{number % 1000:03d}-{check_letter(year, number)}"


def is_lot_code(text: str) -> bool:
    """Say whether a typed code is whole and its letter is right."""
    match = CODE.fullmatch(text.strip().upper())
    return match is not None and match[3] == check_letter(int(match[1]), int(match[2]))
