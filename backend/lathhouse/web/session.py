"""Signing in: who am I, pairing links, and redeeming one."""

from typing import Any

import segno
from flask import Response, g, jsonify, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField, NotAllowed, SignInNeeded
from lathhouse.store import access, name_move, passphrases
from lathhouse.sync.fields import Name, Uuid
from lathhouse.web.callers import address_of
from lathhouse.web.gate import COOKIE, is_loopback, same_origin, who
from lathhouse.web.name_move import pairing_base
from lathhouse.web.on_record import telling_access, telling_let_in
from lathhouse.web.refusals import note_let_in
from lathhouse.web.requests import PUBLIC, allow, now, read_object, settings, site_id
from lathhouse.web.tries import PAIRINGS_FROM_ONE, count_try

bp = Blueprint("session", "session", url_prefix="/api/v1", description="Signing in")
COOKIE_SECONDS = access.SESSION_DAYS * 86_400


def with_cookie(response: Response, secret: str, name: str = COOKIE) -> Response:
    """Set the session's cookie, or another of ours: out of reach of scripts and of other sites."""
    response.set_cookie(
        name,
        secret,
        max_age=COOKIE_SECONDS,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
        path="/",
    )
    return response


@bp.route("/session")
class SessionView(MethodView):
    """The session of this phone."""

    @bp.response(200, description="Who this phone is signed in as")
    @allow(PUBLIC)
    def get(self) -> Response:
        """Say who this is; a demo on this very machine signs its visitor in."""
        actor = who()
        demo = settings().demo
        if actor is None and demo and is_loopback():
            secret = access.sign_in_visitor(site_id(), now())
            said = {"role": "owner", "person": None, "demo": True, "signed_in_now": True}
            return with_cookie(jsonify(said), secret)
        if actor is None:
            raise SignInNeeded("Open this phone's pairing link first.")
        proved = actor.get("proved")
        said = {"role": actor["role"], "person": actor["person"], "proved": proved, "demo": demo}
        said["has_passphrase"] = passphrases.is_set(site_id(), proved, now())
        said["by_passphrase"] = actor.get("by_passphrase", False)
        # By its cookie: a phone whose store was emptied does not know itself any more.
        said["device"] = actor.get("device")
        answer = jsonify(said)
        # Browsers keep a cookie for 400 days at most: it is set anew, so that a phone in use stays.
        if actor["by"] == "session" and actor["made_at"][:10] != now()[:10]:
            return with_cookie(answer, request.cookies[COOKIE])
        return answer


@bp.route("/pairings")
class Pairings(MethodView):
    """Links that pair a phone."""

    @bp.response(201, description="A link that is good once, for ten minutes")
    @allow("owner")
    def post(self) -> dict[str, Any]:
        """Make a link that pairs one phone as a worker, a viewer or an owner."""
        body = read_object()
        role, person = body.get("role", "worker"), body.get("person")
        if role not in ("owner", "worker", "viewer"):
            raise BadField("role must be one of owner, worker, viewer.", field="role")
        if person is not None and not Uuid().fits(person):
            raise BadField(f"person {Uuid.says}, or left out.", field="person")
        by = g.actor.get("person")
        told = telling_access("pairing_link_made", by, role=role, person=person)
        minutes = access.LINK_MINUTES
        secret = access.make_link(site_id(), role, person, now(), minutes, then=told)
        link = f"{pairing_base()}#/pair/{secret}"
        drawing = segno.make(link, error="m").svg_data_uri(scale=6, border=4, light="white")
        return {"link": link, "drawing": drawing, "minutes": minutes}


@bp.route("/pairings/redeem")
class Redeem(MethodView):
    """Pairing itself."""

    @bp.response(200, description="This phone is paired")
    @allow(PUBLIC)
    def post(self) -> Response:
        """Pair this phone with a link's secret."""
        same_origin()
        body = read_object()
        secret, device, name = body.get("secret"), body.get("device"), body.get("name")
        if not isinstance(secret, str):
            raise BadField("secret must be the text at the end of the link.", field="secret")
        if not Uuid().fits(device):
            raise BadField(f"device {Uuid.says}.", field="device")
        if name is not None and not Name().fits(name):
            raise BadField(f"name {Name.says}, or left out.", field="name")
        before = request.cookies.get(COOKIE)
        phone, told = str(device).lower(), telling_let_in()
        moved = name_move.redeem(site_id(), secret, phone, now(), before, told)
        paired = moved or access.redeem(site_id(), secret, phone, name, now(), before, told)
        if paired is None:
            # Counted only now: a link that is good opens whatever strangers tried from there.
            address = address_of(request.remote_addr)
            instead = "or open a fresh link from the owner"
            count_try({f"pairing:{address}": PAIRINGS_FROM_ONE}, instead)
            raise NotAllowed("This link was used already or is too old. Ask the owner for another.")
        said = {"role": paired["role"], "person": paired["person"], "demo": False}
        said |= {"proved": paired["person"], "by_passphrase": False}
        note_let_in("paired", paired["person"])
        if moved:
            said |= {key: moved[key] for key in ("proved", "by_passphrase")}
        return with_cookie(jsonify(said), paired["cookie"])
