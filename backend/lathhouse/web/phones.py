"""The paired phones: when each was last in touch, and cutting one off."""

from typing import Any

from flask import g
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.instants import to_text
from lathhouse.errors import NotFound
from lathhouse.store import access
from lathhouse.sync.fields import Uuid
from lathhouse.sync.server_events import said
from lathhouse.web.on_record import telling
from lathhouse.web.requests import allow, moment, now, site_id

bp = Blueprint("phones", "phones", url_prefix="/api/v1/phones", description="Paired phones")


@bp.route("")
class Phones(MethodView):
    """Every phone that was ever paired."""

    @bp.response(200, description="The phones, the last in touch first")
    @allow("owner")
    def get(self) -> dict[str, Any]:
        """List the paired phones: whose each is, when it was last in touch, and if it is let in."""
        return {"phones": access.list_phones(site_id(), now())}


@bp.route("/<string:phone>/cut-off")
class CutOff(MethodView):
    """A phone that was lost, or whose person has left."""

    @bp.response(200, description="It is let in no more")
    @allow("owner")
    def post(self, phone: str) -> dict[str, Any]:
        """Let a phone in no more. What it has not sent stays on it, for when it is paired again."""
        device, at = phone.lower(), to_text(moment().acted_ms)
        told = telling(said("phone_changed", {"id": device, "cut_off_at": at}, g.actor["person"]))
        if not Uuid().fits(device) or not access.cut_off(site_id(), device, now(), told):
            raise NotFound("No phone of this id is let in; see GET /api/v1/phones.")
        return {"cut_off": device}
