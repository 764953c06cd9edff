"""A move of the nursery's name, from the phones' side and from the owner's."""

from pathlib import Path
from typing import Any

from flask import current_app, g, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField, NotAllowed, NotNow
from lathhouse.store import access, name_move
from lathhouse.web import authority, names
from lathhouse.web.authority import Files
from lathhouse.web.lan import Network
from lathhouse.web.name_steps import end, listed, writer
from lathhouse.web.on_record import telling_access
from lathhouse.web.requests import allow, now, read_object, server_device, site_id

bp = Blueprint("name_move", "name_move", url_prefix="/api/v1/name-move", description="Its name")
NONE = "The name is not on the move."


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


def named(site: str, wanted: tuple[str, ...], at: str) -> set[str]:
    """Return the ids of phones that a command names, by their name or the beginning of their id.

    Raises:
        BadField: none is called so.
    """
    phones = name_move.standing(site, "", at)
    found: set[str] = set()
    for one in wanted:
        ids = {p["id"] for p in phones if one and (p["name"] == one or p["id"].startswith(one))}
        if not ids:
            there = f"There are: {listed(phones)}." if phones else "There is none at all."
            called = one or "nothing at all"
            raise BadField(f"No phone that is let in is called {called}. {there}")
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
        return {"name": end(here.folder, site_id(), lambda: set(leave), now(), write).name}
