"""The morning list: as JSON, as plain text to send, or as a page to print."""

import base64
import hashlib
from typing import Any
from urllib.parse import quote

import segno
from flask import Response, jsonify, request
from flask.views import MethodView
from flask_smorest import Blueprint
from marshmallow import Schema, fields
from marshmallow.validate import OneOf

from lathhouse.domain.boxes import box_codes, place_codes
from lathhouse.domain.morning_html import STYLE, page
from lathhouse.domain.morning_words import TYPED_WORDS
from lathhouse.store.mornings import morning_of
from lathhouse.web.requests import allow, now, site_id

bp = Blueprint("morning", "morning", url_prefix="/api/v1/morning", description="The morning list")

# A drawing of more than this cannot be scanned from paper by every phone: about 100 lots, or the
# places of three times as many and their boxes. Ours.
LINK_MAX = 1200
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


def _link(found: dict[str, Any]) -> str | None:
    """Return the address that opens this very list for typing in, or None where it has nothing."""
    labels = [str(lot["label"]) for stop in found["stops"] for lot in stop["lots"]]
    return _address(found, quote(",".join(labels), safe=","), box_codes(found))


def _short_link(found: dict[str, Any]) -> str | None:
    """Return the address that names the places on the list instead of their lots."""
    return _address(found, "", ",".join(filter(None, [place_codes(found), box_codes(found)])))


def _address(found: dict[str, Any], lots: str, more: str) -> str | None:
    link = f"{request.host_url}#/typed/{found['day']}/{found['made']['time']}/{lots}"
    end = f"/{quote(more, safe=',:')}" if more else ""
    return link + end if lots or more else None


def _link_line(found: dict[str, Any]) -> str:
    link = _link(found)
    return f"{TYPED_WORDS['typed_link']} {link}\n" if link else ""


def _scan(found: dict[str, Any]) -> tuple[str, str]:
    """Return how a printed list is typed in, in a sentence, and a drawing for it or ""."""
    for words, link in (("typed_in", _link(found)), ("typed_places", _short_link(found))):
        if link is None:
            return "", ""
        if len(link) <= LINK_MAX:
            drawn = segno.make(link, error="l").svg_inline(border=2, omitsize=True)
            return TYPED_WORDS[words], str(drawn)
    return TYPED_WORDS["typed_none"], ""


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
            return Response(
                found["text"] + _link_line(found), content_type="text/plain; charset=utf-8"
            )
        if query["form"] == "html":
            body = page(found, found["people"], *_scan(found))
            csp = {"Content-Security-Policy": PAGE_CSP}
            return Response(body, headers=csp, content_type="text/html; charset=utf-8")
        return jsonify(found)
