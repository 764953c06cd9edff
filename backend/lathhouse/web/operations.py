"""For whoever looks after the server: does it live, is it ready, what does it measure?"""

from typing import Any

from flask import Blueprint, Response, current_app, jsonify
from sqlalchemy.exc import SQLAlchemyError

from lathhouse.errors import PROBLEM_TYPES, NotAllowed, SignInNeeded
from lathhouse.store.figures import figures, state_of_database
from lathhouse.store.leases import holds
from lathhouse.web.gate import is_loopback, who
from lathhouse.web.meter import Meter
from lathhouse.web.problems import problem
from lathhouse.web.requests import PUBLIC, allow, disk_free_bytes, now, site_id, time_doubted

bp = Blueprint("operations", __name__)
# Room for a night's backup and a day's work of a large nursery. Our own choice.
DISK_FREE_MIN_BYTES = 200_000_000
METRICS_ROLES = ("owner", "viewer")
LACKS = {
    "database": "the database does not answer",
    "migrations": "its tables are not those of this program",
    "fold": "another version of the program has folded the record: end this process",
    "clock": "no clock ticks",
    "disk": f"less than {DISK_FREE_MIN_BYTES // 1_000_000} MB are free on its disk",
}


@bp.get("/health")
@allow(PUBLIC)
def health() -> Response:
    """Say that the server answers."""
    return jsonify({"ok": True})


@bp.get("/ready")
@allow(PUBLIC)
def ready() -> Response:
    """Say whether the server can do its work, and what it lacks: 200, or 503 and a problem."""
    said = {**_database(), "disk": disk_free_bytes() >= DISK_FREE_MIN_BYTES}
    lacks = [LACKS[name] for name, well in said.items() if not well]
    if not lacks:
        return jsonify({"ready": True, **said, **_time()})
    about = {"type": f"{PROBLEM_TYPES}not-ready", "title": "The server is not ready"}
    detail = f"{'; '.join(lacks)}.".capitalize()
    return problem({**about, "status": 503, "detail": detail, "ready": False, **said, **_time()})


@bp.get("/metrics")
@allow(PUBLIC)
def metrics() -> Response:
    """Say what is measured, to this very machine or to a token of an owner or a viewer."""
    if not is_loopback():
        actor = who()
        if actor is None:
            raise SignInNeeded("Ask from this machine, or send a viewer's token in Authorization.")
        if actor["role"] not in METRICS_ROLES:
            raise NotAllowed(f"This needs one of these roles: {', '.join(METRICS_ROLES)}.")
    meter: Meter = current_app.extensions["meter"]
    body, kind = meter.text(figures(site_id(), now()), disk_free_bytes())
    return Response(body, content_type=kind, headers={"Cache-Control": "no-store"})


def _time() -> dict[str, Any]:
    """Say whether the server's clock is in doubt: to be set, and no reason to end the process."""
    doubt = time_doubted()
    return {"time": doubt is None, **({"time_doubted": doubt} if doubt else {})}


def _database() -> dict[str, bool]:
    try:
        found = state_of_database(site_id(), now())
    except SQLAlchemyError as error:
        current_app.logger.warning("the database does not answer: %s", type(error).__name__)
        return {"database": False, "migrations": False, "fold": False, "clock": False}
    return {
        "database": True,
        "migrations": found["version"] == current_app.config["SCHEMA"],
        "fold": found["fold"],
        "clock": holds(found["clock_until"], now()),
    }
