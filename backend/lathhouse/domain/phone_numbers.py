"""A device numbers its records one after another: which came, and which are missing. Pure."""

from collections.abc import Iterable
from typing import Any

Data = dict[str, Any]
# Numbers kept beyond a gap; a device that skips further has more wrong with it than a gap.
BEYOND_MAX = 20_000


class Numbers:
    """The numbers of a device that are accounted for, stored or refused.

    They begin at 1; a device that begins at 0 is let be.
    """

    def __init__(self, phone: Data) -> None:
        """Take its row: {contiguous, beyond, gap_since}."""
        self.contiguous: int = phone["contiguous"]
        self.beyond = set(phone["beyond"])
        self.gap_since: str | None = phone["gap_since"]
        self.aside: set[int] = set()

    def count(self, seqs: Iterable[int], now: str) -> None:
        """Count numbers as accounted for; note a gap, or that it has closed."""
        self.beyond |= {seq for seq in seqs if seq > self.contiguous}
        while self.contiguous + 1 in self.beyond or self.contiguous + 1 in self.aside:
            self.contiguous += 1
            self.beyond.discard(self.contiguous)
            self.aside.discard(self.contiguous)
        self.gap_since = (self.gap_since or now) if self.beyond else None

    def set_aside(self, seq: int, now: str) -> None:
        """Take a number that closes a gap and opens none: others brought it."""
        self.aside.add(seq)
        self.count((), now)


def account(phone: Data, seqs: list[int], now: str) -> None:
    """Count numbers in a device's row as accounted for; note a gap, or that it has closed."""
    numbers = Numbers(phone)
    numbers.count(seqs, now)
    phone["contiguous"] = numbers.contiguous
    phone["beyond"] = sorted(numbers.beyond)[:BEYOND_MAX]
    phone["gap_since"] = numbers.gap_since


def is_known(phone: Data, seq: int) -> bool:
    """Say whether a number has been accounted for already."""
    return 0 < seq <= phone["contiguous"] or seq in phone["beyond"]


def next_seq(phone: Data) -> int:
    """Return the first number that is not accounted for."""
    return int(phone["contiguous"]) + 1
