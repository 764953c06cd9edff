"""The one gate before every view: who sends this, and may they?"""

from typing import Any
from urllib.parse import urlsplit

from flask import current_app, g, request

from lathhouse.errors import BadRequest, NotAllowed, SignInNeeded
from lathhouse.store import access
from lathhouse.web.callers import LOOPBACK
from lathhouse.web.requests import PUBLIC, now, site_id

COOKIE = "lathhouse_session"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")


def check_access() -> None:
    """Let the request in, or refuse it.

    Raises:
        SignInNeeded: neither a session nor a token that holds.
        TooOften: it is one of too many in this minute.
        NotAllowed: the role is too small, or a page of another site sent it.
        BadRequest: its address holds a character that no address of ours has.
    """
    if "\0" in request.path or any("\0" in value for value in request.args.values()):
        raise BadRequest("An address holds no NUL character.")
    view = current_app.view_functions.get(request.endpoint or "")
    if view is None:
        return
    roles = roles_of(view)
    if PUBLIC in roles:
        return
    g.actor = who()
    if g.actor is None:
        raise SignInNeeded("Open this phone's pairing link, or send a token in Authorization.")
    current_app.extensions["pace"].count(g.actor["key"])
    if g.actor["by"] == "session" and request.method not in SAFE_METHODS:
        same_origin(getattr(method_of(view), "takes", ""))
    if g.actor["role"] not in roles and request.method != "OPTIONS":
        raise NotAllowed(f"This needs one of these roles: {', '.join(roles) or 'none'}.")


def roles_of(view: Any) -> tuple[str, ...]:
    """Return the roles that may use this request's method of a view."""
    return tuple(getattr(method_of(view), "roles", ()))


def method_of(view: Any) -> Any:
    """Return what answers this request's method of a view."""
    of_class = getattr(view, "view_class", None)
    method = "get" if request.method == "HEAD" else request.method.lower()
    return view if of_class is None else getattr(of_class, method, None)


def who() -> dict[str, Any] | None:
    """Return who sent the request: a token's bearer or a paired phone; None for anybody else."""
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() == "bearer" and secret.strip():
        found, secret = access.by_token(site_id(), secret.strip(), now()), secret.strip()
    else:
        secret = request.cookies.get(COOKIE, "")
        found = access.by_session(site_id(), secret, now()) if secret else None
    return found and {**found, "key": access.hashed(secret)}


def same_origin(takes: str = "") -> None:
    """Refuse a write that a page of another site made the browser send.

    Args:
        takes: another media type than JSON that this door takes. It must be one that a page of
            another site cannot send unasked (Fetch, "CORS-safelisted request-header").

    Raises:
        NotAllowed: another origin, or another media type.
    """
    origin = request.headers.get("Origin")
    fetch_site = request.headers.get("Sec-Fetch-Site", "same-origin")
    if origin is not None and origin.split("://", 1)[-1] != request.host:
        raise NotAllowed("This must come from the app's own pages.")
    if fetch_site not in ("same-origin", "none"):
        raise NotAllowed("This must come from the app's own pages.")
    # A body sent in pieces says no length; a form that another page sends always says its type.
    is_right = request.mimetype == takes if takes else request.is_json
    if (request.content_length or request.mimetype) and not is_right:
        raise NotAllowed(f"The body must be sent as {takes or 'application/json'}.")


def is_loopback() -> bool:
    """Say whether the request comes from this very machine, by a name that means it.

    The name matters: a page of another site can be made to resolve to this machine, but not to
    call it localhost.
    """
    try:
        host = urlsplit(f"//{request.host}").hostname
    except ValueError:
        return False
    return request.remote_addr in LOOPBACK and host in ("localhost", *LOOPBACK)
