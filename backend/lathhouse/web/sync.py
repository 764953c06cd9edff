"""The doors of sync: push, offer and pull."""

from typing import Any

from flask import g, request
from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields

from lathhouse.errors import BadField, NotAllowed, TooMuch
from lathhouse.settings import BATCH_MAX
from lathhouse.store import contact
from lathhouse.sync.fields import Uuid
from lathhouse.sync.offer import offer
from lathhouse.sync.pull import pull
from lathhouse.sync.push import push
from lathhouse.web.addresses import cursor_in, for_reader
from lathhouse.web.name_move import move_now
from lathhouse.web.requests import (
    allow,
    limit_field,
    moment,
    now,
    read_object,
    site_id,
    time_doubted,
)

bp = Blueprint("sync", "sync", url_prefix="/api/v1/sync", description="Push, pull and offer")


class PullQuery(Schema):
    """Where a pull begins and how long its page may be."""

    after = fields.String(load_default="0")
    limit = limit_field(500)
    device = fields.UUID(load_default=None)


def device_of(body: dict[str, Any]) -> str:
    """Return the device that a body names.

    Raises:
        BadField: it names none.
    """
    device = body.get("device")
    if not isinstance(device, str) or not Uuid().fits(device):
        raise BadField(f"device {Uuid.says}.", field="device")
    return device.lower()


@bp.route("/push")
class Push(MethodView):
    """Events in."""

    @bp.response(200, description="One verdict for each event")
    @allow("owner", "worker", "sensor")
    def post(self) -> dict[str, Any]:
        """Take a batch of events; each gets its verdict, and none holds up another."""
        body = read_object()
        device, events = device_of(body), body.get("events")
        if not isinstance(events, list):
            raise BadField("events must be a list of events.", field="events")
        if len(events) > BATCH_MAX:
            says = f"A push takes at most {BATCH_MAX:,} events, not {len(events):,}; send fewer."
            raise TooMuch(says)
        actor = g.actor
        if actor["role"] == "sensor" and any(not _is_reading(event) for event in events):
            raise NotAllowed("A sensor records readings only.")
        known = {"role": actor["role"], "silent_ok": actor["by"] == "token"}
        known |= {name: actor[name] for name in ("name", "person") if actor[name] is not None}
        own = actor.get("proved")
        sent_at = body.get("sent_at")
        at = moment(sent_at)
        of: dict[str, Any] = {"sure": at.sure, "who": actor}
        return push(site_id(), device, events, sent_at, at.ms, known, (own,), **of)


def _is_reading(event: Any) -> bool:
    return isinstance(event, dict) and event.get("kind") == "read"


@bp.route("/offer")
class Offer(MethodView):
    """What a restored server lacks."""

    @bp.response(200, description="The ids that are not on record")
    @allow("owner", "worker", "sensor")
    def post(self) -> dict[str, Any]:
        """Say which of a device's event ids are not on record."""
        body = read_object()
        device, ids = device_of(body), body.get("ids")
        if not isinstance(ids, list):
            raise BadField("ids must be a list of event ids.", field="ids")
        return offer(site_id(), ids, now(), device)


@bp.route("/pull")
class Pull(MethodView):
    """Rows out."""

    @bp.arguments(PullQuery, location="query")
    @bp.response(200, description="The rows that changed since the cursor")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> dict[str, Any]:
        """Return a page of the rows that changed since a cursor."""
        device = query["device"] and str(query["device"])
        at = moment()
        if at.sure and g.actor["device"] and request.method == "GET":
            # First, so that its own page tells the phone of it.
            contact.note(site_id(), g.actor["device"], now())
        after, others = cursor_in(query["after"])
        page = pull(site_id(), after, query["limit"], at.ms, device, all_people=others)
        # By a clock in doubt no phone measures its own.
        time = {"time_doubted": time_doubted(), **({} if at.sure else {"server_time": None})}
        return {**for_reader(page), "name_move": move_now(), **time}
