"""Which passphrases are taken: long, any characters, and none that is guessed first. Pure.

Length and a list instead of rules of composition: NIST SP 800-63B-4 (2025), section 3.1.1.2, and
OWASP ASVS 5.0, V6.2. Twelve is ours: between the eight that ASVS asks for and the fifteen that both
recommend, since guesses are few (`web/tries.py`) and the server stands on an inner network.
"""

import unicodedata
from collections.abc import Iterable

LEAST, MOST = 12, 256
# A name this short stands in half of all words.
NAME_LEAST = 3
# Twelve characters or more, and among the first that anybody tries. Ours, of the kinds that every
# published list has: a word twice, rows of the keyboard, counting, a sentence of love or of entry.
COMMONEST = frozenset(
    "passwordpassword password1234 password12345 password123456 passwordpassword1 mypassword123"
    " mypassphrase passphrase12 passphrase123 changemenow1 changeme1234 letmeinplease letmein12345"
    " qwertyuiopas qwertyuiop12 qwertyuiop123 qwertyuiopasdf qwertzuiopas azertyuiopqs asdfghjklqwe"
    " asdfghjkl123 zxcvbnm12345 1q2w3e4r5t6y 1qaz2wsx3edc 1qazxsw23edc q1w2e3r4t5y6 qazwsxedcrfv"
    " iloveyou1234 iloveyouforever iloveyousomuch administrator administrator1 adminadmin12"
    " administrator123 welcome12345 welcometothejungle correcthorsebatterystaple trustno1trustno1"
    " monkeymonkey dragondragon football1234 baseball1234 princess1234 sunshine1234 superman1234"
    " abc123abc123 abcd1234abcd 123qwe123qwe qwe123qwe123 thisismypassword thisisapassword"
    " nurserynursery greenhouse12 greenhouse123 lathhouse123 lathhouselathhouse".split()
)
RUNS = ("abcdefghijklmnopqrstuvwxyz", "1234567890", "qwertyuiopasdfghjklzxcvbnm")


def normalised(text: str) -> str:
    """Return a passphrase as it is hashed: however a keyboard composed it, the same (NFC)."""
    return unicodedata.normalize("NFC", text)


def folded(text: str) -> str:
    """Return a text as people compare it: without case, spaces and signs."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return "".join(sign for sign in plain if sign.isalnum())


def refusal(text: str, names: Iterable[str]) -> str | None:
    """Return in a sentence why a passphrase is not taken, or None.

    Args:
        text: as it was typed.
        names: what everybody knows here: the person's name, the nursery's.
    """
    length = len(normalised(text))
    if length < LEAST:
        return (
            f"A passphrase has at least {LEAST} characters; four unrelated words make a good one."
        )
    if length > MOST:
        return f"A passphrase has at most {MOST} characters."
    plain = folded(text)
    if plain in COMMONEST or _is_worn(plain or text):
        return "This is among the first that anybody tries. Take four unrelated words instead."
    for name in names:
        if len(folded(name)) >= NAME_LEAST and folded(name) in plain:
            return f"A passphrase here does not hold the name {name}: that is tried first."
    return None


def _is_worn(plain: str) -> bool:
    """Say whether it is one short piece again and again, or a row of signs in their order."""
    pieces = range(1, 5)
    if any(plain == (plain[:size] * len(plain))[: len(plain)] for size in pieces):
        return True
    rows = [row * 4 for row in RUNS]
    return any(plain in row or plain[::-1] in row for row in rows)
