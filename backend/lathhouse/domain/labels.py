"""Lot codes: year, running number, check letter, such as `26-017-R`.

The letter catches any one wrong digit and any two digits swapped: the digits are weighted with
different primes and summed modulo 23, the number of letters left when I, O and Q, which are read as
1 and 0, are not used.
"""

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
    parts = text.strip().upper().split("-")
    if len(parts) != 3 or not (parts[0].isdigit() and parts[1].isdigit()):
        return False
    if len(parts[0]) != 2 or len(parts[1]) != 3:
        return False
    return parts[2] == check_letter(int(parts[0]), int(parts[1]))
