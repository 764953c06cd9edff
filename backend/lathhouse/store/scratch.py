"""A folder for what is not finished, which a process that was killed leaves for the next to clear.

It may hold the whole record in plain text, so it lies where the record does, and is nobody else's.
"""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

PREFIX = ".unfinished-"


@contextmanager
def scratch(folder: Path) -> Iterator[Path]:
    """Yield a new folder in a folder, held while it is worked in, and taken away after."""
    with tempfile.TemporaryDirectory(prefix=PREFIX, dir=folder) as name:
        line = os.open(name, os.O_RDONLY)
        try:
            # Some disks of a network know no such locks: there a second process clears too early,
            # and this one says that its file is gone.
            with suppress(OSError):
                fcntl.flock(line, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield Path(name)
        finally:
            os.close(line)


def clear(folder: Path) -> list[str]:
    """Take away what processes that live no more have left in a folder; return the names."""
    gone = []
    for one in sorted(folder.glob(f"{PREFIX}*")):
        if one.is_symlink() or not one.is_dir():
            continue
        line = os.open(one, os.O_RDONLY)
        try:
            fcntl.flock(line, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            # Somebody works in it, or nobody can tell.
            continue
        else:
            shutil.rmtree(one)
            gone.append(one.name)
        finally:
            os.close(line)
    return gone
