"""The tests' files lie in memory, where there is much of it: nothing here outlives the computer.

Databases, browsers and PostgreSQL flush each change, and on a disk most of a test is that wait.
What a killed program leaves behind is the same in memory as on a disk: only a power cut tells them
apart, and none is made here.
"""

import os
import shutil
import tempfile
from pathlib import Path

MEMORY = Path("/dev/shm")
# A few schedules; and a whole run, with a program installed and some hundred browsers' profiles.
LITTLE_BYTES = 1_000_000_000
MUCH_BYTES = 8_000_000_000


def in_memory(room_bytes: int = LITTLE_BYTES) -> str | None:
    """Return a folder in memory, where there is one with that much room."""
    roomy = MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > room_bytes
    return str(MEMORY) if roomy and _available_bytes() > room_bytes else None


def _available_bytes() -> int:
    """Return how much memory is to be had: a folder there may be said to hold more."""
    with Path("/proc/meminfo").open() as told:
        said = dict(line.split(":", 1) for line in told)
    return int(said["MemAvailable"].split()[0]) * 1024


def pytest_configure() -> None:
    """Let all that is temporary lie in memory, here and in every program that is started from here.

    A folder that somebody asked for is left as it is.
    """
    folder = in_memory(MUCH_BYTES)
    if folder and "TMPDIR" not in os.environ:
        os.environ["TMPDIR"] = folder
        tempfile.tempdir = None
