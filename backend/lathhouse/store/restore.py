"""A nursery put back from an archive, whole or not at all.

One transaction fills the tables, reads them back and follows the chain over the log; where anything
parts from what the archive says, it leaves nothing. The files beside the record (`kept_files`) are
laid ready before it commits and take their places after it, also where the process was killed in
between.
"""

import json
import uuid
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select, update

from lathhouse.domain.chain import WHOLE
from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.errors import BadArchive
from lathhouse.store import calendars, chains
from lathhouse.store.archive import count_of, schema_version
from lathhouse.store.archive_reading import differing_tables, empty, fill, read_manifest
from lathhouse.store.engine import is_sqlite
from lathhouse.store.kept_files import DAMAGED, lay_ready
from lathhouse.store.models import Base, Event, Site, db
from lathhouse.store.walls import enter
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
# So many differences are named; whoever has more needs another copy. Ours.
NAMED_MAX = 5


def read_archive(path: Path, data: Path | None = None) -> Data:
    """Put an archive's nursery into the database, which must hold no event of it.

    The site gets a new epoch, so that phones notice and offer what came after the archive was made.
    Other nurseries in the database are left alone.

    Args:
        data: the data folder; the files that go beside the record are laid ready in it.

    Returns:
        The archive's manifest.

    Raises:
        BadArchive: it is not whole, or made by a newer program, or there is a record here already.
    """
    manifest, epoch = read_manifest(path), str(uuid.uuid4())
    with db.engine.begin() as connection:
        _make_way(connection, path, manifest)
        fill(connection, path, manifest)
        found = differences(connection, manifest)
        if found:
            says = "what was read back is not what it says"
            raise BadArchive(f"{path.name}: {says}: {'; '.join(found)}. {DAMAGED.capitalize()}")
        if manifest["schema"] < calendars.NAMES_SINCE:
            calendars.name_by_token(Work(connection, manifest["site"], manifest["made_at"]))
        anew = {"epoch": epoch, "clock_owner": None, "clock_until": None, "trusted_at": None}
        connection.execute(update(Site).where(Site.id == manifest["site"]).values(**anew))
        if data is not None:
            lay_ready(path, manifest, data, epoch)
    return manifest


def differences(connection: Connection, manifest: Data) -> list[str]:
    """Return in words where a filled database parts from the archive that filled it.

    The tables of an older program have got columns since: there the chain is what holds the log.
    """
    work = Work(connection, manifest["site"], manifest["made_at"])
    fold = connection.scalar(select(Site.fold_version).where(Site.id == work.site_id))
    if (fold or 0) > FOLD_VERSION:
        return [f"it was folded by a newer program ({fold}; this one is of {FOLD_VERSION})"]
    found = []
    if manifest["schema"] == schema_version(connection):
        found += [f"table {name}" for name in differing_tables(connection, manifest)]
    found += chains.check_chains(work)
    if chains.kept(work, set()).head(WHOLE) != manifest["chain"]:
        found.append("the log's chain: its head is not the manifest's")
    if connection.scalar(count_of("events", work.site_id)) != manifest["events"]:
        found.append("its number of events")
    return found[:NAMED_MAX]


def epoch_of(site_id: str) -> str | None:
    """Return a site's epoch, by which the files that a restore laid ready are known as its own."""
    with db.engine.connect() as connection:
        return connection.scalar(select(Site.epoch).where(Site.id == site_id))


def tokens_on_record(site_id: str, now: str) -> set[tuple[str | None, str | None]]:
    """Return (name, role), where they are said, of every token whose making is in the log."""
    query = select(Event.body).where(Event.site_id == site_id, Event.kind == "access_changed")

    def act(work: Work) -> set[tuple[str | None, str | None]]:
        said = [json.loads(body)["data"] for body in work.connection.scalars(query)]
        return {
            (one.get("name"), one.get("role")) for one in said if one.get("what") == "token_made"
        }

    return looking(site_id, now, act)


def _make_way(connection: Connection, path: Path, manifest: Data) -> None:
    """See that the nursery can be put here; an empty one that was only just opened makes way.

    A file of SQLite is for one nursery, a PostgreSQL may hold others.

    Raises:
        BadArchive: there is a record here already, or the archive is of a newer program.
    """
    version = schema_version(connection)
    if manifest["schema"] > version:
        says = f"It was made at version {manifest['schema']}, this program is at {version}."
        raise BadArchive(f"{path.name}: {says} Install the newer program first.")
    known = list(connection.scalars(select(Base.metadata.tables["sites"].c.id)))
    full = [site for site in known if _holds_events(connection, site)]
    if manifest["site"] in full or (full and is_sqlite(connection)):
        says = "There is a record in this place already. Restore into an empty folder or base."
        raise BadArchive(says)
    if len(known) == 1 and not full:
        empty(connection, known[0])


def _holds_events(connection: Connection, site_id: str) -> bool:
    enter(connection, site_id)
    return bool(connection.execute(count_of("events", site_id)).scalar())
