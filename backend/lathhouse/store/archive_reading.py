"""An archive read back: what its manifest must say, what it may hold, and its rows put in place.

It is a stranger's file until it is shown to be ours: whatever is wrong with it is said in a
sentence, and whoever reads it does so in a transaction that then leaves nothing.
"""

import hashlib
import json
import zipfile
import zlib
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Connection, Integer, Table, insert
from sqlalchemy.exc import OperationalError, StatementError

from lathhouse.errors import BadArchive
from lathhouse.store import archive_photos
from lathhouse.store.archive import FORMAT, MANIFEST, PAGE, lines_of, site_of, tables
from lathhouse.store.kept_files import DAMAGED
from lathhouse.store.walls import enter

Data = dict[str, Any]
LINE_MAX_BYTES = 64 * 1024 * 1024
# What deflate makes of our lines is a tenth to a fiftieth; a thousandth is the most that it can.
PACKED_MAX, UNJUDGED_BYTES = 200, 1024 * 1024
MANIFEST_MAX_BYTES = 64 * 1024 * 1024
SYMBOLIC_LINK = 0o12
SEALED_START = b"age-encryption.org/"
# What a zip that was cut, altered or made by others makes its library say.
UNREADABLE = (KeyError, ValueError, EOFError, RecursionError, RuntimeError,
              zipfile.BadZipFile, zlib.error)  # fmt: skip
SHAPE: dict[str, type] = {
    "made_at": str, "schema": str, "site": str, "events": int, "chain": str, "members": dict,
}  # fmt: skip
# Since which version of the database a table is there: an older archive does without it. One that
# is not named here is asked for of this program's own archives only.
FIRST = ("alerts", "backups", "chain_heads", "event_links", "events", "pairings", "refusals",
         "sessions", "sites", "subjects", "tokens")  # fmt: skip
SINCE = {
    **dict.fromkeys(FIRST, "0003"),
    **dict.fromkeys(("calendars", "calendar_entries"), "0005"),
    **dict.fromkeys(("deliveries", "push_subscriptions"), "0006"),
    **dict.fromkeys(("passphrases", "known_browsers", "failed_tries"), "0011"),
    "photos": "0012",
    "row_marks": "0013",
    "contacts": "0015",
}
LATER = "9999"


def read_manifest(path: Path) -> Data:
    """Return an archive's manifest.

    Raises:
        BadArchive: it is sealed, no archive of ours, or of a newer program.
    """
    says = "It is not an archive of this program, or it was cut short. Choose another copy."
    try:
        if is_sealed(path):
            raise BadArchive("This backup is sealed. Give the secret key's file: --key FILE")
        with zipfile.ZipFile(path) as file:
            check_members(path.name, file)
            manifest: Any = json.loads(file.read(MANIFEST))
    except (OSError, *UNREADABLE) as error:
        raise BadArchive(f"{path.name}: {says}") from error
    if not isinstance(manifest, dict):
        raise BadArchive(f"{path.name}: {says}")
    if manifest.get("format") != FORMAT:
        says = f"It is of form {manifest.get('format')}; this program reads form {FORMAT}."
        raise BadArchive(f"{path.name}: {says} A newer program is needed.")
    wrong = malformed(manifest)
    if wrong:
        raise BadArchive(f"{path.name}: its manifest does not say {wrong} as it must: {DAMAGED}")
    return manifest


def is_sealed(path: Path) -> bool:
    """Say whether a file is sealed in the age format (C2SP, age specification, v1)."""
    with path.open("rb") as file:
        return file.read(len(SEALED_START)) == SEALED_START


def malformed(manifest: Data) -> str:
    """Return the name of what a manifest lacks or says in another shape; "" where all is well."""
    for name, kind in SHAPE.items():
        if type(manifest.get(name)) is not kind:
            return name
    for name in ("photos", "kept"):
        said = manifest.get(name) or {}
        if not isinstance(said, dict) or not all(isinstance(one, str) for one in said.values()):
            return name
    for table in tables():
        member = f"{table.name}.jsonl"
        said = manifest["members"].get(member)
        if said is None and SINCE.get(table.name, LATER) > manifest["schema"]:
            continue
        if not isinstance(said, dict) or type(said.get("lines")) is not int:
            return f"members, {member},"
    return "" if manifest["members"]["sites.jsonl"]["lines"] == 1 else "one nursery"


