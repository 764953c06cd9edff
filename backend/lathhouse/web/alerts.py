"""Alerts: listed, taken on, left until later. Each answer is an event like any other."""

from typing import Any

from flask import g, request
from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields, validate

from lathhouse.domain.instants import to_text
from lathhouse.errors import BadField, NotFound
from lathhouse.store import alert_past, alerts
from lathhouse.sync.server_events import said
from lathhouse.web.requests import (
    allow,
    limit_field,
    moment,
    now,
    read_object,
    server_device,
    site_id,
)

bp = Blueprint("alerts", "alerts", url_prefix="/api/v1/alerts", description="Alerts")


class AlertQuery(Schema):
    """Which alerts, and which page of them."""

    state = fields.String(load_default="open")
    limit = limit_field(200)
    after = fields.String(load_default=None)


@bp.route("")
class Alerts(MethodView):
    """The alerts."""

    @bp.arguments(AlertQuery, location="query")
    @bp.response(200, description="Alerts in the order of their ids")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return a page of the alerts in a state, such as open or standing."""
        return alerts.list_alerts(site_id(), query["state"], query["limit"], query["after"], now())


class DaysQuery(Schema):
    """How far back to look."""

    days = fields.Integer(
        load_default=30,
        validate=validate.Range(1, 366, error="must be from 1 to 366"),
        error_messages={"invalid": "must be a whole number such as 30"},
    )


@bp.route("/past")
class Past(MethodView):
    """What is over."""

    @bp.arguments(DaysQuery, location="query")
    @bp.response(200, description="The latest alerts that are back to normal, with their history")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return what came back to normal in the last days, the latest first."""
        return alert_past.past(site_id(), query["days"], now())


@bp.route("/figures")
class Figures(MethodView):
    """Which watches ring most, and are acted on least."""

    @bp.arguments(DaysQuery, location="query")
    @bp.response(200, description="One row for each watch that rang")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return how often each watch rang in the last days, and what came of it."""
        return alert_past.month(site_id(), query["days"], now())


def answer(alert_id: str, kind: str, data: dict[str, Any]) -> dict[str, Any]:
    """Record a person's answer to an alert, and return the alert as it is then.

    Raises:
        NotFound: there is no such alert.
        BadField: the answer cannot be right.
    """
    at = moment()
    found = alerts.find(site_id(), alert_id, to_text(at.ms))
    if found is None:
        raise NotFound("There is no alert with this id.")
    subject = found["subject"]
    lot = subject["id"] if subject["kind"] == "lot" else None
    data = {**data, "alert": alert_id, "watch": found["watch"]}
    if subject["kind"] != "lot":
        data[subject["kind"]] = subject["id"]
    told = said(kind, data, g.actor["person"], lot)
    server_device().write(site_id(), told, at.ms, at.observed_ms, sure=at.sure)
    return alerts.find(site_id(), alert_id, to_text(at.ms)) or found


@bp.route("/<string:alert_id>/acknowledge")
class Acknowledge(MethodView):
    """I have it."""

    @bp.response(200, description="The alert, acknowledged")
    @allow("owner", "worker")
    def post(self, alert_id: str) -> dict[str, Any]:
        """Say that somebody has taken this on."""
        body = read_object() if request.content_length else {}
        return answer(alert_id, "acknowledged", {"why": body.get("why")})


@bp.route("/<string:alert_id>/shelve")
class Shelve(MethodView):
    """Leave until."""

    @bp.response(200, description="The alert, left until then")
    @allow("owner", "worker")
    def post(self, alert_id: str) -> dict[str, Any]:
        """Leave this until a time, for a reason."""
        body = read_object()
        if not body.get("until") or not body.get("why"):
            raise BadField("Say until when it is left (until), and why (why).", field="until")
        return answer(alert_id, "shelved", {"until": body["until"], "why": body["why"]})
