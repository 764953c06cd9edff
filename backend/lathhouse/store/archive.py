"""The whole record as one plain file, and back: a zip of JSON Lines, one file a table, with CSV
beside it for people. Both kinds of database read and write the same file.

What is inside is described in DEVELOPERS.md, "the archive".
"""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, func, select

from lathhouse.domain.chain import WHOLE
from lathhouse.store import archive_photos, chains
from lathhouse.store.engine import reading
from lathhouse.store.kept_files import write_kept
from lathhouse.store.models import Base, db
from lathhouse.store.work import Work, dumps

Data = dict[str, Any]
FORMAT = 1
MANIFEST = "manifest.json"
PAGE = 1000
# Of one statement only: a connection that keeps it can write no more in PostgreSQL.
BY_PAGES = {"yield_per": PAGE}
# A cell that a spreadsheet would take for a formula is led by an apostrophe (common practice).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
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
                file, f"{table.name}.jsonl", lines_of(connection, table, site_id)
            )
        for sheet in SHEETS:
            members[f"{sheet}.csv"] = _write_member(file, f"{sheet}.csv", _sheet(work, sheet))
        manifest = {
            "format": FORMAT,
            "made_at": now,
            "schema": schema_version(connection),
            "site": site_id,
            "events": work.connection.execute(count_of("events", site_id)).scalar(),
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


def count_of(name: str, site_id: str) -> Any:
    table = Base.metadata.tables[name]
    return select(func.count()).select_from(table).where(site_of(table) == site_id)


def site_of(table: Table) -> Any:
    return table.c["id" if table.name == "sites" else "site_id"]


def lines_of(connection: Connection, table: Table, site_id: str) -> Iterator[bytes]:
    """Yield a site's rows of a table as JSON lines, by primary key: equal records, equal files."""
    columns = archive_photos.plain_columns(table)
    query = select(*columns).where(site_of(table) == site_id)
    query = query.order_by(*table.primary_key.columns)
    for row in connection.execute(query, execution_options=BY_PAGES).mappings():
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
    for text in work.connection.execute(query, execution_options=BY_PAGES).scalars():
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
