"""The few files beside the record that the same nursery needs to go on as it was.

They hold secrets (the key that signs push messages, the mail server's password, the key of the
nursery's own authority), so they go into sealed backups only.
"""

import hashlib
import os
import shutil
import zipfile
import zlib
from pathlib import Path
from typing import Any

from lathhouse.errors import BadArchive

# By these names alone are they read back, whatever else an archive says is in it.
NAMES = (
    "vapid.pem",
    "mail.json",
    "lan/authority.pem",
    "lan/authority-key.pem",
    "lan/other/authority.pem",
    "lan/other/authority-key.pem",
    "lan/name.json",
)
# Made anew in every empty folder before a record can be restored into it: what phones know goes
# before it.
ALWAYS = ("vapid.pem",)
FILE_MAX_BYTES = 64 * 1024
# Where a restore lays them ready in the data folder, and with which record they came.
READY, EPOCH = ".restoring", "epoch"
DAMAGED = "the copy is damaged. Choose another."


def kept_files(data: Path) -> dict[str, bytes]:
    """Return the files of a data folder that are kept, by their names in it."""
    found = {name: data / name for name in NAMES}
    return {name: path.read_bytes() for name, path in found.items() if path.is_file()}


def member_of(name: str) -> str:
    """Return the name of a kept file in an archive, whose files lie in no folders."""
    return f"kept-{name.replace('/', '-')}"


def write_kept(file: zipfile.ZipFile, kept: dict[str, bytes]) -> dict[str, str]:
    """Write them into an archive; return the SHA-256 of each, for its manifest."""
    for name, content in kept.items():
        file.writestr(member_of(name), content)
    return {name: hashlib.sha256(content).hexdigest() for name, content in kept.items()}


def lay_ready(archive: Path, manifest: dict[str, Any], data: Path, epoch: str) -> None:
    """Lay an archive's kept files ready in a data folder, for the record that has this epoch.

    Raises:
        BadArchive: one is missing, or not what the manifest says.
    """
    forget_ready(data)
    said = manifest.get("kept") or {}
    with zipfile.ZipFile(archive) as file:
        found = {name: _read(file, name, said[name]) for name in NAMES if name in said}
    for name, content in found.items():
        _write(data / READY / name, content)
    # Last, so that what is ready is ready whole.
    _write(data / READY / EPOCH, epoch.encode())


def put_ready(data: Path, epoch: str | None) -> list[str]:
    """Give the files that a restore laid ready their places; return the names of those written.

    Only where the record is the one that they came with. One that is there already stays, but for
    the push key.
    """
    ready = data / READY
    if not (ready / EPOCH).is_file() or (ready / EPOCH).read_text() != epoch:
        return []
    there = [name for name in NAMES if (ready / name).is_file()]
    wanted = [name for name in there if name in ALWAYS or not (data / name).exists()]
    for name in wanted:
        (data / name).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        (ready / name).replace(data / name)
    forget_ready(data)
    return wanted


def forget_ready(data: Path) -> None:
    """Take away what a restore laid ready: its record never came to be, or all is in its place."""
    if (data / READY).is_dir():
        shutil.rmtree(data / READY)


def _read(file: zipfile.ZipFile, name: str, digest: str) -> bytes:
    try:
        with file.open(member_of(name)) as part:
            content = part.read(FILE_MAX_BYTES)
    except (KeyError, ValueError, EOFError, RuntimeError, zipfile.BadZipFile, zlib.error) as error:
        raise BadArchive(f"{name} in it is missing or cannot be read: {DAMAGED}") from error
    if hashlib.sha256(content).hexdigest() != digest:
        raise BadArchive(f"{name} in it is not what its manifest says: {DAMAGED}")
    return content


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, for its owner alone."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
