"""The check letter of a lot's code: the same on both sides, and what it catches."""

import itertools
import random

from playwright.sync_api import Page

from lathhouse.domain.labels import LETTERS, is_lot_code, lot_code
from tests.parity.twins import in_browser

CODES = 400


def on_the_phone(page: Page, name: str, calls: list[tuple[object, ...]]) -> list[object]:
    cases = [
        {"kind": "call", "module": "labels", "name": name, "args": list(args)} for args in calls
    ]
    return [answer["value"] for answer in in_browser(page, cases)]


def test_both_sides_make_and_judge_codes_alike(core_page: Page):
    pick = random.Random(7)
    pairs = [(pick.randint(0, 99), pick.randint(0, 999)) for _ in range(CODES)]
    ours = [lot_code(*pair) for pair in pairs]
    assert on_the_phone(core_page, "lotCode", pairs) == ours
    odd = [f" {ours[0].lower()} ", "26-17-R", "26-017", "", "aa-bbb-R", "26-017-O", *ours]
    odd += [code[:-1] + pick.choice(LETTERS) for code in ours]
    found = on_the_phone(core_page, "isLotCode", [(code,) for code in odd])
    assert found == [is_lot_code(code) for code in odd]


def test_every_wrong_digit_and_every_two_digits_swapped_are_caught():
    """Weights that are different primes, modulo 23: no such slip leaves the sum as it was."""
    for number in range(0, 100_000, 7):
        code = lot_code(number // 1000, number % 1000)
        for slip in slips(code):
            assert not is_lot_code(slip), (code, slip)


def slips(code: str) -> list[str]:
    """Return the code with one digit wrong, and with two digits swapped."""
    at = [index for index, sign in enumerate(code[:-1]) if sign.isdigit()]
    wrong = [code[:i] + digit + code[i + 1 :] for i in at for digit in "05" if digit != code[i]]
    swapped = []
    for i, j in itertools.pairwise(at):
        signs = list(code)
        signs[i], signs[j] = signs[j], signs[i]
        if signs != list(code):
            swapped.append("".join(signs))
    return wrong + swapped
