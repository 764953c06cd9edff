"""The whole record as one plain file, and back: a zip of JSON Lines, one file a table, with CSV
beside it for people. Both kinds of database read and write the same file.

What is inside is described in DEVELOPERS.md, "the archive".
"""

import csv
import hashlib
import io
import json
import uuid
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Connection, Table, func, insert, select

from lathhouse.domain.chain import WHOLE
from lathhouse.errors import BadArchive
from lathhouse.store import archive_photos, chains
from lathhouse.store.engine import reading
from lathhouse.store.kept_files import write_kept
from lathhouse.store.models import Base, db
from lathhouse.store.walls import enter
from lathhouse.store.work import Work, dumps

Data = dict[str, Any]
FORMAT = 1
MANIFEST = "manifest.json"
PAGE = 1000
LINE_MAX_BYTES = 64 * 1024 * 1024
# A cell that a spreadsheet would take for a formula is led by an apostrophe (common practice).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
# What deflate makes of our lines is a tenth to a fiftieth; a thousandth is the most that it can.
PACKED_MAX, UNJUDGED_BYTES = 200, 1024 * 1024
MANIFEST_MAX_BYTES = 64 * 1024 * 1024
SYMBOLIC_LINK = 0o12
SHEETS: dict[str, tuple[str, ...]] = {
    "lots": ("label", "crop", "stage", "stage_since", "place", "quantity", "unit", "container_l"),
    "events": ("at", "kind", "lot", "by", "device", "seq", "data", "id"),
    "alerts": ("watch", "level", "since", "state", "raised_at", "cleared_at", "says", "id"),
}


def tables() -> list[Table]:
    """Return every table of ours, by name."""
    return [Base.metadata.tables[name] for name in sorted(Base.metadata.tables)]


def write_archive(site_id: str, path: Path, now: str, kept: dict[str, bytes] | None = None) -> Data:
    """Write the whole record, as of one moment, while others go on writing; return its manifest.

    Args:
        kept: files beside the record that go with it (`kept_files`): for a sealed copy only.
    """
    with reading(db.engine) as connection, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        work = Work(connection, site_id, now)
        members = {}
        for table in tables():
            members[f"{table.name}.jsonl"] = _write_member(
                file, f"{table.name}.jsonl", _lines(connection, table, site_id)
            )
        for sheet in SHEETS:
            members[f"{sheet}.csv"] = _write_member(file, f"{sheet}.csv", _sheet(work, sheet))
        manifest = {
            "format": FORMAT,
            "made_at": now,
            "schema": schema_version(connection),
            "site": site_id,
            "events": work.connection.execute(_count("events", site_id)).scalar(),
            "chain": chains.kept(work, set()).head(WHOLE),
            "devices": _numbers(work),
            "members": members,
            "photos": archive_photos.write_photos(file, connection, site_id),
            "kept": write_kept(file, kept or {}),
        }
        file.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return manifest


def _numbers(work: Work) -> dict[str, int]:
    """Return up to which number the record holds each device's events without a gap."""
    return {row["id"]: row["contiguous"] for row in _json_of(work, "subjects", "phone")}


def schema_version(connection: Connection) -> str:
    """Return the database's own version: the name of its last migration."""
    found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    return str(found)


def _count(name: str, site_id: str) -> Any:
    table = Base.metadata.tables[name]
    return select(func.count()).select_from(table).where(_site_of(table) == site_id)


def _site_of(table: Table) -> Any:
    return table.c["id" if table.name == "sites" else "site_id"]


def _lines(connection: Connection, table: Table, site_id: str) -> Iterator[bytes]:
    """Yield a site's rows of a table as JSON lines, by primary key: equal records, equal files."""
    columns = archive_photos.plain_columns(table)
    query = select(*columns).where(_site_of(table) == site_id)
    query = query.order_by(*table.primary_key.columns)
    for row in connection.execution_options(yield_per=PAGE).execute(query).mappings():
        yield dumps(dict(row)).encode() + b"\n"


def _sheet(work: Work, sheet: str) -> Iterator[bytes]:
    """Yield the lines of a table for people: RFC 4180, with formulas made harmless."""
    names = SHEETS[sheet]
    yield _csv(names)
    if sheet == "lots":
        yield from (_csv_of(row, names) for row in _json_of(work, "subjects", "lot"))
        return
    yield from (_csv_of(row, names) for row in _json_of(work, sheet, None))


def _json_of(work: Work, name: str, kind: str | None) -> Iterator[Data]:
    table = Base.metadata.tables[name]
    column = table.c["body" if name == "events" else "data"]
    order = table.c["position" if name == "events" else "id"]
    query = select(column).where(table.c.site_id == work.site_id).order_by(order)
    if kind:
        query = query.where(table.c.kind == kind)
    for text in work.connection.execution_options(yield_per=PAGE).execute(query).scalars():
        yield json.loads(text)


def _csv_of(row: Data, names: tuple[str, ...]) -> bytes:
    values = (row.get(name) for name in names)
    return _csv([dumps(v) if isinstance(v, dict | list) else v for v in values])


