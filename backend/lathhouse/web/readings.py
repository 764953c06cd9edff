"""The door for sensors: readings in, from any logger that can send HTTP."""

from typing import Any

from flask import g
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField, IdTaken, TooMuch
from lathhouse.settings import BATCH_MAX
from lathhouse.sync.readings import take_readings
from lathhouse.web.requests import allow, moment, read_object, site_id

bp = Blueprint("readings", "readings", url_prefix="/api/v1/readings", description="Readings")


def sender() -> str:
    """Return whose readings these are: a token's name, or the signed-in phone, each its own."""
    named: str | None = g.actor["name"]
    return named or f"phone {g.actor['device'] or g.actor['person'] or ''}".strip()


@bp.route("")
class Readings(MethodView):
    """Readings of places."""

    @bp.response(200, description="Which were stored, which were on record already")
    @allow("owner", "worker", "sensor")
    def post(self) -> dict[str, Any]:
        """Take one reading, or a list of them as `readings`; one sent again counts once."""
        body = read_object()
        items = body.get("readings", [body])
        if not isinstance(items, list):
            raise BadField("readings must be a list of readings.", field="readings")
        if len(items) > BATCH_MAX:
            raise TooMuch(f"At most {BATCH_MAX:,} readings at once, not {len(items):,}.")
        at = moment()
        said = take_readings(site_id(), sender(), items, at.ms, sure=at.sure)
        if len(items) == 1 and said["refused"]:
            problem = said["refused"][0]["problem"]
            if problem["status"] == IdTaken.status:
                raise IdTaken(problem["detail"])
            raise BadField(problem["detail"], field=problem.get("field"))
        return said
