"""Reading requests within bounds, and telling who sent them."""

import json
import zlib
from collections.abc import Callable
from typing import Any, TypeVar

from flask import current_app, g, request
from werkzeug.exceptions import RequestEntityTooLarge

from lathhouse.domain.instants import to_text
from lathhouse.errors import BadRequest, NotAllowed, SignInNeeded, TooMuch
from lathhouse.settings import BODY_MAX_BYTES, Settings
from lathhouse.store import access

View = TypeVar("View", bound=Callable[..., Any])
COOKIE = "lathhouse_session"
PUBLIC = "anybody"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
LOOPBACK = ("127.0.0.1", "::1", "::ffff:127.0.0.1")


def allow(*roles: str) -> Callable[[View], View]:
    """Mark a view with the roles that may use it; a view without a mark is nobody's."""

    def mark(view: View) -> View:
        view.roles = roles  # type: ignore[attr-defined]
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


def now_ms() -> int:
    """Return the server's time."""
    return settings().now_ms()


def now() -> str:
    """Return the server's time as canonical text."""
    return to_text(now_ms())


def check_access() -> None:
    """Let the request in, or refuse it: the one gate before every view.

    Raises:
        SignInNeeded: neither a session nor a token that holds.
        NotAllowed: the role is too small, or a page of another site sent it.
    """
    view = current_app.view_functions.get(request.endpoint or "")
    if view is None:
        return
    roles = roles_of(view)
    if PUBLIC in roles:
        return
    g.actor = who()
    if g.actor is None:
        raise SignInNeeded("Open this phone's pairing link, or send a token in Authorization.")
    if g.actor["by"] == "session" and request.method not in SAFE_METHODS:
        same_origin()
    if g.actor["role"] not in roles:
        raise NotAllowed(f"This needs one of these roles: {', '.join(roles) or 'none'}.")


def roles_of(view: Any) -> tuple[str, ...]:
    """Return the roles that may use this request's method of a view."""
    of_class = getattr(view, "view_class", None)
    if of_class is not None:
        method = "get" if request.method == "HEAD" else request.method.lower()
        view = getattr(of_class, method, None)
    return tuple(getattr(view, "roles", ()))


def who() -> dict[str, Any] | None:
    """Return who sent the request: a token's bearer or a paired phone; None for anybody else."""
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() == "bearer" and secret.strip():
        return access.by_token(site_id(), secret.strip(), now())
    cookie = request.cookies.get(COOKIE)
    return access.by_session(site_id(), cookie, now()) if cookie else None


def same_origin() -> None:
    """Refuse a write that a page of another site made the browser send.

    Raises:
        NotAllowed: another origin, or not JSON.
    """
    origin = request.headers.get("Origin")
    fetch_site = request.headers.get("Sec-Fetch-Site", "same-origin")
    if origin is not None and origin.split("://", 1)[-1] != request.host:
        raise NotAllowed("This must come from the app's own pages.")
    if fetch_site not in ("same-origin", "none"):
        raise NotAllowed("This must come from the app's own pages.")
    if request.content_length and not request.is_json:
        raise NotAllowed("The body must be sent as application/json.")


def is_loopback() -> bool:
    """Say whether the request comes from this very machine, by a name that means it."""
    host = request.host.rsplit(":", 1)[0].strip("[]")
    return request.remote_addr in LOOPBACK and host in ("localhost", *LOOPBACK)


def read_json() -> Any:
    """Return the request's JSON body, unpacked where it was sent gzipped.

    Raises:
        BadRequest: it cannot be read as JSON.
        TooMuch: it is over the limit, packed or unpacked.
    """
    try:
        body = request.get_data(cache=False)
    except RequestEntityTooLarge as error:
        raise TooMuch(f"A request holds at most {BODY_MAX_BYTES:,} bytes.") from error
    if request.headers.get("Content-Encoding", "").lower() == "gzip":
        body = unpacked(body)
    try:
        return json.loads(body, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise BadRequest("The body must be JSON (RFC 8259), not too deeply nested.") from error


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def unpacked(body: bytes) -> bytes:
    """Return a gzipped body unpacked, never more of it than is allowed.

    Raises:
        BadRequest: it is not gzip.
        TooMuch: it unpacks to more than the limit.
    """
    unpacker = zlib.decompressobj(zlib.MAX_WBITS | 16)
    try:
        plain = unpacker.decompress(body, BODY_MAX_BYTES + 1)
    except zlib.error as error:
        raise BadRequest("The body says that it is gzip, and is not.") from error
    if len(plain) > BODY_MAX_BYTES or unpacker.unconsumed_tail:
        raise TooMuch(f"A request unpacks to at most {BODY_MAX_BYTES:,} bytes.")
    if not unpacker.eof:
        raise BadRequest("The gzip body ends too early.")
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
