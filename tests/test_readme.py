"""The README promises two commands, and that the gate runs the second."""

import re
from collections.abc import Iterator
from pathlib import Path

import click

from lathhouse.cli import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands() -> list[str]:
    return re.findall(r"^    (\S.*)$", README, flags=re.MULTILINE)


def test_the_readme_has_exactly_two_set_up_commands():
    run, test = commands()
    assert run.endswith("lathhouse serve --demo")
    assert test.endswith("-m pytest")


def test_the_gate_runs_exactly_the_readmes_test_command_and_the_linters():
    gate = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert commands()[1] in gate
    assert {".venv/bin/ruff check .", ".venv/bin/mypy"} <= set(gate)


def names(group: click.Group, before: str) -> Iterator[str]:
    """Return every command as it is typed."""
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from names(command, f"{before} {name}")
        else:
            yield f"{before} {name}"


def test_the_readmes_table_has_every_command_and_no_other():
    rows = re.findall(r"^\| `(lathhouse [^`]*)` \| \w", README, flags=re.MULTILINE)
    known = set(names(main, "lathhouse"))
    assert {one for row in rows for one in known if f"{row} ".startswith(f"{one} ")} == known
    assert len(rows) == len(known)


def test_the_readme_opens_with_the_job_in_one_paragraph():
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# Lathhouse"
    for word in ("owner-grower", "no signal", "server", "six weeks"):
        assert word in paragraph
