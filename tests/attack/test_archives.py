"""Archives that were made to harm are refused before anything of them is unpacked."""

import json
import warnings
import zipfile
from pathlib import Path

import pytest

from lathhouse.errors import BadArchive
from lathhouse.store.archive import MANIFEST, harmless, tables
from lathhouse.store.archive_reading import read_manifest

MEMBERS = {f"{table.name}.jsonl": {"sha256": "", "lines": 1} for table in tables()}
SAID = {"made_at": "", "schema": "0013", "site": "", "events": 1, "chain": ""}
GOOD = json.dumps({"format": 1, **SAID, "members": MEMBERS})


def made(path: Path, *members: tuple[str, bytes, int]) -> Path:
    """Return a zip of these members (name, body, mode), deflated."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of a name that comes twice
        for name, body, mode in members:
            info = zipfile.ZipInfo(name)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, mode << 16
            file.writestr(info, body)
    return path


PLAIN = 0o100600
HARMFUL = {
    "a bomb": ("events.jsonl", b"0" * 8_000_000, PLAIN, "absurdly much"),
    "a manifest that is a bomb": (MANIFEST, b" " * 80_000_000, PLAIN, "absurdly much"),
    "a way out": ("../../etc/cron.d/x", b"x", PLAIN, "no plain file"),
    "an absolute path": ("/etc/passwd", b"x", PLAIN, "no plain file"),
    "a path of another system": ("..\\..\\x", b"x", PLAIN, "no plain file"),
    "a folder": ("sub/", b"", 0o040700, "no plain file"),
    "a link": ("events.jsonl", b"/etc/passwd", 0o120777, "no plain file"),
}


@pytest.mark.parametrize("name", HARMFUL)
def test_an_archive_that_was_made_to_harm_is_refused(tmp_path: Path, name: str):
    """Zip bombs, paths that lead out (zip slip), links: OWASP ASVS 5.0, V5.2.3, V5.2.5, V5.3.3."""
    member, body, mode, says = HARMFUL[name]
    first = () if member == MANIFEST else ((MANIFEST, GOOD.encode(), PLAIN),)
    path = made(tmp_path / "x.zip", *first, (member, body, mode))
    with pytest.raises(BadArchive, match=says):
        read_manifest(path)


def test_a_name_that_comes_twice_is_refused(tmp_path: Path):
    """Which of two counts differs between readers of zips."""
    twice = [(MANIFEST, GOOD.encode(), PLAIN)] * 2
    with pytest.raises(BadArchive, match="twice"):
        read_manifest(made(tmp_path / "x.zip", *twice))


def test_a_plain_archive_is_read(tmp_path: Path):
    path = made(tmp_path / "x.zip", (MANIFEST, GOOD.encode(), PLAIN))
    assert read_manifest(path)["format"] == 1


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\0"])
def test_no_cell_begins_as_a_formula_does(start: str):
    """OWASP ASVS 5.0, V1.2.10, the characters that it lists, and the carriage return."""
    assert harmless(f"{start}cmd|' /C calc'!A0").startswith("'")
