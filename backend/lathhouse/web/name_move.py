"""A move of the nursery's name, from the phones' side and from the owner's."""

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import current_app, g, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField, NotAllowed, NotNow
from lathhouse.store import access, name_move
from lathhouse.store.work import Work, writing
from lathhouse.sync.server_events import ServerDevice, access_said, said
from lathhouse.web import authority, names
from lathhouse.web.authority import Files
from lathhouse.web.lan import Network
from lathhouse.web.on_record import telling_access
from lathhouse.web.requests import allow, now, read_object, server_device, site_id

bp = Blueprint("name_move", "name_move", url_prefix="/api/v1/name-move", description="Its name")
NONE = "The name is not on the move."
# So many phones are named in a refusal; a nursery has fewer. Ours.
NAMED_MAX = 12


def network() -> Network | None:
    """Return the nursery's own network, where it is served there."""
    found: Network | None = current_app.config.get("NETWORK")
    return found


def move_now() -> dict[str, Any] | None:
    """Return what phones are told of a move under way, or None."""
    here = network()
    return here.move() if here else None


def pairing_base() -> str:
    """Return the address that new phones are let in at: during a move the new name.

    On the nursery's own network that is its name, whatever the owner typed: a browser ties its
    store to it, and 127.0.0.1 is on a phone the phone itself.
    """
    here = network()
    return here.places()[-1].address if here else request.host_url


def begin(folder: Path, to: str, site: str, at: str, write: Callable[..., None]) -> names.Names:
    """Begin a move, and put it on record once."""

    def act(work: Work) -> names.Names:
        if names.read(folder).next is None:
            write(work, "name_move_begun", name=names.checked(to))
        # Last of all: where the file cannot be written, nothing is on record.
        return names.begin_move(folder, to, datetime.fromisoformat(at))

    return writing(site, at, act)


def end(
    folder: Path, site: str, leave: set[str], at: str, write: Callable[..., None]
) -> names.Names:
    """End the old name.

    Args:
        leave: ids of phones that are to stay behind with what they hold.

    Raises:
        NotNow: no move is under way, or a phone stands at the old name that nobody leaves behind.
    """
    known = names.moving(folder)
    phones = name_move.standing(site, known.next or "", at)
    old = [one for one in phones if one["at"] == "old"]
    waits = [one for one in old if one["id"] not in leave]
    if waits:
        raise NotNow(_waiting_words(known, waits), phones=[one["id"] for one in waits])

    def act(work: Work) -> names.Names:
        name_move.end_old(work, [one["id"] for one in phones if one["at"] != "new"])
        write(work, "name_moved", name=known.next, left=[one["id"] for one in old])
        # Last of all: where the name does not end, no phone is shut out for nothing.
        return names.end_move(folder)

    return writing(site, at, act)


def call_off(folder: Path, site: str, at: str) -> names.Names:
    """Keep the old name.

    Raises:
        NotNow: no move is under way, or a phone stands at the new name already.
    """
    known = names.moving(folder)
    gone = [one for one in name_move.standing(site, known.next or "", at) if one["at"] == "new"]
    if gone:
        raise NotNow(
            f"{_listed(gone)} stands at {known.next} already, with a record of its own there. Let"
            " the others follow."
        )
    return names.call_off(folder)


def named(site: str, wanted: tuple[str, ...], at: str) -> set[str]:
    """Return the ids of phones that a command names, by their name or the beginning of their id.

    Raises:
        BadField: none is called so.
    """
    phones = name_move.standing(site, "", at)
    found: set[str] = set()
    for one in wanted:
        ids = {p["id"] for p in phones if p["name"] == one or p["id"].startswith(one)}
        if not ids:
            there = f"There are: {_listed(phones)}." if phones else "There is none at all."
            raise BadField(f"No phone that is let in is called {one}. {there}")
        found |= ids
    return found


WHERE = {"old": "not moved yet", "moved": "moved", "new": "at the new name"}


def report(folder: Path, site: str, at: str) -> list[str]:
    """Return how a move stands, as lines of a terminal."""
    known = names.read(folder)
    if known.next is None:
        return [f"The nursery is {known.name}; no move is under way."]
    old, new = Files(folder / known.slot), Files(folder / known.other_slot)
    says = [f"The nursery moves from {known.name} to {known.next}; both answer."]
    says += [f"Let {known.next} lead to this machine, as {known.name} does."]
    if authority.fingerprint(old) != authority.fingerprint(new):
        says += [f"Phones must trust a new certificate: {authority.fingerprint(new)}"]
    for one in name_move.standing(site, known.next, at):
        says.append(f"{WHERE[one['at']]:16}{one['name'] or ''} {one['id'][:8]}")
    return [*says, "Open the app on each phone and follow its steps; then: move-name --end"]


def _listed(phones: list[dict[str, Any]]) -> str:
    shown = [str(one["name"] or one["id"][:8]) for one in phones[:NAMED_MAX]]
    more = len(phones) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _waiting_words(known: names.Names, waits: list[dict[str, Any]]) -> str:
    return (
        f"{known.name} cannot end yet: {_listed(waits)} has not moved to {known.next}. Open the app"
        f" there and follow its steps, cut off what is lost, or say whom to leave behind."
    )


def writer(device: ServerDevice, by: str | None) -> Callable[..., None]:
    """Return what puts a step of a move on record, in the step's own transaction."""

    def write(work: Work, what: str, name: str, left: Sequence[str] = ()) -> None:
        behind = [{"id": one, "left_behind_at": work.now} for one in left]
        told = [said("phone_changed", row, by) for row in behind]
        device.add(work, [access_said(what, by, name=name), *told])

    return write


@bp.route("")
class NameMove(MethodView):
    """The move under way."""

    @bp.response(200, description="The move, and for the owner which phone stands where")
    @allow("owner", "worker", "viewer")
    def get(self) -> dict[str, Any]:
        """Return the move under way, or null; the owner is told of each phone."""
        move = move_now()
        if move is None or g.actor["role"] != "owner":
            return {"move": move, "phones": []}
        return {"move": move, "phones": name_move.standing(site_id(), move["to"], now())}


@bp.route("/link")
class Link(MethodView):
    """The way over, for this phone."""

    @bp.response(201, description="A link that is good once, for ten minutes")
    @allow("owner", "worker", "viewer")
    def post(self) -> dict[str, Any]:
        """Make the link that opens the new name as this phone's successor."""
        if g.actor["by"] != "session" or g.actor["device"] is None:
            raise NotAllowed("Only a paired phone moves; a token holds under every name.")
        move = move_now()
        if move is None:
            raise NotNow(NONE)
        actor = g.actor
        device, role, own = actor["device"], actor["role"], actor["proved"]
        of = {"role": role, "person": own, "device": device}
        told = telling_access("pairing_link_made", actor["person"], **of)
        secret = name_move.make_link(site_id(), device, role, own, now(), told)
        link = f"{move['address']}#/pair/{secret}"
        return {"link": link, "minutes": access.LINK_MINUTES}


@bp.route("/end")
class End(MethodView):
    """The end of the old name."""

    @bp.response(200, description="The new name is the only one")
    @allow("owner")
    def post(self) -> dict[str, Any]:
        """End the old name; `leave` holds the ids of phones that stay behind."""
        leave, here = read_object().get("leave", []), network()
        if not isinstance(leave, list) or not all(isinstance(one, str) for one in leave):
            raise BadField("leave must be a list of phones' ids.", field="leave")
        if here is None or here.move() is None:
            raise NotNow(NONE)
        write = writer(server_device(), g.actor["person"])
        return {"name": end(here.folder, site_id(), set(leave), now(), write).name}
