"""A device numbers its records one after another: which came, and which are missing. Pure."""

from typing import Any

Data = dict[str, Any]
# Numbers kept beyond a gap; a device that skips further has more wrong with it than a gap.
BEYOND_MAX = 20_000


def account(phone: Data, seqs: list[int], now: str) -> None:
    """Count numbers as accounted for, stored or refused; note a gap, or that it has closed.

    Numbers begin at 1; a device that begins at 0 is let be.
    """
    beyond = set(phone["beyond"]) | {seq for seq in seqs if seq > phone["contiguous"]}
    while phone["contiguous"] + 1 in beyond:
        phone["contiguous"] += 1
        beyond.discard(phone["contiguous"])
    phone["beyond"] = sorted(beyond)[:BEYOND_MAX]
    phone["gap_since"] = (phone["gap_since"] or now) if beyond else None


def is_known(phone: Data, seq: int) -> bool:
    """Say whether a number has been accounted for already."""
    return 0 < seq <= phone["contiguous"] or seq in phone["beyond"]


def next_seq(phone: Data) -> int:
    """Return the first number that is not accounted for."""
    return int(phone["contiguous"]) + 1
