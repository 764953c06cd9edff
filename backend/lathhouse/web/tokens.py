"""Bearer tokens for scripts and sensors: made once, listed with their last use, revoked."""

from typing import Any

from flask import g
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField, NotFound
from lathhouse.store import access
from lathhouse.store.work import Work
from lathhouse.sync.fields import Name
from lathhouse.web.on_record import telling_access
from lathhouse.web.requests import allow, now, read_object, site_id

bp = Blueprint("tokens", "tokens", url_prefix="/api/v1/tokens", description="Tokens for scripts")


@bp.route("")
class Tokens(MethodView):
    """The tokens that hold."""

    @bp.response(200, description="The tokens, without their secrets")
    @allow("owner")
    def get(self) -> dict[str, Any]:
        """List the tokens: what each is for, what it may, when it was last used."""
        return {"tokens": access.list_tokens(site_id(), now())}

    @bp.response(201, description="The token, shown this once")
    @allow("owner")
    def post(self) -> dict[str, Any]:
        """Make a token: {name, role}. A sensor's sends readings only, a viewer's reads only."""
        body = read_object()
        name, role = body.get("name"), body.get("role")
        if not Name().fits(name):
            # As the field is called where the owner fills it in.
            raise BadField(f"What it is for {Name.says}.", field="name")
        if role not in access.ROLES:
            raise BadField(f"role must be one of {', '.join(access.ROLES)}.", field="role")
        told = telling_access("token_made", g.actor["person"], name=name, role=role)
        secret = access.make_token(site_id(), str(name), str(role), now(), told)
        return {"token": secret, "name": name, "role": role}


@bp.route("/<string:token_id>/revoke")
class Revoke(MethodView):
    """A token that is let in no more."""

    @bp.response(200, description="It is let in no more")
    @allow("owner")
    def post(self, token_id: str) -> dict[str, Any]:
        """Let a token in no more."""

        def told(work: Work, found: dict[str, Any]) -> None:
            telling_access("token_revoked", g.actor["person"], name=found["name"])(work, found)

        found = access.revoke_token(site_id(), token_id, now(), told)
        if found is None:
            raise NotFound("No token of this id is let in; see GET /api/v1/tokens.")
        return {"revoked": found["name"]}
