"""Every measurement runs, at a size at which its figures mean nothing: no time is asserted."""

import subprocess
import sys
from pathlib import Path

from tests.bench.figures import Figure


def test_each_measurement_gives_its_figures():
    """In a process of its own, as a person runs it."""
    command = [sys.executable, "-m", "tests.bench", "--small"]
    root = Path(__file__).parent.parent
    ran = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    lines = [line for line in ran.stdout.splitlines() if line.strip()]
    assert len(lines) == 21
    for name in ("record to durable", "push of", "tick,", "calendar feed", "offline reload"):
        assert any(line.startswith(name) for line in lines), name


def test_a_missed_aim_is_said():
    assert "MISSED" in Figure("slow", 3.0, "s", aim=2).line()
    assert "MISSED" not in Figure("fast", 1.0, "s", aim=2).line()
    assert not Figure("few", 0.01, "", aim=0.03, at_least=True).met
