"""Backups: an archive, read back into a scratch database and compared before it counts."""

import json
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, func, select

from lathhouse.domain.retention import kept
from lathhouse.errors import BadArchive
from lathhouse.store import backup_age, chains
from lathhouse.store.archive import write_archive
from lathhouse.store.archive_reading import differing_tables, fill, read_manifest
from lathhouse.store.kept_files import kept_files
from lathhouse.store.models import Backup, Base
from lathhouse.store.scratch import clear, scratch
from lathhouse.store.work import Work, looking, writing

Data = dict[str, Any]
NAME = "lathhouse-%Y%m%dT%H%M%SZ"
PLAIN, SEALED = ".zip", ".zip.age"
SECRET = "AGE-SECRET-KEY-"


def back_up(
    site_id: str,
    folder: Path,
    now: str,
    recipient: str | None = None,
    data: Path | None = None,
) -> Path:
    """Write a backup into a folder while others go on writing, and return its file.

    It is read back into a scratch database and compared, table by table and event by event, before
    it gets its name and counts as a backup.

    Args:
        recipient: an age public key (`age1…`); the file is sealed for it, once it was compared.
        data: the data folder, whose keys go into a sealed backup; a plain one holds no secret.

    Raises:
        BadArchive: what was read back is not what was written.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    stem = _time_of(now).strftime(NAME)
    for one in {folder, data or folder}:
        clear(one)
    # What is sealed leaves the data folder sealed only: the other one may be on a stick.
    with scratch(data or folder) as inside, scratch(folder) as beside:
        made = inside / f"{stem}{PLAIN}"
        made.touch(mode=0o600)
        manifest = write_archive(
            site_id, made, now, kept_files(data) if recipient and data else None
        )
        verify(site_id, made, now)
        ready = beside / f"{stem}{SEALED if recipient else PLAIN}"
        if recipient:
            seal(made, recipient, ready)
        else:
            shutil.move(made, ready)
        # In its folder already, so that the last step is a rename.
        place = folder / ready.name
        _settle(ready, place)
    writing(site_id, now, lambda work: _note(work, place, manifest))
    return place


def verify(site_id: str, path: Path, now: str) -> None:
    """Read an archive into a scratch database and compare it with the record.

    Raises:
        BadArchive: a table, an event or a link of the chain differs.
    """
    manifest = read_manifest(path)
    with scratch(path.parent) as folder:
        engine = create_engine(f"sqlite:///{folder}/scratch.sqlite")
        Base.metadata.create_all(engine)
        try:
            with engine.begin() as connection:
                fill(connection, path, manifest)
            found = _differences(site_id, engine, manifest, now)
        finally:
            engine.dispose()
    if found:
        raise BadArchive(f"{path.name}: what was read back is not the record: {'; '.join(found)}.")


def _differences(site_id: str, engine: Engine, manifest: Data, now: str) -> list[str]:
    with engine.connect() as connection:
        found = [f"table {name}" for name in differing_tables(connection, manifest)]
        copy = Work(connection, site_id, now)
        found += chains.check_chains(copy)
        found += looking(site_id, now, lambda work: _differing_events(work, copy, manifest))
    return found[:5]


def _differing_events(work: Work, copy: Work, manifest: Data) -> list[str]:
    """Compare the record's own events with the copy's, one by one; later ones are not in it."""
    copied = chains.entries(copy)
    found = []
    for entry in chains.entries(work):
        other = next(copied, None)
        if other is None:
            break
        if entry != other:
            found.append(f"event {entry['id']} at position {entry['position']}")
    if next(copied, None) is not None or copy_count(copy.connection) != manifest["events"]:
        found.append("its number of events")
    return found


def copy_count(connection: Connection) -> int:
    """Return how many events a database holds."""
    count = connection.execute(select(func.count()).select_from(Base.metadata.tables["events"]))
    return int(count.scalar() or 0)


def seal(path: Path, recipient: str, to: Path) -> Path:
    """Write a file sealed for an age public key.

    Raises:
        BadArchive: the library is not installed, or it is no such key.
    """
    pyrage = _pyrage()
    try:
        keys = [pyrage.x25519.Recipient.from_str(recipient)]
    except pyrage.RecipientError as error:
        says = "is no age public key; one begins with age1 and is made by: lathhouse key"
        raise BadArchive(f"{recipient} {says}.") from error
    to.touch(mode=0o600)
    pyrage.encrypt_file(str(path), str(to), keys)
    return to


def read_key(path: Path) -> str:
    """Return the secret key in a file, which may say other things around it.

    Raises:
        BadArchive: there is none in it.
    """
    lines = path.read_bytes().decode("utf-8", errors="replace").split()
    found = next((line for line in lines if line.startswith(SECRET)), None)
    if found is None:
        raise BadArchive(f"{path} holds no secret key; one begins with {SECRET}.")
    return found


def unseal(path: Path, identity: str, to: Path) -> Path:
    """Write a sealed file's content to a plain one.

    Raises:
        BadArchive: the key does not open it.
    """
    pyrage = _pyrage()
    try:
        key = pyrage.x25519.Identity.from_str(identity.strip())
        pyrage.decrypt_file(str(path), str(to), [key])
    except (pyrage.IdentityError, pyrage.DecryptError) as error:
        raise BadArchive(f"This key does not open {path.name}: {error}.") from error
    return to


def new_key() -> tuple[str, str]:
    """Return (secret, public) of a new age key pair."""
    identity = _pyrage().x25519.Identity.generate()
    return str(identity), str(identity.to_public())


def _pyrage() -> Any:
    try:
        import pyrage
    except ImportError as error:
        says = "Sealing backups needs one more library: pip install 'lathhouse[sealing]'."
        raise BadArchive(says) from error
    return pyrage


def _settle(ready: Path, place: Path) -> None:
    """Give a finished file its name, so that it is whole there or not there, also after a crash."""
    with ready.open("rb") as file:
        os.fsync(file.fileno())
    ready.replace(place)
    directory = os.open(place.parent, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


def _note(work: Work, place: Path, manifest: Data) -> None:
    row = {"at": manifest["made_at"], "file": str(place), "events": manifest["events"]}
    row |= {"chain": manifest["chain"], "seqs": json.dumps(manifest["devices"])}
    work.upsert(Backup, [row], ("at",))
    backup_age.note(work, manifest["made_at"])


def last_backup(work: Work) -> Data | None:
    """Return {at, file, events, chain, seqs} of the newest backup that was found whole.

    One that was made by a clock which ran ahead tells nothing of tonight.
    """
    query = select(func.max(Backup.at)).where(Backup.site_id == work.site_id, Backup.at <= work.now)
    newest = work.connection.execute(query).scalar()
    rows = work.rows(Backup, Backup.at == newest) if newest else []
    return {**rows[0], "seqs": json.loads(rows[0]["seqs"])} if rows else None


def backed_up_seq(work: Work, device: str) -> int:
    """Return up to which of a device's numbers a backup that was found whole holds its events."""
    newest = last_backup(work)
    return int(newest["seqs"].get(device, 0)) if newest else 0


def clear_old(folder: Path) -> list[Path]:
    """Take away the backups that are not kept any more (`domain/retention.py`); return them."""
    times = {}
    for path in folder.iterdir():
        stem = path.name.removesuffix(SEALED).removesuffix(PLAIN)
        try:
            times[path] = datetime.strptime(stem, NAME).replace(tzinfo=UTC)
        except ValueError:
            continue  # not one of ours: people may keep other things there
    keep = kept(times.values())
    gone = sorted(path for path, at in times.items() if at not in keep)
    for path in gone:
        path.unlink()
    return gone


def _time_of(now: str) -> datetime:
    return datetime.fromisoformat(now.replace("Z", "+00:00")).astimezone(UTC)
