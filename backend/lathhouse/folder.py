"""The data folder: made for its owner alone, held by one server, and known to hold a record."""

import errno
import fcntl
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.engine import make_url

from lathhouse.errors import NotNow
from lathhouse.settings import Settings

HELD = ".held"
# What versions before this one left outside the folder when they were killed, in plain text.
LEFT_BEHIND = ("lathhouse-scratch-*", "lathhouse-restore-*")
LEFT_AFTER_SECONDS = 24 * 3600


def make_folder(settings: Settings) -> None:
    """Make the folder and the file of the record where there are none, for their owner alone.

    What is there already keeps the rights that somebody gave it.
    """
    settings.data.mkdir(mode=0o700, parents=True, exist_ok=True)
    file = record_file(settings)
    if file is not None and not file.exists():
        # SQLite's two files beside it get the rights of this one.
        file.touch(mode=0o600)


def record_file(settings: Settings) -> Path | None:
    """Return the file of a record in SQLite; None where it is elsewhere."""
    found = make_url(settings.url)
    path = Path(found.database or "")
    return path if found.drivername.startswith("sqlite") and path.is_absolute() else None


def holds_record(settings: Settings) -> bool:
    """Say whether a server has begun a record here: its file, or the folder beside PostgreSQL."""
    file = record_file(settings)
    return settings.data.is_dir() if file is None else file.is_file()


class Hold:
    """The folder as one server's own, until its process ends however it does."""

    def __init__(self, line: int) -> None:
        self.line = line

    def leave(self) -> None:
        """Let go, in a process that was made by the one which holds it: that one holds it on."""
        os.close(self.line)


@contextmanager
def held(folder: Path, *, shared: bool = False) -> Iterator[Hold]:
    """Hold a data folder.

    The operating system keeps the lock and lets go of it when the process ends, so that none is
    ever left behind.

    Args:
        shared: beside other servers that share it too, as on one PostgreSQL.

    Raises:
        NotNow: another server has it.
    """
    line = os.open(folder / HELD, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(line, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as error:
        number = os.pread(line, 20, 0).decode()
        os.close(line)
        if error.errno not in (errno.EAGAIN, errno.EACCES):
            raise
        who = f" (process {number})" if number else ""
        raise NotNow(f"Another server has this folder{who}. Stop it first.") from error
    os.ftruncate(line, 0)
    if not shared:
        os.pwrite(line, str(os.getpid()).encode(), 0)
    try:
        yield Hold(line)
    finally:
        os.close(line)


def clear_left_behind() -> None:
    """Take away what an older version left in the folder for temporary files when it was killed."""
    for pattern in LEFT_BEHIND:
        for one in Path(tempfile.gettempdir()).glob(pattern):
            found = one.lstat()
            old = time.time() - found.st_mtime > LEFT_AFTER_SECONDS
            if old and found.st_uid == os.getuid() and one.is_dir() and not one.is_symlink():
                shutil.rmtree(one)