def _csv(values: Any) -> bytes:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\r\n").writerow([harmless(value) for value in values])
    return buffer.getvalue().encode()


def harmless(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula; numbers stay numbers."""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def _write_member(file: zipfile.ZipFile, name: str, lines: Iterator[bytes]) -> Data:
    digest, count = hashlib.sha256(), 0
    with file.open(name, "w", force_zip64=True) as out:
        for line in lines:
            digest.update(line)
            out.write(line)
            count += 1
    return {"sha256": digest.hexdigest(), "lines": count}


def read_manifest(path: Path) -> Data:
    """Return an archive's manifest.

    Raises:
        BadArchive: it is no archive of ours, or of a newer program.
    """
    try:
        with zipfile.ZipFile(path) as file:
            check_members(path.name, file)
            manifest: Data = json.loads(file.read(MANIFEST))
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        says = "It is not an archive of this program, or it was cut short. Choose another copy."
        raise BadArchive(f"{path.name}: {says}") from error
    if manifest.get("format") != FORMAT:
        says = f"It is of form {manifest.get('format')}; this program reads form {FORMAT}."
        raise BadArchive(f"{path.name}: {says} A newer program is needed.")
    return manifest


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


def read_archive(path: Path) -> Data:
    """Fill the database, which must hold no event, from an archive; return its manifest.

    The site gets a new epoch, so that phones notice and offer what came after the archive was made.

    Raises:
        BadArchive: it is not whole, or made by a newer program, or there is a record here already.
    """
    manifest = read_manifest(path)
    with db.engine.begin() as connection:
        version = schema_version(connection)
        if manifest["schema"] > version:
            says = f"It was made at version {manifest['schema']}, this program is at {version}."
            raise BadArchive(f"{path.name}: {says} Install the newer program first.")
        if any(_holds_events(connection, site) for site in _sites(connection)):
            says = "There is a record in this place already. Restore into an empty folder or base."
            raise BadArchive(says)
        fill(connection, path, manifest)
        anew = {"epoch": str(uuid.uuid4()), "clock_owner": None, "clock_until": None}
        anew |= {"trusted_at": None}
        connection.execute(Base.metadata.tables["sites"].update().values(**anew))
    return manifest


def _sites(connection: Connection) -> list[str]:
    return list(connection.execute(select(Base.metadata.tables["sites"].c.id)).scalars())


def _holds_events(connection: Connection, site_id: str) -> bool:
    enter(connection, site_id)
    return bool(connection.execute(_count("events", site_id)).scalar())


def fill(connection: Connection, path: Path, manifest: Data) -> None:
    """Put an archive's rows in place of all that a database holds.

    Raises:
        BadArchive: a table in it is not what its manifest says.
    """
    for site in _sites(connection):
        enter(connection, site)
        for table in tables():
            connection.execute(table.delete().where(_site_of(table) == site))
    enter(connection, manifest["site"])
    with zipfile.ZipFile(path) as file:
        for table in tables():
            member = f"{table.name}.jsonl"
            if member in manifest["members"]:
                _read_table(connection, table, file, manifest)


def differing_tables(connection: Connection, manifest: Data) -> list[str]:
    """Return the tables of a filled database that would not be written as they were read."""
    found = []
    for table in tables():
        digest = hashlib.sha256()
        for line in _lines(connection, table, manifest["site"]):
            digest.update(line)
        said = manifest["members"].get(f"{table.name}.jsonl")
        if said is not None and said["sha256"] != digest.hexdigest():
            found.append(table.name)
    if archive_photos.differ(connection, manifest):
        found.append("photos, their octets")
    return found


def _read_table(
    connection: Connection, table: Table, file: zipfile.ZipFile, manifest: Data
) -> None:
    digest, rows, lines = hashlib.sha256(), [], 0
    member = f"{table.name}.jsonl"
    said, photos = manifest["members"][member], table is archive_photos.TABLE
    columns = set(table.columns.keys())
    with file.open(member) as whole:
        for line in iter(lambda: whole.readline(LINE_MAX_BYTES), b""):
            digest.update(line)
            lines += 1
            row = {name: value for name, value in json.loads(line).items() if name in columns}
            if photos:
                row = archive_photos.with_octets(file, row, manifest.get("photos") or {})
            rows.append(_filled(table, row))
            if len(rows) == (archive_photos.PAGE if photos else PAGE):
                connection.execute(insert(table), rows)
                rows = []
    if rows:
        connection.execute(insert(table), rows)
    if digest.hexdigest() != said["sha256"] or lines != said["lines"]:
        raise BadArchive(f"{member} in it is not what its manifest says: the copy is damaged.")


def _filled(table: Table, row: Data) -> Data:
    """Give a row from an older program what its table has got since."""
    return {column.name: row.get(column.name, _empty(column)) for column in table.columns}


def _empty(column: Any) -> Any:
    if column.nullable:
        return None
    return False if isinstance(column.type, Boolean) else ""
