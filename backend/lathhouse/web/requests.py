"""Reading requests within bounds."""

import json
import shutil
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from flask import current_app, g, request
from marshmallow import fields
from werkzeug.exceptions import RequestEntityTooLarge

from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from lathhouse.domain.nesting import LEVELS_MAX, is_deeper
from lathhouse.errors import BadRequest, TooMuch, UnknownPacking
from lathhouse.settings import BODY_MAX_BYTES, Settings
from lathhouse.store.site_clock import SiteClock
from lathhouse.sync.kinds import AHEAD_IN_DOUBT_MAX_MS
from lathhouse.sync.server_events import ServerDevice
from lathhouse.web.callers import LOOPBACK

View = TypeVar("View", bound=Callable[..., Any])
PUBLIC = "anybody"
# The phone's own time of sending; a push has it in its body.
SENT_AT = "Lathhouse-Sent-At"


def allow(*roles: str) -> Callable[[View], View]:
    """Mark a view with the roles that may use it; a view without a mark is nobody's."""

    def mark(view: View) -> View:
        view.roles = roles  # type: ignore[attr-defined]
        return view

    return mark


def takes(kind: str) -> Callable[[View], View]:
    """Mark a view that takes a body of another media type than JSON."""

    def mark(view: View) -> View:
        view.takes = kind  # type: ignore[attr-defined]
        return view

    return mark


def settings() -> Settings:
    """Return the running server's settings."""
    found: Settings = current_app.config["LATHHOUSE"]
    return found


def site_id() -> str:
    """Return the id of the site that this server serves."""
    found: str = current_app.config["SITE_ID"]
    return found


def disk_free_bytes() -> int:
    """Return what is free on the data folder's disk."""
    return shutil.disk_usage(settings().data).free


def server_device() -> ServerDevice:
    """Return this process as a device of the log, for an act of whoever sends this request.

    Every door records through it, so that none tells a name as proved that was only said, nor dates
    by a clock in doubt what a phone's own clock dates. A stranger is heard once they are let in.
    """
    found: ServerDevice = current_app.config["SERVER_DEVICE"]
    actor: dict[str, Any] = g.get("actor") or {}
    at = moment()
    return found.acted_from(actor.get("proved")).acted_at(at.acted_ms if at.doubted else None)


def now_ms() -> int:
    """Return the server's time."""
    return settings().now_ms()


def now() -> str:
    """Return the server's time as canonical text."""
    return to_text(now_ms())


@dataclass(frozen=True)
class Moment:
    """When a request came, and whether a skew against that says anything of a phone's clock.

    Attributes:
        sent_ms: the sender's own time, where they said it and their clock is not this machine's.
        doubted: this machine's clock is in doubt; without that, a phone's may be as little sure.
    """

    ms: int
    sure: bool
    sent_ms: int | None = None
    doubted: bool = False

    @property
    def observed_ms(self) -> int:
        """When the sender did what they send; where ours is in doubt, by their own clock.

        One that cannot be right dates nothing, and holds nothing up.
        """
        said, most = self.sent_ms, self.ms + AHEAD_IN_DOUBT_MAX_MS
        return self.ms if self.sure or said is None or not 0 <= said <= most else said

    @property
    def acted_ms(self) -> int:
        """When the sender does here what they ask for: by our clock wherever that is in no doubt.

        Nobody else knows of that phone yet which of the two is wrong, and what lets it in or cuts
        it off would stand for good over what is said later.
        """
        return self.observed_ms if self.doubted else self.ms


def moment(sent_at: Any = None) -> Moment:
    """Return the time of this request, for whatever is dated by it; the phone's own is heard first.

    Args:
        sent_at: the phone's own time, where the body says it; else the header may.
    """
    sent_ms = _sent_ms(request.headers.get(SENT_AT) if sent_at is None else sent_at)
    clock = settings().now_ms
    sure = clock.hear(sent_ms) if isinstance(clock, SiteClock) else True
    return Moment(now_ms(), sure, sent_ms, time_doubted() is not None)


def _sent_ms(sent_at: Any) -> int | None:
    """Return a phone's own time, or None where it says none or is this very machine.

    A phone is a machine of its own: this one's browser agrees with any clock that this one has.
    """
    network = current_app.config.get("NETWORK")
    own = {str(address) for address in network.addresses} if network else set()
    try:
        sent_ms = parse_instant(sent_at)
    except BadInstant:
        return None
    return None if request.remote_addr in own.union(LOOPBACK) else sent_ms


def time_doubted() -> str | None:
    """Return why the server's clock is in doubt, or None."""
    clock = settings().now_ms
    return clock.doubt if isinstance(clock, SiteClock) else None


def limit_field(usual: int) -> fields.Integer:
    """Return the query's field for a page's length; too long a page is cut, not refused."""
    words: dict[str, Any] = {"invalid": f"must be a whole number such as {usual}"}
    return fields.Integer(load_default=usual, error_messages=words)


def read_json() -> Any:
    """Return the request's JSON body, unpacked where it was sent gzipped.

    Raises:
        BadRequest: it cannot be read as JSON, or is nested too deeply.
        TooMuch: it is over the limit, packed or unpacked.
        UnknownPacking: it is packed in another way than gzip.
    """
    try:
        body = request.get_data(cache=False)
    except RequestEntityTooLarge as error:
        raise TooMuch(f"A request holds at most {BODY_MAX_BYTES:,} bytes.") from error
    packing = request.headers.get("Content-Encoding", "identity").strip().lower()
    if packing in ("gzip", "x-gzip"):
        body = unpacked(body)
    elif packing not in ("identity", ""):
        raise UnknownPacking("Send the body plain, or packed with gzip.")
    try:
        value = json.loads(body, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise BadRequest("The body must be JSON (RFC 8259), not too deeply nested.") from error
    if is_deeper(value, LEVELS_MAX):
        raise BadRequest(f"The body must be JSON of at most {LEVELS_MAX} levels.")
    return value


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def unpacked(body: bytes) -> bytes:
    """Return a gzipped body unpacked, never more of it than is allowed.

    Raises:
        BadRequest: it is not one whole piece of gzip.
        TooMuch: it unpacks to more than the limit.
    """
    unpacker = zlib.decompressobj(zlib.MAX_WBITS | 16)
    try:
        plain = unpacker.decompress(body, BODY_MAX_BYTES + 1)
    except zlib.error as error:
        raise BadRequest("The body says that it is gzip, and is not.") from error
    if len(plain) > BODY_MAX_BYTES or unpacker.unconsumed_tail:
        raise TooMuch(f"A request unpacks to at most {BODY_MAX_BYTES:,} bytes.")
    if not unpacker.eof or unpacker.unused_data:
        raise BadRequest("The gzip body ends too early, or something follows it.")
    return plain


def read_object() -> dict[str, Any]:
    """Return the request's JSON body, which must be an object.

    Raises:
        BadRequest: it is something else.
    """
    body = read_json()
    if not isinstance(body, dict):
        raise BadRequest("The body must be a JSON object.")
    return body
