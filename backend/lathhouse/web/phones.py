"""The paired phones: when each was last in touch, and cutting one off."""

from typing import Any
from urllib.parse import urlsplit

from flask import g, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import NotFound
from lathhouse.store import access
from lathhouse.sync.fields import Uuid
from lathhouse.web.requests import allow, now, now_ms, server_device, site_id

bp = Blueprint("phones", "phones", url_prefix="/api/v1/phones", description="Paired phones")


def put_on_record(row: dict[str, Any], by: str | None) -> None:
    """Write a change of a phone into the log, as whoever did it through this server."""
    server_device().write(site_id(), "phone_changed", None, row, by, now_ms(), keep_empty=True)


def let_in_here(role: str) -> dict[str, Any]:
    """Return what a phone's row says once it is let in: as what, under which name, and that nothing
    of an earlier time holds any more."""
    host = urlsplit(f"//{request.host}").hostname
    ended = ("cut_off_at", "moved_to", "left_behind_at")
    return {"role": role, "host": host, **dict.fromkeys(ended)}


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
        device = phone.lower()
        if not Uuid().fits(device) or not access.cut_off(site_id(), device, now()):
            raise NotFound("No phone of this id is let in; see GET /api/v1/phones.")
        put_on_record({"id": device, "cut_off_at": now()}, g.actor["person"])
        return {"cut_off": device}
