"""The door for pictures: in after their records, out to whoever may read."""

from typing import Any

from flask import Response, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.errors import BadPhoto, NoRoom, NotFound
from lathhouse.settings import PHOTOS_LEAVE_FREE_BYTES
from lathhouse.store import photos
from lathhouse.store.log import SHA256
from lathhouse.sync.photos import take_photo
from lathhouse.web.requests import allow, disk_free_bytes, now, site_id, takes

bp = Blueprint("photos", "photos", url_prefix="/api/v1/photos", description="Pictures")
JPEG = "image/jpeg"


@bp.route("/<string:sha256>")
class Photo(MethodView):
    """One picture, under the SHA-256 of its octets."""

    @bp.response(200, description="The picture; it never changes under its name")
    @allow("owner", "worker", "viewer")
    def get(self, sha256: str) -> Response:
        """Return a picture that a record names."""
        name = named(sha256)
        if request.method == "HEAD":
            size = photos.size_of(site_id(), name, now())
            return answer(name, b"" if size is not None else None)
        found = answer(name, photos.octets_of(site_id(), name, now()))
        found.make_conditional(request)
        return found

    @bp.response(200, description="It is kept now, or was already")
    @allow("owner", "worker")
    @takes(JPEG)
    def put(self, sha256: str) -> dict[str, Any]:
        """Keep the picture that a record on the log names; sent again, it changes nothing."""
        name, octets = named(sha256), request.get_data(cache=False)
        check_packing()
        if disk_free_bytes() < PHOTOS_LEAVE_FREE_BYTES:
            raise NoRoom("What is left of the server's disk is for records. Make room there.")
        return {"sha256": name, "already": take_photo(site_id(), name, octets, now())}


def named(sha256: str) -> str:
    """Return a picture's name as it came in an address, which is nothing but a SHA-256.

    Raises:
        NotFound: it is anything else.
    """
    if not SHA256.fullmatch(sha256):
        raise NotFound("A picture's name is its SHA-256, 64 hexadecimal digits in small letters.")
    return sha256


def check_packing() -> None:
    """Refuse another media type, and octets that were packed on the way.

    Raises:
        BadPhoto: it is sent as anything else than a plain JPEG.
    """
    packing = request.headers.get("Content-Encoding", "identity")
    if request.mimetype != JPEG or packing != "identity":
        raise BadPhoto(f"Send a picture as {JPEG}, as it is.")


def answer(name: str, octets: bytes | None) -> Response:
    """Return a picture as nothing but a picture.

    Raises:
        NotFound: it is not here.
    """
    if octets is None:
        raise NotFound("This picture is not here: its phone has not sent it yet, or no record is.")
    found = Response(octets, content_type=JPEG)
    found.set_etag(name)
    found.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    found.headers["Content-Disposition"] = f'attachment; filename="photo-{name}.jpg"'
    return found