def check_members(name: str, file: zipfile.ZipFile) -> None:
    """Refuse a zip that was made to harm, before anything of it is unpacked.

    Raises:
        BadArchive: a name in it leads elsewhere or comes twice, or it unpacks to absurdly much.
    """
    found = file.infolist()
    says = "This was not made by this program. Choose another copy."
    names = [one.filename for one in found]
    if len(set(names)) != len(names):
        raise BadArchive(f"{name}: a file is in it twice. {says}")
    for one in found:
        leads = Path(one.filename).name != one.filename or "\\" in one.filename
        if leads or one.is_dir() or one.external_attr >> 28 == SYMBOLIC_LINK:
            raise BadArchive(f"{name}: {one.filename!r} in it is no plain file. {says}")
        most = max(UNJUDGED_BYTES, PACKED_MAX * one.compress_size)
        most = min(most, MANIFEST_MAX_BYTES) if one.filename == MANIFEST else most
        if one.file_size > most:
            raise BadArchive(f"{name}: {one.filename} unpacks to absurdly much. {says}")


def fill(connection: Connection, path: Path, manifest: Data) -> None:
    """Put an archive's rows in place of all that a database holds of that nursery.

    Raises:
        BadArchive: a table in it is not what its manifest says, or a row is none of that nursery's.
    """
    empty(connection, manifest["site"])
    with zipfile.ZipFile(path) as file:
        for table in tables():
            if f"{table.name}.jsonl" in manifest["members"]:
                _read_table(connection, table, file, manifest)


def empty(connection: Connection, site_id: str) -> None:
    """Take away all that a database holds of one nursery."""
    enter(connection, site_id)
    for table in tables():
        connection.execute(table.delete().where(site_of(table) == site_id))


def differing_tables(connection: Connection, manifest: Data) -> list[str]:
    """Return the tables of a filled database that would not be written as they were read."""
    found = []
    for table in tables():
        digest = hashlib.sha256()
        for line in lines_of(connection, table, manifest["site"]):
            digest.update(line)
        said = manifest["members"].get(f"{table.name}.jsonl")
        if said is None or said["sha256"] != digest.hexdigest():
            found.append(table.name)
    if archive_photos.differ(connection, manifest):
        found.append("photos, their octets")
    return found


def _read_table(
    connection: Connection, table: Table, file: zipfile.ZipFile, manifest: Data
) -> None:
    member = f"{table.name}.jsonl"
    try:
        digest, lines = _put_rows(connection, table, file, manifest)
    except OperationalError:
        # The database's own trouble, such as a full disk: no fault of the copy.
        raise
    except (*UNREADABLE, OverflowError, StatementError) as error:
        raise BadArchive(f"{member} is missing or cannot be read: {DAMAGED}") from error
    said = manifest["members"][member]
    if digest != said.get("sha256") or lines != said["lines"]:
        raise BadArchive(f"{member} in it is not what its manifest says: {DAMAGED}")


def _put_rows(
    connection: Connection, table: Table, file: zipfile.ZipFile, manifest: Data
) -> tuple[str, int]:
    """Insert a table's rows; return the SHA-256 of its lines and how many there were."""
    digest, rows, lines = hashlib.sha256(), [], 0
    photos = table is archive_photos.TABLE
    with file.open(f"{table.name}.jsonl") as whole:
        for line in iter(lambda: whole.readline(LINE_MAX_BYTES), b""):
            digest.update(line)
            lines += 1
            row = _filled(table, json.loads(line), manifest["site"])
            if photos:
                row = archive_photos.with_octets(file, row, manifest.get("photos") or {})
            rows.append(row)
            if len(rows) == (archive_photos.PAGE if photos else PAGE):
                connection.execute(insert(table), rows)
                rows = []
    if rows:
        connection.execute(insert(table), rows)
    return digest.hexdigest(), lines


def _filled(table: Table, row: Any, site_id: str) -> Data:
    """Return a row of that nursery, given what its table has got since an older program wrote it.

    Raises:
        ValueError: it is no such row.
    """
    if not isinstance(row, dict) or row.get(site_of(table).name) != site_id:
        raise ValueError("it is no row of this nursery")
    full = {column.name: row.get(column.name, _empty(column)) for column in table.columns}
    for column in table.columns:
        value = full[column.name]
        if value is not None and type(value) is not _kind(column):
            raise ValueError(f"{column.name} is of another kind")
    return full


def _kind(column: Any) -> type:
    if isinstance(column.type, Boolean):
        return bool
    return int if isinstance(column.type, Integer) else str


def _empty(column: Any) -> Any:
    if column.nullable:
        return None
    return False if isinstance(column.type, Boolean) else ""
