"""The table of `asvs.md` is true: what it names is there, and no requirement is left out."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
LINES = (Path(__file__).parent / "asvs.md").read_text("utf-8").splitlines()
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in LINES if line[:1] == "|"]
TABLE = {row[0]: row[1:] for row in ROWS[2:]}
# How many requirements of levels 1 and 2 each section has: OWASP ASVS 5.0.0 (2025), V1 to V17.
# Chapters that do not apply at all, 10 and 17, have one line each.
COUNTS = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2, "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1,
    "3.2": 2, "3.3": 4, "3.4": 6, "3.5": 5, "3.7": 2, "4.1": 3, "4.2": 1, "4.3": 2, "4.4": 4,
    "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3, "6.1": 3, "6.2": 11, "6.3": 3, "6.4": 4, "6.5": 5,
    "6.6": 3, "6.8": 3, "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5, "7.5": 2, "7.6": 2, "8.1": 2,
    "8.2": 3, "8.3": 1, "8.4": 1, "9.1": 3, "9.2": 4, "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 4,
    "11.5": 1, "11.6": 1, "12.1": 3, "12.2": 2, "12.3": 4, "13.1": 1, "13.2": 5, "13.3": 2,
    "13.4": 5, "14.1": 2, "14.2": 4, "14.3": 3, "15.1": 3, "15.2": 3, "15.3": 7, "16.1": 1,
    "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3,
}  # fmt: skip
LEVEL_3 = {"1.2.10", "3.4.8"}


def test_every_requirement_of_the_two_levels_has_its_line():
    found: dict[str, int] = {}
    for number in TABLE.keys() - LEVEL_3 - {"10", "17"}:
        section = number.rpartition(".")[0]
        found[section] = found.get(section, 0) + 1
    assert found == COUNTS
    assert len(TABLE) == len(ROWS) - 2, "a number stands twice"


def test_each_line_says_whether_it_is_met_and_by_what():
    for number, (asked, state, why) in TABLE.items():
        assert asked, number
        assert state in ("met", "part", "open", "no"), number
        assert why, number


def test_every_test_and_place_that_it_names_is_there():
    names = set(re.findall(r"`([\w./]+\.(?:py|js|md)(?:::\w+)?)`", "\n".join(LINES)))
    assert len(names) > 60
    for name in sorted(names - {"test_asvs.py"}):
        path, _, test = name.partition("::")
        file = ROOT / path
        assert file.exists(), name
        assert not test or f"def {test}(" in file.read_text("utf-8"), name
