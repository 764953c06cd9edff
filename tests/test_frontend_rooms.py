"""Imports of the front end point inwards: `screens` to `ui` and `store`, those to `core`."""

import re
from pathlib import Path

FRONTEND = Path(__file__).parent.parent / "frontend"
IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["']([^"' ]+)["'] ?[;),]""")
# What each room may import; "" is app.js, the one place where the parts are joined.
MAY_IMPORT = {
    "core": {"core"},
    "store": {"store", "core", "vendor"},
    "locales": set(),
    "ui": {"ui", "store", "core", "vendor", "locales"},
    "screens": {"screens", "ui", "store", "core", "vendor"},
    "vendor": {"vendor"},
    "": {"screens", "ui", "store", "core", "vendor", "locales"},
}


def room_of(file: Path) -> str:
    parts = file.relative_to(FRONTEND).parts
    return parts[0] if len(parts) > 1 else ""


def imports() -> list[tuple[Path, Path]]:
    """Return (importing file, imported file) of every import, also those on demand."""
    return [
        (file, (file.parent / name).resolve())
        for file in sorted(FRONTEND.rglob("*.js"))
        for name in IMPORT.findall(file.read_text())
        if name.startswith(".")
    ]


def test_the_rooms_of_the_front_end_import_inwards_only():
    found = imports()
    assert len(found) > 50
    outward = [
        f"{file.relative_to(FRONTEND)} imports {target.relative_to(FRONTEND)}"
        for file, target in found
        if room_of(target) not in MAY_IMPORT[room_of(file)]
    ]
    assert outward == []


def test_every_import_names_a_file_that_is_there():
    assert [str(target) for _, target in imports() if not target.is_file()] == []


def test_no_import_needs_a_build():
    """No bare names, no import map: a browser alone resolves each."""
    for file in FRONTEND.rglob("*.js"):
        for name in IMPORT.findall(file.read_text()):
            assert name.startswith("."), f"{file.relative_to(FRONTEND)} imports {name}"
