"""The steps of a move of the nursery's name: each one is on record and on the disk, or neither.

What is on record counts. An end, or a calling-off, is put on record first and the file follows: a
server that died between the two lets it follow at its next start, and so does any later step.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy.exc import DBAPIError

from lathhouse.errors import NotNow, Refusal
from lathhouse.store import name_move
from lathhouse.store.work import Work, writing
from lathhouse.sync.server_events import ServerDevice, access_said, said
from lathhouse.web import names
from lathhouse.web.names import Names

Data = dict[str, Any]
Write = Callable[..., None]
BEGUN, ENDED, CALLED_OFF = name_move.STEPS
# So many phones are named in a refusal; a nursery has fewer. Ours.
NAMED_MAX = 12

log = logging.getLogger(__name__)


def writer(device: ServerDevice, by: str | None) -> Write:
    """Return what puts a step of a move on record, in the step's own transaction."""

    def write(work: Work, what: str, name: str, left: Sequence[str] = ()) -> None:
        behind = [{"id": one, "left_behind_at": device.time(work)} for one in left]
        told = [said("phone_changed", row, by) for row in behind]
        device.add(work, [access_said(what, by, name=name), *told])

    return write


def begin(folder: Path, to: str, site: str, at: str, write: Write) -> Names:
    """Begin a move, and put it on record once."""
    follow(folder, site, at, write)

    def act(work: Work) -> Names:
        name_move.lock(work)
        if names.read(folder).next is None:
            write(work, BEGUN, name=names.checked(to))
        # Last of all: where the file cannot be written, nothing is on record.
        return names.begin_move(folder, to, datetime.fromisoformat(at))

    return writing(site, at, act)


def end(folder: Path, site: str, leave: Callable[[], set[str]], at: str, write: Write) -> Names:
    """End the old name.

    Args:
        leave: says the ids of phones that are to stay behind with what they hold. It is not asked
            where the end is on record already: they are let in no more, and are found no more.

    Raises:
        NotNow: no move is under way, or a phone stands at the old name that nobody leaves behind.
    """
    asked = names.moving(folder)
    follow(folder, site, at, write)
    now = names.read(folder)
    if now.name == asked.next:
        return now
    known = names.moving(folder)
    phones = name_move.standing(site, known.next or "", at)
    old = [one for one in phones if one["at"] == "old"]
    behind = leave()
    waits = [one for one in old if one["id"] not in behind]
    if waits:
        raise NotNow(_waiting_words(known, waits), phones=[one["id"] for one in waits])

    def act(work: Work) -> None:
        _see_under_way(work, folder, known)
        # Whoever came in at the old name meanwhile would be shut out unasked.
        if _stand(name_move.standing(site, known.next or "", at)) != _stand(phones):
            raise NotNow("A phone came in or moved at this moment. Look how it stands: move-name.")
        name_move.end_old(work, [one["id"] for one in phones if one["at"] != "new"])
        write(work, ENDED, name=known.next, left=[one["id"] for one in old])

    writing(site, at, act)
    return _moved_on(folder, known, names.end_move)


def call_off(folder: Path, site: str, at: str, write: Write) -> Names:
    """Keep the old name.

    Raises:
        NotNow: no move is under way, or a phone stands at the new name already.
    """
    asked = names.moving(folder)
    follow(folder, site, at, write)
    now = names.read(folder)
    if (now.name, now.next) == (asked.name, None):
        return now
    known = names.moving(folder)
    gone = [one for one in name_move.standing(site, known.next or "", at) if one["at"] == "new"]
    if gone:
        raise NotNow(
            f"{listed(gone)} stands at {known.next} already, with a record of its own there. Let"
            " the others follow."
        )

    def act(work: Work) -> None:
        _see_under_way(work, folder, known)
        write(work, CALLED_OFF, name=known.next)

    writing(site, at, act)
    return _moved_on(folder, known, names.call_off)


def follow(folder: Path, site: str, at: str, write: Write) -> None:
    """Let the name's file follow what was put on record of a move under way, if it did not yet.

    It does not where somebody was let in since who would be shut out with what they hold: then the
    move goes on, and that is put on record, as is a move that only the file tells of.
    """
    if not names.kept_in(folder).exists():
        return
    if (known := names.read(folder)).next is None:
        _clear_left_over(folder, site, at)
        return
    stand = {one["at"] for one in name_move.standing(site, known.next, at)}

    def act(work: Work) -> None:
        name_move.lock(work)
        step = name_move.last_step(work)
        if names.read(folder) != known:
            return
        if step == _told(ENDED, known) and "old" not in stand:
            names.end_move(folder)
        elif step == _told(CALLED_OFF, known) and "new" not in stand:
            names.call_off(folder)
        elif step != _told(BEGUN, known):
            write(work, BEGUN, name=known.next)

    writing(site, at, act)


def _clear_left_over(folder: Path, site: str, at: str) -> None:
    if not names.is_left_over(folder):
        return

    def act(work: Work) -> None:
        # A move that somebody begins at this moment has laid its keys there.
        name_move.lock(work)
        names.clear_left_over(folder)

    writing(site, at, act)


def follow_at_start(folder: Path, site: str, at: str, write: Write) -> None:
    """Let the name's file follow the record; the nursery starts also where it cannot."""
    try:
        follow(folder, site, at, write)
    except (OSError, DBAPIError, Refusal):
        log.exception("the move of the name goes on: what is on record could not be followed")


def _see_under_way(work: Work, folder: Path, known: Names) -> None:
    """See that nobody else has ended this move, or called it off, since it was looked at.

    Raises:
        NotNow: somebody has.
    """
    name_move.lock(work)
    if names.read(folder) != known or name_move.last_step(work) != _told(BEGUN, known):
        raise NotNow("The move was just changed by somebody else. Look how it stands: move-name.")


def _stand(phones: list[Data]) -> set[tuple[str, str]]:
    return {(one["id"], one["at"]) for one in phones}


def _moved_on(folder: Path, known: Names, change: Callable[[Path], Names]) -> Names:
    """Let the file follow what is on record now, unless somebody else was quicker."""
    return change(folder) if names.read(folder) == known else names.read(folder)


def _told(what: str, known: Names) -> Data:
    """Return a step of this move as the log tells it."""
    data: Data = access_said(what, None, name=known.next)["data"]
    return data


def listed(phones: list[Data]) -> str:
    """Return phones by their names, as many as a sentence bears."""
    shown = [str(one["name"] or one["id"][:8]) for one in phones[:NAMED_MAX]]
    more = len(phones) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _waiting_words(known: Names, waits: list[Data]) -> str:
    return (
        f"{known.name} cannot end yet: {listed(waits)} has not moved to {known.next}. Open the app"
        f" there and follow its steps, cut off what is lost, or say whom to leave behind."
    )
