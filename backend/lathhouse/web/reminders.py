"""Reminders out of the app: where this phone takes them, a test of it, and the log of all."""

from typing import Any

from flask import Response, current_app, g, jsonify, request
from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields

from lathhouse.errors import BadField, NotAllowed
from lathhouse.store import access, config, deliveries, delivery_log, subscriptions
from lathhouse.store.work import looking
from lathhouse.sync.fields import Uuid
from lathhouse.sync.server_events import said
from lathhouse.web.gate import COOKIE
from lathhouse.web.on_record import telling
from lathhouse.web.requests import allow, limit_field, now, read_object, site_id

bp = Blueprint("reminders", "reminders", url_prefix="/api/v1", description="Reminders")
PEOPLE = ("owner", "worker", "viewer")


def session_hash() -> str:
    """Return the hash of this phone's session.

    Raises:
        NotAllowed: a token's script sent this, which is no phone.
    """
    if g.actor["by"] != "session":
        raise NotAllowed("Only a paired phone takes messages; a token's script is none.")
    return access.hashed(request.cookies[COOKIE])


def own_recipient() -> str:
    """Return whom this phone's messages are for."""
    actor = g.actor
    return subscriptions.recipient_of(actor["person"], actor["device"], session_hash())


class LogQuery(Schema):
    """Which page of the log."""

    limit = limit_field(50)
    after = fields.String(load_default=None)


@bp.route("/reminders")
class Reminders(MethodView):
    """How this phone can be reached."""

    @bp.response(200, description="The key to subscribe with, and what is set up")
    @allow(*PEOPLE)
    def get(self) -> dict[str, Any]:
        """Say what to subscribe with, what this phone has, and what the server can send by."""
        ways = current_app.config["WAYS"]
        found = looking(site_id(), now(), lambda work: config.rows_of_kind(work, "person"))
        people = list(found.values())
        return {
            "key": ways.public_key,
            "push_ready": ways.subject(people) is not None,
            "mail_ready": ways.server is not None,
            "subscriptions": subscriptions.own_subscriptions(site_id(), session_hash(), now()),
            "to": own_recipient(),
        }


@bp.route("/reminders/subscriptions")
class Subscriptions(MethodView):
    """Where a browser takes messages."""

    @bp.response(201, description="This phone takes messages")
    @allow(*PEOPLE)
    def post(self) -> dict[str, Any]:
        """Keep a browser's push subscription: {endpoint, keys: {p256dh, auth}}."""
        kept = subscriptions.subscribe(site_id(), session_hash(), read_object(), now())
        return {"id": kept, "to": own_recipient()}


@bp.route("/reminders/subscriptions/<string:subscription>")
class OneSubscription(MethodView):
    """One of them."""

    @bp.response(200, description="This phone takes no more messages")
    @allow(*PEOPLE)
    def delete(self, subscription: str) -> dict[str, Any]:
        """Send to it no more."""
        subscriptions.unsubscribe(site_id(), session_hash(), subscription, now())
        return {"id": subscription}


@bp.route("/reminders/test")
class Test(MethodView):
    """A message, to see that one comes."""

    @bp.response(202, description="It is in the queue; the log says what came of it")
    @allow(*PEOPLE)
    def post(self) -> dict[str, Any]:
        """Send this phone's person a test by push or by mail."""
        channel = read_object().get("channel", "push") if request.content_length else "push"
        if channel not in ("push", "mail"):
            raise BadField("channel must be push or mail.", field="channel")
        return {"id": deliveries.add_test(site_id(), own_recipient(), channel, now())}


@bp.route("/deliveries")
class Deliveries(MethodView):
    """What was sent to whom."""

    @bp.arguments(LogQuery, location="query")
    @bp.response(200, description="The log of messages, the newest first")
    @allow(*PEOPLE)
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return a page of the log: all of it for an owner, their own for everybody else."""
        own = None if g.actor["role"] == "owner" else own_recipient()
        return delivery_log.list_deliveries(site_id(), own, query["limit"], query["after"], now())


@bp.route("/session/person")
class Carrier(MethodView):
    """Who carries this phone."""

    @bp.response(200, description="Its messages go to them from now on")
    @allow(*PEOPLE)
    def post(self) -> Response:
        """Say who carries this phone: {person}, or null for nobody in particular.

        Only somebody who may do no more than this phone may already.
        """
        person = read_object().get("person")
        if person is not None and not Uuid().fits(person):
            raise BadField(f"person {Uuid.says}, or null.", field="person")
        role, device = g.actor["role"], g.actor["device"]
        change = said("phone_changed", {"id": device, "person": person}, g.actor["person"])
        # A demo's visitor has no phone of his own that it could be told of.
        told = telling(change) if device else None
        subscriptions.set_person(site_id(), session_hash(), role, person, now(), told)
        return jsonify({"role": role, "person": person})
