"""Which passphrases are taken: length and a list, no rules of composition.

NIST SP 800-63B-4 (2025), section 3.1.1.2: at least 15 characters where it is the only factor (8
beside another), at least 64 taken, every Unicode character, no rules of composition, normalised,
and a comparison with what is commonly used and with names of the service. OWASP ASVS 5.0, V6.2.1,
V6.2.4, V6.2.5, V6.2.9, V6.2.10. That ours begins at twelve is ours.
"""

import pytest

from lathhouse.domain.passphrases import LEAST, MOST, normalised, refusal

NAMES = ("Orla", "Fernhill Nursery")


@pytest.mark.parametrize(
    "text",
    [
        "quiet gate under snow",
        "zwölf tüchtige Gärtner",
        "木の実を春に蒔く朝の露と霧",
        "onlylowercaseletters",
        "🌱🌿🍂🌧️ and a wet thumb",
        "x7 " * 42 + "ab",
    ],
)
def test_any_characters_will_do(text: str):
    assert refusal(text, NAMES) is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("elevenchars", "at least 12"),
        ("a" * (MOST + 1), "at most 256"),
        ("PassWord Password", "first that anybody tries"),
        ("Password-123456", "first that anybody tries"),
        ("xyxyxyxyxyxyxy", "first that anybody tries"),
        ("aaaaaaaaaaaaaaa", "first that anybody tries"),
        ("123456789012", "first that anybody tries"),
        ("abcdefghijklmnop", "first that anybody tries"),
        ("qwertyuiopasdfgh", "first that anybody tries"),
        ("my name is ORLA yes", "the name Orla"),
        ("fernhill-nursery rows", "the name Fernhill Nursery"),
    ],
)
def test_what_is_guessed_first_is_refused_with_a_sentence(text: str, says: str):
    assert says in (refusal(text, NAMES) or "")


def test_two_ways_of_typing_a_letter_are_one():
    """U+00E9, and e with U+0301 (Unicode Standard Annex 15, figure 3)."""
    assert normalised("cafe\u0301") == normalised("caf\u00e9")


def test_the_bounds_are_those_of_the_standards():
    assert 8 <= LEAST <= 15
    assert MOST >= 64
