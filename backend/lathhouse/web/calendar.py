"""The calendar feed: due work for any calendar, at an address that only its holder knows."""

import hashlib
from datetime import UTC, datetime
from threading import Lock
from typing import Any

from flask import Response, g, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.icalendar import calendar
from lathhouse.domain.instants import MINUTE_MS, to_ms
from lathhouse.domain.quiet_alarms import outside_quiet
from lathhouse.domain.working_time import Hours
from lathhouse.errors import NotFound, TooOften
from lathhouse.store import agenda, calendars
from lathhouse.store.access import hashed
from lathhouse.web.requests import PUBLIC, allow, now, now_ms, site_id

bp = Blueprint("calendar", "calendar", url_prefix="/api/v1/calendar", description="Calendar feed")

# A calendar asks every few minutes at most. Ours.
ASKS_MAX, WINDOW_MS = 60, 10 * MINUTE_MS
FEEDS_MAX = 1000
TEXTS_MAX = 16


class Asked:
    """How often each feed was asked for lately, in this process."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._window = 0
        self._counts: dict[str, int] = {}

    def count(self, feed: str, at_ms: int) -> None:
        """Count one more.

        Raises:
            TooOften: the feed was asked for too often in this window of time.
        """
        with self._lock:
            if at_ms // WINDOW_MS != self._window or len(self._counts) >= FEEDS_MAX:
                self._window, self._counts = at_ms // WINDOW_MS, {}
            self._counts[feed] = self._counts.get(feed, 0) + 1
            if self._counts[feed] > ASKS_MAX:
                raise TooOften("Ask for this calendar again in ten minutes; once an hour will do.")


asked = Asked()


@bp.route("")
class OwnCalendar(MethodView):
    """The address of one's own feed."""

    @bp.response(200, description="Since when there is an address, and its mark")
    @allow("owner", "worker", "viewer")
    def get(self) -> dict[str, Any]:
        """Say whether there is an address; the address itself is told only when it is made."""
        return calendars.state(site_id(), calendars.recipient_of(g.actor), now())

    @bp.response(201, description="The new address; the one before it is good no more")
    @allow("owner", "worker", "viewer")
    def post(self) -> dict[str, Any]:
        """Make or renew the address."""
        whose = calendars.recipient_of(g.actor)
        made = calendars.make(site_id(), whose, g.actor["device"], now())
        address = f"{request.host_url}api/v1/calendar/{made['secret']}.ics"
        webcal = f"webcal://{address.split('://', 1)[1]}"
        return {"address": address, "webcal": webcal, **_plain(made)}

    @bp.response(200, description="There is no address any more")
    @allow("owner", "worker", "viewer")
    def delete(self) -> dict[str, Any]:
        """End the feed: its address answers nobody any more."""
        calendars.end(site_id(), calendars.recipient_of(g.actor), now())
        return {"made_at": None, "mark": None}


def _plain(made: dict[str, Any]) -> dict[str, Any]:
    return {name: made[name] for name in ("made_at", "mark")}


@bp.route("/<string:secret>.ics")
class Feed(MethodView):
    """The feed itself, for whoever has its address."""

    @bp.response(200, description="Due work as events with alarms (RFC 5545)")
    @allow(PUBLIC)
    def get(self, secret: str) -> Response:
        """Return what is due, and what will be within sixty days if nothing is done."""
        whose = calendars.holder(site_id(), secret, now())
        if whose is None:
            raise NotFound("There is no calendar at this address. A renewed one has a new address.")
        asked.count(hashed(secret), now_ms())
        found = agenda.given(site_id(), now())
        hours = calendars.hours_for(site_id(), whose, now())
        return conditional(*written(found, hours))


def written(found: agenda.Given, hours: Hours) -> agenda.Text:
    """Return the calendar's text with this host's addresses, and when it was changed.

    It is written once for each host and each pair of quiet hours. Where those move an alarm, a date
    would not tell of a change of the hours: only the text itself (its ETag) does.
    """
    key = (request.host_url, hours["quiet_from"], hours["quiet_to"])
    if key not in found.texts:
        entries = outside_quiet(found.entries, hours)
        text = calendar(found.name, [_with_url(entry) for entry in entries], None)
        changed_at = max((entry["changed_at"] for entry in entries), default=None)
        made = (text, changed_at if entries == found.entries else None)
        found.texts = {**found.texts, key: made} if len(found.texts) < TEXTS_MAX else {key: made}
    return found.texts[key]


def _with_url(entry: dict[str, Any]) -> dict[str, Any]:
    return {**entry, "url": f"{request.host_url}{entry['route']}"}


def conditional(text: str, changed_at: str | None) -> Response:
    """Return the calendar, or nothing where the reader has this very one (RFC 9110 section 13)."""
    answer = Response(text, content_type="text/calendar; charset=utf-8")
    # Weak, because a packed answer is not the same octets.
    answer.set_etag(hashlib.sha256(text.encode()).hexdigest()[:20], weak=True)
    if changed_at:
        answer.last_modified = datetime.fromtimestamp(to_ms(changed_at) // 1000, UTC)
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.headers["Content-Disposition"] = 'inline; filename="lathhouse.ics"'
    answer.make_conditional(request)
    return answer
