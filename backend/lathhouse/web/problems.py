"""Every error as a problem document (RFC 9457), and every answer with its safe headers."""

import gzip
import json
from typing import Any

from flask import Flask, Response, request
from flask_smorest import Api
from marshmallow import INCLUDE, Schema, fields
from werkzeug.exceptions import HTTPException, MethodNotAllowed

from lathhouse.errors import PROBLEM_TYPES, Refusal
from lathhouse.web.cookies import seal_names
from lathhouse.web.refusals import note

DETAILS = {
    404: "There is nothing at this address.",
    413: "A request holds at most 16 MB; send less at once.",
}
PROBLEM_JSON = "application/problem+json"
GZIP_FROM_BYTES = 1000
CSP = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
# What is no page is shown as none: opened by itself it runs nothing and loads nothing.
DATA_CSP = (
    "default-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'; sandbox"
)
HEADERS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}

# A year (RFC 6797); a browser heeds it for a name, never for an address.
SEALED_ONLY = "max-age=31536000; includeSubDomains"
HEADERS_OF = {401: {"WWW-Authenticate": "Bearer"}, 415: {"Accept-Encoding": "gzip"}}
HEADERS_OF[429] = {"Retry-After": "600"}
HEADERS_OF[503] = {"Retry-After": "60"}


class ProblemSchema(Schema):
    """The members of a problem document (RFC 9457 section 3.1); others may extend it (3.2)."""

    class Meta:
        """What is not named here may come with it."""

        unknown = INCLUDE

    type = fields.String()
    title = fields.String()
    status = fields.Integer()
    detail = fields.String()


class ProblemApi(Api):
    """flask-smorest's API, with its errors as problem documents."""

    ERROR_SCHEMA = ProblemSchema
    DEFAULT_RESPONSE_CONTENT_TYPE = "application/json"

    def _register_responses(self) -> None:
        """Describe every error as application/problem+json, and nothing else so."""
        usual = self.DEFAULT_RESPONSE_CONTENT_TYPE
        self.DEFAULT_RESPONSE_CONTENT_TYPE = PROBLEM_JSON
        try:
            super()._register_responses()
        finally:
            self.DEFAULT_RESPONSE_CONTENT_TYPE = usual

    def handle_http_exception(self, error: HTTPException) -> Any:
        """Return the problem document of any HTTP error, with the headers it needs."""
        return answer_http(error)


def problem(members: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    """Return a problem document as a response."""
    body = json.dumps(members, ensure_ascii=False)
    return Response(body, members["status"], headers, content_type=PROBLEM_JSON)


def answer_refusal(refusal: Refusal) -> Response:
    """Return the problem document of a rule that said no."""
    headers = dict(HEADERS_OF.get(refusal.status, {}))
    if "retry_after_s" in refusal.extra:
        headers["Retry-After"] = str(refusal.extra["retry_after_s"])
    return problem(refusal.problem(), headers)


def refuse(refusal: Refusal) -> Response:
    """Answer a refusal, and write down what whoever looks after the server should know of."""
    note(refusal)
    return answer_refusal(refusal)


def answer_http(error: HTTPException) -> Response:
    """Return the problem document of an error that Flask or werkzeug raised."""
    status = error.code or 500
    members: dict[str, Any] = {
        "type": f"{PROBLEM_TYPES}http-{status}",
        "title": error.name,
        "status": status,
        "detail": _detail(error),
    }
    headers = {}
    if isinstance(error, MethodNotAllowed) and error.valid_methods:
        headers["Allow"] = ", ".join(sorted(error.valid_methods))
    return problem(members, headers)


def _detail(error: HTTPException) -> str:
    messages = (getattr(error, "data", None) or {}).get("messages")
    if messages:
        return " ".join(sentences(messages))
    if isinstance(error, MethodNotAllowed):
        takes = ", ".join(sorted(error.valid_methods or ()))
        return f"{request.method} cannot be done at this address; it takes {takes}."
    return DETAILS.get(error.code or 500) or str(error.description or error.name)


def sentences(messages: Any) -> list[str]:
    """Return what a schema has against a request's parameters, one sentence for each."""
    return [
        f"{name} {says.rstrip('.')}."
        for fields_of_place in messages.values()
        for name, words in fields_of_place.items()
        for says in words
    ]


def answer_crash(_error: Exception) -> Response:
    """Return the problem document of a fault of ours; the reason is in the server's log."""
    return problem(
        {
            "type": f"{PROBLEM_TYPES}fault",
            "title": "The server has a fault",
            "status": 500,
            "detail": "Nothing of this request was kept. It can be sent again.",
        }
    )


def finish(response: Response) -> Response:
    """Add the safe headers, and pack what is worth packing."""
    if request.path.startswith("/api/"):
        response.headers.setdefault("Content-Security-Policy", DATA_CSP)
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if request.is_secure:
        response.headers.setdefault("Strict-Transport-Security", SEALED_ONLY)
    seal_names(response)
    if request.path.startswith("/api/"):
        response.headers.setdefault("Cache-Control", "no-store")
        pack(response)
    return response


def pack(response: Response) -> None:
    """Send a long answer gzipped to whoever takes that; a picture is packed already."""
    if (
        request.accept_encodings["gzip"] == 0
        or response.direct_passthrough
        or (response.mimetype or "").startswith("image/")
        or "Content-Encoding" in response.headers
    ):
        return
    body = response.get_data()
    if len(body) >= GZIP_FROM_BYTES:
        response.set_data(gzip.compress(body, 5))
        response.headers["Content-Encoding"] = "gzip"
        response.headers.add("Vary", "Accept-Encoding")


def register(app: Flask) -> None:
    """Give the app its error answers and its last step."""
    app.register_error_handler(Refusal, refuse)
    app.register_error_handler(HTTPException, answer_http)
    app.register_error_handler(Exception, answer_crash_logged(app))
    app.after_request(finish)


def answer_crash_logged(app: Flask) -> Any:
    """Return the handler that logs a fault of ours before it answers."""

    def handle(error: Exception) -> Response:
        # The rule and not the address: a calendar's holds its secret.
        app.logger.exception("fault while answering %s %s", request.method, request.url_rule)
        return answer_crash(error)

    return handle
