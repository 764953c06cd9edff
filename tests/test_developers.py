"""DEVELOPERS.md is true: what it names is there, and every library says why it is."""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# A file or folder as the text names it; rooms are named from the top, files also from their room.
NAMED = re.compile(r"`([\w/.]+(?:\.(?:py|js|json|md|html)|/))(?: [^`]*)?`")
BASES = (
    "", "backend/lathhouse", "backend/lathhouse/domain", "backend/lathhouse/data",
    "backend/lathhouse/sync", "frontend",
    "frontend/vendor", "tests", "tests/parity",
)  # fmt: skip
TABLE = TEXT[TEXT.index("## Libraries, and why each") :]


def is_there(name: str) -> bool:
    return any((ROOT / base / name).exists() for base in BASES)


def test_every_file_and_folder_that_it_names_is_there():
    names = set(NAMED.findall(TEXT))
    assert len(names) > 30
    assert sorted(name for name in names if not is_there(name)) == []


@pytest.mark.parametrize("room", ["backend/lathhouse", "frontend", "tests"])
def test_every_room_of_the_house_is_on_its_one_page(room: str):
    page = TEXT[: TEXT.index("### A record's way through")]
    rooms = [
        one.name
        for one in (ROOT / room).iterdir()
        if one.is_dir() and one.name not in ("__pycache__", "icons") and any(one.iterdir())
    ]
    assert sorted(name for name in rooms if name not in page) == []


def test_every_library_says_why_it_is_there():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = [project["dependencies"], *project["optional-dependencies"].values()]
    names = {re.split(r"[\[>=<]", one)[0] for asked in lists for one in asked} - {"lathhouse"}
    assert sorted(name for name in names if name not in TABLE.lower()) == []
    vendored = (ROOT / "frontend" / "vendor" / "VENDOR.md").read_text(encoding="utf-8")
    packages = set(re.findall(r"^\| \S+ \| (?:@\w+/)?([a-z]+)", vendored, flags=re.MULTILINE))
    assert sorted(name for name in packages - {"package"} if name not in TABLE) == []


def test_what_a_carrier_needs_is_all_there():
    for how in ("an event kind", "a watch", "a crop", "a language", "a screen"):
        assert f"**add {how}.**" in TEXT
    for part in ("run one test", "read a failing parity case"):
        assert f"**{part}.**" in TEXT
    assert "## What was decided, and why" in TEXT
