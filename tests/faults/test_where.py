"""The table of `where.md` names every fault, and what it names is there."""

import re
from pathlib import Path

from tests.faults.schedule import ACTS, ASKED, STEPS

ROOT = Path(__file__).parents[2]
LINES = (Path(__file__).parent / "where.md").read_text("utf-8").splitlines()
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in LINES if line[:1] == "|"]
TESTS = {
    name
    for folder in ("tests", "e2e")
    for path in (ROOT / folder).rglob("test_*.py")
    for name in re.findall(r"^def (test_\w+)", path.read_text("utf-8"), re.M)
}


def test_every_fault_has_its_line_and_only_one():
    assert [row[0] for row in ROWS[2:]] == [f"F{number}" for number in range(1, 31)]


def test_what_a_line_names_is_in_the_schedules_or_among_the_tests():
    made = {*STEPS, *ACTS, *ASKED, "die_at", "--kills"}
    for number, _, how, other in ROWS[2:]:
        named = set(re.findall(r"`([^`]+)`", how))
        assert named <= made, f"{number}: {named - made} are not in the schedules"
        assert named or how.startswith("no: "), number
        assert other in TESTS, f"{number}: {other} is no test"


def test_f20_nothing_is_done_as_a_page_is_left():
    """Each tap is saved already: the app listens to nothing that a browser says in leaving."""
    text = "".join(path.read_text("utf-8") for path in (ROOT / "frontend").rglob("*.js"))
    assert not re.search(r"beforeunload|[\"']unload[\"']|pagehide", text)
