"""The morning list: as JSON, as plain text to send, or as a page to print."""

import base64
import hashlib
from typing import Any

from flask import Response, jsonify
from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields
from marshmallow.validate import OneOf

from lathhouse.domain.morning_html import STYLE, page
from lathhouse.store.mornings import morning_of
from lathhouse.web.requests import allow, now, site_id

bp = Blueprint("morning", "morning", url_prefix="/api/v1/morning", description="The morning list")

WAYS = ("json", "text", "html")
# The page brings its own style sheet and nothing else; a browser lets in this one by its hash.
STYLE_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
PAGE_CSP = (
    f"default-src 'none'; style-src 'sha256-{STYLE_HASH}'; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)


class MorningQuery(Schema):
    """In which form the list is wanted (`as`)."""

    form = fields.String(
        data_key="as",
        load_default="json",
        validate=OneOf(WAYS, error=f"must be one of {', '.join(WAYS)}"),
    )


@bp.route("")
class Morning(MethodView):
    """What is to be seen today."""

    @bp.arguments(MorningQuery, location="query")
    @bp.response(200, description="Places in walking order, in each the lots that are due")
    @allow("owner", "worker", "viewer")
    def get(self, query: dict[str, Any]) -> Response:
        """Return the morning list of the record as it stands now."""
        found = morning_of(site_id(), now())
        if query["form"] == "text":
            return Response(found["text"], content_type="text/plain; charset=utf-8")
        if query["form"] == "html":
            body = page(found, found["people"])
            csp = {"Content-Security-Policy": PAGE_CSP}
            return Response(body, headers=csp, content_type="text/html; charset=utf-8")
        return jsonify(found)
