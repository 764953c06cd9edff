"""Pictures in an archive: each a file of its own, `photo-SHA256`, beside the table's lines.

What is put back is compared with the archive's manifest and not with the name: a picture that was
damaged in the record is copied as it is, so that it holds up no backup; `check` names it.
"""

import hashlib
import zipfile
from typing import Any

from sqlalchemy import Connection, LargeBinary, Table, select

from lathhouse.errors import BadArchive
from lathhouse.store.kept_files import DAMAGED
from lathhouse.store.models import Photo

Data = dict[str, Any]
TABLE: Table = Photo.__table__  # type: ignore[assignment]
# So many rows at a time are held in memory with their octets.
PAGE = 16
OCTETS_MAX_BYTES = 64 * 1024 * 1024


def plain_columns(table: Table) -> list[Any]:
    """Return a table's columns that are written as its lines: all but octets."""
    return [column for column in table.columns if not isinstance(column.type, LargeBinary)]


def member_of(sha256: str) -> str:
    """Return the name of a picture's file in an archive."""
    return f"photo-{sha256}"


def write_photos(file: zipfile.ZipFile, connection: Connection, site_id: str) -> dict[str, str]:
    """Write every picture of a site; return {name: SHA-256 of its octets} for the manifest."""
    query = select(TABLE.c.sha256).where(TABLE.c.site_id == site_id).order_by(TABLE.c.sha256)
    found = {}
    for sha256 in connection.scalars(query).all():
        octets = _octets(connection, site_id, sha256)
        # A JPEG is packed already.
        file.writestr(member_of(sha256), octets, zipfile.ZIP_STORED)
        found[sha256] = hashlib.sha256(octets).hexdigest()
    return found


def with_octets(file: zipfile.ZipFile, row: Data, said: Data) -> Data:
    """Return a picture's row with its octets from an archive.

    Raises:
        BadArchive: they are missing, or not what the manifest says of them.
    """
    name = member_of(str(row["sha256"]))
    try:
        with file.open(name) as part:
            octets = part.read(OCTETS_MAX_BYTES)
    except (KeyError, zipfile.BadZipFile) as error:
        raise BadArchive(f"{name} in it is missing or cannot be read: {DAMAGED}") from error
    if hashlib.sha256(octets).hexdigest() != said.get(row["sha256"]):
        raise BadArchive(f"{name} in it is not what its manifest says: {DAMAGED}")
    return {**row, "octets": octets}


def differ(connection: Connection, manifest: Data) -> bool:
    """Say whether a filled database holds other octets than the archive that filled it."""
    said: dict[str, str] = manifest.get("photos") or {}
    return any(
        hashlib.sha256(_octets(connection, manifest["site"], sha256)).hexdigest() != digest
        for sha256, digest in said.items()
    )


def _octets(connection: Connection, site_id: str, sha256: str) -> bytes:
    query = select(TABLE.c.octets).where(TABLE.c.site_id == site_id, TABLE.c.sha256 == sha256)
    return bytes(connection.scalar(query) or b"")
