"""Watches: trying a change on the nursery's own records before it is made."""

import threading
from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.rule_check import BadRule, check_rule
from lathhouse.errors import BadField, NotFound, TooBusy
from lathhouse.store.config import rows_of_kind
from lathhouse.store.watch_preview import preview
from lathhouse.store.work import looking
from lathhouse.web.requests import allow, now, read_object, site_id

bp = Blueprint("watches", "watches", url_prefix="/api/v1/watches", description="Watch rules")

DAYS, DAYS_MAX = 90, 366
# Each keeps a thread busy for up to 20 s: others are for phones.
AT_ONCE = threading.BoundedSemaphore(2)


@bp.route("/<string:watch_id>/preview")
class WatchPreview(MethodView):
    """What a rule would have raised."""

    @bp.response(200, description="What the rule raises as it stands, and as it is proposed")
    @allow("owner")
    def post(self, watch_id: str) -> dict[str, Any]:
        """Live through the last days of the nursery's own records with a rule, and change nothing.

        Raises:
            NotFound: there is no watch of this id.
            BadField: the rule cannot be read.
            TooBusy: two are under way.
        """
        body = read_object()
        known = looking(site_id(), now(), lambda work: rows_of_kind(work, "watch"))
        if watch_id not in known:
            raise NotFound(f"There is no watch called {watch_id}.")
        rule, days = body.get("rule", known[watch_id]), body.get("days", DAYS)
        if not isinstance(days, int) or isinstance(days, bool) or not 1 <= days <= DAYS_MAX:
            raise BadField(f"days must be a whole number from 1 to {DAYS_MAX}.", field="days")
        proposed = readable(rule, watch_id)
        if not AT_ONCE.acquire(blocking=False):
            raise TooBusy("Two trials are under way. Try again in half a minute.")
        try:
            return preview(site_id(), proposed, days, now())
        finally:
            AT_ONCE.release()


def readable(rule: Any, watch_id: str) -> dict[str, Any]:
    """Return a proposed rule, if it can be read at all.

    Raises:
        BadField: it cannot, or is another watch's.
    """
    if not isinstance(rule, dict) or rule.get("id") != watch_id:
        raise BadField(f"rule must be the whole rule, its id {watch_id}.", field="rule")
    missing = {"subjects", "priority"} - rule.keys()
    if missing or not isinstance(rule["subjects"], list):
        raise BadField("rule must be the whole rule, with subjects and priority.", field="rule")
    try:
        check_rule(rule)
    except (BadRule, TypeError, AttributeError) as error:
        raise BadField(f"rule: {error}.", field="rule") from error
    return rule
