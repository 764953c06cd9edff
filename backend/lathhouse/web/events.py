"""The history: events as they were sent, with what was fixed at receipt."""

from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields

from lathhouse.store.log import history
from lathhouse.web.addresses import events_for_reader
from lathhouse.web.requests import allow, limit_field, now, site_id

bp = Blueprint("events", "events", url_prefix="/api/v1/events", description="The history")


class HistoryQuery(Schema):
    """Which lot's history, and which page of it."""

    lot = fields.String(load_default=None)
    limit = limit_field(200)
    after = fields.String(load_default=None)


@bp.route("")
class Events(MethodView):
    """The event log."""

    @bp.arguments(HistoryQuery, location="query")
    @bp.response(200, description="Events in the order in which they were stored")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return a page of a lot's events, or of all."""
        found = history(site_id(), query["lot"], query["limit"], query["after"], now())
        return events_for_reader(found)
