"""Installing Debian's packages where root runs the tests: one process of the run at a time."""

import fcntl
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

LOCK = Path(tempfile.gettempdir()) / "lathhouse-tests-install.lock"
WAITS = "DPkg::Lock::Timeout=600"


def install(packages: tuple[str, ...], is_there: Callable[[], bool]) -> None:
    """Install packages unless what they bring is there; where it cannot be done, do nothing.

    Two processes of one run may want the same package at once, or two of them.
    """
    if is_there() or os.geteuid() != 0 or shutil.which("apt-get") is None:
        return
    with LOCK.open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if is_there():
            return
        subprocess.run(["apt-get", "update"], check=False, capture_output=True)
        command = ["apt-get", "install", "-o", WAITS, "-y", "--no-install-recommends", *packages]
        subprocess.run(command, check=False, capture_output=True)
