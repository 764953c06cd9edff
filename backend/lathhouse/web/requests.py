"""Reading requests within bounds."""

import json
import shutil
import zlib
from collections.abc import Callable
from typing import Any, TypeVar

from flask import current_app, request
from marshmallow import fields
from werkzeug.exceptions import RequestEntityTooLarge

from lathhouse.domain.instants import to_text
from lathhouse.domain.nesting import LEVELS_MAX, is_deeper
from lathhouse.errors import BadRequest, TooMuch, UnknownPacking
from lathhouse.settings import BODY_MAX_BYTES, Settings
from lathhouse.sync.server_events import ServerDevice

View = TypeVar("View", bound=Callable[..., Any])
PUBLIC = "anybody"


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
    """Return this process as a device of the log."""
    found: ServerDevice = current_app.config["SERVER_DEVICE"]
    return found


def now_ms() -> int:
    """Return the server's time."""
    return settings().now_ms()


def now() -> str:
    """Return the server's time as canonical text."""
    return to_text(now_ms())


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
