"""The check letter of a lot's code: the same on both sides, and what it catches."""

import itertools
import random
import string

from playwright.sync_api import Page

from lathhouse.domain.labels import LETTERS, is_lot_code, lot_code
from tests.parity.twins import in_browser

CODES = 400
SIGNS = string.digits + string.ascii_uppercase + "- "
# Of two wrong digits at once one in 23 happens to fit the letter.
TWO_SLIPS_CAUGHT = 0.94


def on_the_phone(page: Page, name: str, calls: list[tuple[object, ...]]) -> list[object]:
    cases = [
        {"kind": "call", "module": "labels", "name": name, "args": list(args)} for args in calls
    ]
    return [answer["value"] for answer in in_browser(page, cases)]


def random_codes(count: int) -> list[str]:
    pick = random.Random(7)
    return [lot_code(pick.randint(0, 99), pick.randint(0, 999)) for _ in range(count)]


def wrong_signs(code: str) -> list[str]:
    """Return the code with each of its signs replaced by each other one."""
    return [
        code[:at] + sign + code[at + 1 :]
        for at in range(len(code))
        for sign in SIGNS
        if sign != code[at] and (sign != " " or 0 < at < len(code) - 1)
    ]


def swapped_neighbours(code: str) -> list[str]:
    """Return the code with each two neighbouring signs swapped, a hyphen between them or not."""
    pairs = [(at, at + 1) for at in range(len(code) - 1)]
    pairs += [(at - 1, at + 1) for at, sign in enumerate(code) if sign == "-"]
    found = []
    for one, other in pairs:
        signs = list(code)
        signs[one], signs[other] = signs[other], signs[one]
        found.append("".join(signs))
    return [slip for slip in found if slip != code]


def test_both_sides_make_and_judge_codes_alike(core_page: Page):
    pick = random.Random(7)
    pairs = [(pick.randint(0, 99), pick.randint(0, 999)) for _ in range(CODES)]
    ours = [lot_code(*pair) for pair in pairs]
    assert on_the_phone(core_page, "lotCode", pairs) == ours
    odd = [f" {ours[0].lower()} ", "26-17-R", "26-017", "", "aa-bbb-R", "26-017-O", *ours]
    # Digits of other scripts are no digits of a code.
    odd += ["²6-017-R", "26-01٧-R", "２６-017-R", "26-017-ß", "26--17-R", "26-017-R-R"]
    odd += [code[:-1] + pick.choice(LETTERS) for code in ours]
    for code in ours[:20]:
        odd += [*wrong_signs(code), *swapped_neighbours(code)]
    found = on_the_phone(core_page, "isLotCode", [(code,) for code in odd])
    assert found == [is_lot_code(code) for code in odd]


def test_a_code_typed_small_or_between_blanks_is_the_code():
    for code in random_codes(CODES):
        assert is_lot_code(code)
        assert is_lot_code(f" {code.lower()} ")


def test_every_one_wrong_sign_is_caught():
    for code in random_codes(CODES):
        for slip in wrong_signs(code):
            assert not is_lot_code(slip), (code, slip)


def test_every_two_neighbours_swapped_are_caught():
    for number in range(0, 100_000, 7):
        code = lot_code(number // 1000, number % 1000)
        for slip in swapped_neighbours(code):
            assert not is_lot_code(slip), (code, slip)


def test_of_two_wrong_digits_about_22_in_23_are_caught():
    pick = random.Random(23)
    slips = []
    for code in random_codes(2000):
        places = [at for at, sign in enumerate(code[:-1]) if sign.isdigit()]
        for one, other in itertools.combinations(places, 2):
            signs = list(code)
            for at in (one, other):
                signs[at] = pick.choice(string.digits.replace(code[at], ""))
            slips.append("".join(signs))
    caught = sum(not is_lot_code(slip) for slip in slips) / len(slips)
    assert TWO_SLIPS_CAUGHT < caught < 1
