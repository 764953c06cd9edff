"""The nursery's name on its own network: settled at the first start, and moved with care.

A browser ties its store to a name. So a new name answers beside the old one until every phone has
sent what it holds and stands at the new one; only then the old name ends. What is kept of this is
one small file, and each change of it is one replacement: there is no half of a change.
"""

import json
import logging
import os
import re
import shutil
import socket
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path

from lathhouse.domain.instants import to_text
from lathhouse.errors import BadField, NotNow
from lathhouse.web import authority
from lathhouse.web.authority import Files, Site

# A name that phones on a home network resolve without a server (RFC 6762), or any DNS name.
NAME = re.compile(
    r"(?=.{1,253}$)([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)+[a-z][a-z0-9-]{0,61}[a-z0-9]"
)
# Where the certificates of a name lie in the folder; the one that a name does not stand in is the
# next name's.
SLOTS = (".", "other")

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Names:
    """The name that phones know, and during a move the next one."""

    name: str
    slot: str = SLOTS[0]
    next: str | None = None
    begun_at: str | None = None
    # Names that it had, and that ended; a start script may still hold one.
    former: tuple[str, ...] = ()

    @property
    def other_slot(self) -> str:
        """Where the next name's certificates lie."""
        return SLOTS[1] if self.slot == SLOTS[0] else SLOTS[0]


def kept_in(folder: Path) -> Path:
    """Return the file that holds the names."""
    return folder / "name.json"


def read(folder: Path) -> Names:
    """Return the names as they are kept.

    Raises:
        NotNow: none was settled yet.
    """
    if not kept_in(folder).exists():
        says = "This nursery has no name of its own on a network yet: start it with serve --lan."
        raise NotNow(says)
    said = json.loads(kept_in(folder).read_text())
    slot = said.get("slot") if said.get("slot") in SLOTS else SLOTS[0]
    former = tuple(said.get("former", ()))
    return Names(said["name"], str(slot), said.get("next"), said.get("begun_at"), former)


def _keep(folder: Path, names: Names) -> Names:
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    fresh = kept_in(folder).with_suffix(f".{os.getpid()}")
    with fresh.open("w") as file:
        file.write(json.dumps({k: value for k, value in asdict(names).items() if value}))
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(kept_in(folder))
    return names


def checked(name: str) -> str:
    """Return a name as it is kept.

    Raises:
        BadField: no machine can be called so.
    """
    name = name.lower()
    if not NAME.fullmatch(name):
        says = "is no name of a machine; one looks like nursery.local: letters, digits, hyphens"
        raise BadField(f"{name} {says}, and a dot.")
    return name


def settled_name(folder: Path, asked: str | None) -> str:
    """Return the nursery's name: the one it has had, or at first start the one asked for, or the
    machine's own name on its network.

    Raises:
        BadField: no such name can be, or phones know the nursery under another one.
    """
    if not kept_in(folder).exists():
        own = f"{socket.gethostname().split('.')[0]}.local"
        return _keep(folder, Names(checked(asked or own))).name
    known = read(folder)
    # A start script is changed before a move ends or after it, and a nursery that does not start
    # on the morning after is worse than a name in it that is out of date.
    if asked is not None and checked(asked) in known.former:
        log.warning("the nursery has moved from %s to %s: change its --name", asked, known.name)
    elif asked is not None and checked(asked) not in (known.name, known.next):
        raise BadField(
            f"Phones know this nursery as {known.name}, and keep what they have not sent under "
            f"that name. Start it without --name, and move it: lathhouse move-name {checked(asked)}"
        )
    return known.name


def begin_move(folder: Path, to: str, now: datetime) -> Names:
    """Begin to move to another name; both answer from now on. Asked again, nothing changes.

    Raises:
        BadField: it is no name, or the one that it has.
        NotNow: no name was settled yet, or a move to a third one is under way.
    """
    known, to = read(folder), checked(to)
    if to == known.name:
        raise BadField(f"This nursery is called {to} already.")
    if known.next == to:
        return known
    if known.next is not None:
        raise NotNow(
            f"A move from {known.name} to {known.next} is under way. End it first, or call it off."
        )
    if not Files(folder / known.slot).leaf.exists():
        raise NotNow("It was never started under its present name: start it with serve --lan.")
    _prepare_next(folder, known, to, now)
    return _keep(folder, replace(known, next=to, begun_at=to_text(int(now.timestamp() * 1000))))


def _prepare_next(folder: Path, known: Names, to: str, now: datetime) -> None:
    """Make the next name's certificates, under the authority that phones trust where it may."""
    here, there = Files(folder / known.slot), Files(folder / known.other_slot)
    there.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _clear(there)
    site = Site(to, authority.addresses_of(here.leaf))
    if authority.permits(here, to):
        shutil.copy2(here.authority_key, there.authority_key)
        shutil.copy2(here.authority, there.authority)
    authority.prepare(there, site, now)


def end_move(folder: Path) -> Names:
    """Let the next name be the only one. Who may stay behind was asked before.

    Raises:
        NotNow: no move is under way.
    """
    known = moving(folder)
    name = known.next or known.name
    former = tuple(one for one in (*known.former, known.name) if one != name)
    ended = _keep(folder, Names(name, known.other_slot, former=former))
    # Whoever found the old authority's key could still vouch for the old name.
    _clear(Files(folder / ended.other_slot))
    return ended


def call_off(folder: Path) -> Names:
    """Keep the old name, and let the next one answer no more.

    Raises:
        NotNow: no move is under way.
    """
    known = moving(folder)
    kept = _keep(folder, replace(known, next=None, begun_at=None))
    _clear(Files(folder / kept.other_slot))
    return kept


def is_left_over(folder: Path) -> bool:
    """Say whether keys of a name lie there that is the nursery's no more, or never became it."""
    known = read(folder)
    return known.next is None and any(p.exists() for p in _made(Files(folder / known.other_slot)))


def clear_left_over(folder: Path) -> None:
    """Finish an end, or a calling-off, that was cut off before the keys were taken away."""
    if is_left_over(folder):
        _clear(Files(folder / read(folder).other_slot))


def moving(folder: Path) -> Names:
    """Return the names of a move under way.

    Raises:
        NotNow: none is.
    """
    known = read(folder)
    if known.next is None:
        raise NotNow(f"The name is not on the move; it is {known.name}.")
    return known


def _made(files: Files) -> tuple[Path, ...]:
    return (files.authority_key, files.authority, files.leaf_key, files.leaf)


def _clear(files: Files) -> None:
    for path in _made(files):
        path.unlink(missing_ok=True)
    for path in files.folder.glob(f"*{authority.ASIDE}"):
        path.unlink()
