"""A run without WebKit says so in its last lines, whichever process ran the tests."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import webkit

ROOT = Path(__file__).parent.parent
TESTS = ROOT / "e2e" / webkit.TESTS


def test_a_run_where_webkit_is_neither_there_nor_demanded_says_that_it_was_not_tried():
    environment = {**os.environ, "PATH": "/nowhere"}
    environment.pop("LATHHOUSE_DEMAND_WEBKIT", None)
    command = [sys.executable, "-m", "pytest", "-q", "-n", "1", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [*command, "tests/test_vendor.py"],
        capture_output=True, text=True, check=False, cwd=ROOT, env=environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert webkit.NOT_TRIED in done.stdout.splitlines()[-3:]


def test_its_tests_are_left_out_there_and_never_where_it_is_demanded(
    monkeypatch: pytest.MonkeyPatch,
):
    assert TESTS.exists()
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.delenv("LATHHOUSE_DEMAND_WEBKIT", raising=False)
    assert webkit.pytest_ignore_collect(TESTS) is True
    assert webkit.pytest_ignore_collect(ROOT / "tests" / "test_vendor.py") is None
    monkeypatch.setenv("LATHHOUSE_DEMAND_WEBKIT", "1")
    assert webkit.pytest_ignore_collect(TESTS) is None
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    with pytest.raises(pytest.fail.Exception, match="`webkit2gtk-driver` and `xvfb`"):
        webkit.find_webkit()


def test_the_gate_demands_it():
    gate = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert "export LATHHOUSE_DEMAND_WEBKIT=1" in gate
