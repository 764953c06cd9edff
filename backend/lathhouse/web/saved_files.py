"""The door for files of unsent records: for a phone that cannot send by itself any more."""

from typing import Any

from flask import g
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadField
from lathhouse.sync.saved_file import take_file
from lathhouse.web.requests import allow, moment, read_object, site_id

bp = Blueprint(
    "saved_files", "saved_files", url_prefix="/api/v1/saved-files", description="Saved files"
)


@bp.route("")
class SavedFiles(MethodView):
    """Files that phones have saved of what they could not send."""

    @bp.response(200, description="How many records were stored, and each that was refused")
    @allow("owner", "worker")
    def post(self) -> dict[str, Any]:
        """Store the records of a phone's saved file, given as `text`; none is stored twice."""
        text = read_object().get("text")
        if not isinstance(text, str):
            raise BadField("text must be the saved file's whole text.", field="text")
        known = {name: g.actor[name] for name in ("person", "proved", "device", "role")}
        taker = {**known, "from": "file"}
        at = moment()
        return take_file(site_id(), text, at.ms, taker, sure=at.sure)
