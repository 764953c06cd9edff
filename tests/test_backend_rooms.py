"""Imports point inwards: web, sync and reminders to store, store to domain, domain to nothing."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOM = Path(__file__).parent.parent / "backend" / "lathhouse"
# What each room may import of ours besides itself; the front door joins them all.
MAY: dict[str, set[str]] = {
    "domain": set(),
    "store": {"domain", "errors"},
    "sync": {"domain", "store", "errors"},
    "reminders": {"domain", "store", "errors"},
    "web": {"domain", "store", "sync", "errors", "settings"},
    "demo": {"domain", "store", "sync", "reminders", "errors", "settings"},
}
# A pure room has no clock of its own, no chance, no disk but the data that ships with it.
IMPURE = {"time", "random", "secrets", "socket", "sqlite3", "sqlalchemy", "flask", "requests"}
IMPURE_CALLS = {("datetime", "now"), ("datetime", "utcnow"), ("date", "today")}


def imported(tree: ast.Module) -> Iterator[str]:
    """Return the dotted names that a module imports, at any depth of it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def outward(room: str, source: str) -> list[str]:
    """Return what a module of a room imports and may not."""
    found = []
    for name in imported(ast.parse(source)):
        parts = name.split(".")
        if parts[0] == "lathhouse" and len(parts) > 1 and parts[1] not in MAY[room] | {room}:
            found.append(name)
        if room == "domain" and parts[0] in IMPURE:
            found.append(name)
    return found


def impure_calls(source: str) -> list[str]:
    """Return calls that ask the machine for the time."""
    return [
        f"{node.func.value.id}.{node.func.attr}"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and (node.func.value.id, node.func.attr) in IMPURE_CALLS
    ]


def modules(room: str) -> list[Path]:
    return [path for path in (ROOM / room).rglob("*.py") if "migrations" not in path.parts]


def test_no_import_points_outward():
    seen = 0
    for room in MAY:
        for path in modules(room):
            seen += 1
            assert outward(room, path.read_text(encoding="utf-8")) == [], path
    assert seen > 40


def test_the_domain_asks_nobody_for_the_time():
    for path in modules("domain"):
        assert impure_calls(path.read_text(encoding="utf-8")) == [], path


def test_every_room_is_watched():
    rooms = {path.name for path in ROOM.iterdir() if (path / "__init__.py").exists()}
    assert rooms - {"data", "frontend"} == set(MAY)


def test_an_import_that_points_outward_is_found():
    wrong = "from lathhouse.web import requests\nfrom lathhouse.store.work import Work\n"
    assert "lathhouse.web" in outward("store", wrong)
    assert "lathhouse.store.work" in outward("domain", wrong)
    assert outward("domain", "import sqlalchemy") == ["sqlalchemy"]
    assert impure_calls("datetime.now(UTC)") == ["datetime.now"]
