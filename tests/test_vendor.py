"""Third-party modules are what they say they are."""

import hashlib
import re
from pathlib import Path

VENDOR = Path(__file__).parent.parent / "frontend" / "vendor"
ROW = re.compile(r"^\| (\S+\.js) \| (.+?) \| .+? \| (\S+) \| ([0-9a-f]{64}) \| ([0-9a-f]{64}) \|$")


def listed() -> dict[str, tuple[str, str]]:
    rows = (ROW.match(line) for line in (VENDOR / "VENDOR.md").read_text().splitlines())
    return {row[1]: (row[2], row[5]) for row in rows if row}


def test_every_vendored_module_is_listed_with_its_hash():
    found = {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in VENDOR.glob("*.js")
    }
    assert found == {name: digest for name, (_, digest) in listed().items()}


def test_every_vendored_package_keeps_its_licence():
    for package, _ in listed().values():
        name = package.split()[0].replace("@", "").replace("/", "-")
        assert (VENDOR / f"LICENSE-{name}.txt").read_text().strip()


def test_no_vendored_module_imports_by_a_bare_name():
    for file in VENDOR.glob("*.js"):
        for name in re.findall(r"""(?:from|import)\s*["']([^"']+)["']""", file.read_text()):
            assert name.startswith("./"), f"{file.name} imports {name}"
