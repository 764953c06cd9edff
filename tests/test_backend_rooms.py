"""Imports point inwards: web, sync and reminders to store, store to domain, domain to nothing."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOM = Path(__file__).parent.parent / "backend" / "lathhouse"
# What each room may import of ours besides itself; the front door joins them all.
MAY: dict[str, set[str]] = {
    "domain": set(),
    "store": {"domain", "errors"},
    "sync": {"domain", "store", "errors", "lines"},
    "reminders": {"domain", "store", "errors", "lines"},
    "web": {"domain", "store", "sync", "errors", "settings", "logs"},
    "demo": {"domain", "store", "sync", "reminders", "errors", "settings"},
}
# A pure room has no clock of its own, no chance, no disk but the data that ships with it.
IMPURE = set(
    "asyncio flask importlib.import_module io logging os pathlib random requests secrets shutil"
    " socket sqlalchemy sqlite3 subprocess tempfile threading time urllib".split()
)
IMPURE_CALLS = {("datetime", "now"), ("datetime", "utcnow"), ("date", "today"), ("uuid", "uuid4")}
IMPURE_NAMES = {"open", "print", "input", "__import__", "exec", "eval"}


def imported(tree: ast.Module, room: str) -> Iterator[str]:
    """Return the dotted names that a module imports, at any depth of it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            # From here, or from beside it: a module of a room lies one folder down.
            base = {0: "", 1: f"lathhouse.{room}."}.get(node.level, "lathhouse.")
            start = f"{base}{node.module or ''}".rstrip(".")
            yield start
            yield from (f"{start}.{alias.name}" for alias in node.names)


def outward(room: str, source: str) -> list[str]:
    """Return what a module of a room imports and may not."""
    found = []
    for name in imported(ast.parse(source), room):
        parts = name.split(".")
        if parts[0] == "lathhouse" and len(parts) > 1 and parts[1] not in MAY[room] | {room}:
            found.append(name)
        if room == "domain" and (parts[0] in IMPURE or name in IMPURE):
            found.append(name)
    return found


def impure_calls(source: str) -> list[str]:
    """Return calls that ask the machine for the time, for chance, or for a file."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in IMPURE_NAMES:
            found.append(called.id)
        if isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
            asked = (called.value.id, called.attr)
            found += [".".join(asked)] if asked in IMPURE_CALLS else []
    return found


def modules(room: str) -> list[Path]:
    return [path for path in (ROOM / room).rglob("*.py") if "migrations" not in path.parts]


def test_no_import_points_outward():
    seen = 0
    for room in MAY:
        for path in modules(room):
            seen += 1
            assert outward(room, path.read_text(encoding="utf-8")) == [], path
    assert seen > 40


def test_the_domain_asks_nobody_for_the_time_or_a_file():
    for path in modules("domain"):
        assert impure_calls(path.read_text(encoding="utf-8")) == [], path


def test_every_room_is_watched():
    rooms = {path.name for path in ROOM.iterdir() if (path / "__init__.py").exists()}
    assert rooms - {"data", "frontend"} == set(MAY)


@pytest.mark.parametrize(
    ("room", "line", "found"),
    [
        ("store", "from lathhouse.web import requests", "lathhouse.web"),
        ("store", "from lathhouse import sync", "lathhouse.sync"),
        ("store", "from ..sync import push", "lathhouse.sync"),
        ("store", "from .. import reminders", "lathhouse.reminders"),
        ("sync", "def late():\n    import lathhouse.web.gate", "lathhouse.web.gate"),
        ("reminders", "from lathhouse.sync.push import push", "lathhouse.sync.push"),
        ("domain", "from lathhouse.store.work import Work", "lathhouse.store.work"),
        ("domain", "import sqlalchemy.orm", "sqlalchemy.orm"),
        ("domain", "from os import environ", "os"),
    ],
)
def test_an_import_that_points_outward_is_found(room: str, line: str, found: str):
    assert found in outward(room, line)


def test_an_import_from_beside_or_from_within_is_let_be():
    assert outward("store", "from .work import Work\nfrom ..domain import facts") == []
    assert outward("domain", "from . import instants\nimport json") == []


@pytest.mark.parametrize("call", ["datetime.now(UTC)", "date.today()", "open('x')", "uuid.uuid4()"])
def test_asking_the_machine_is_found(call: str):
    assert impure_calls(f"def made_up():\n    return {call}") == [call.split("(")[0]]
