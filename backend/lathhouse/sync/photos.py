"""Pictures in: each is looked at before it is kept, whichever way it comes."""

import base64
import binascii
import hashlib
from typing import Any

from lathhouse.domain.jpeg import NotJpeg, jpeg_size
from lathhouse.errors import BadPhoto, Refusal, TooMuch
from lathhouse.store import photos

# A phone makes a picture of 1600 pixels, a few hundred kilobytes. No larger one is taken, so that
# opening it fills no phone's memory. Ours.
PHOTO_MAX_BYTES, PHOTO_SIDE_MAX_PX = 1024 * 1024, 4096


def take_photo(site_id: str, name: str, octets: bytes, now: str) -> bool:
    """Keep a picture that a record names; return whether it was here already.

    Raises:
        TooMuch: it is over the limit.
        BadPhoto: it is no JPEG, too large a one, or another than its name says.
        PhotoUnnamed: no record names it.
    """
    if len(octets) > PHOTO_MAX_BYTES:
        raise TooMuch(f"A picture is of at most {PHOTO_MAX_BYTES:,} bytes.")
    if hashlib.sha256(octets).hexdigest() != name:
        raise BadPhoto("The octets are not those that the name says. Send the picture again.")
    try:
        longest = max(jpeg_size(octets))
    except NotJpeg as error:
        raise BadPhoto(f"It is no whole JPEG. {error}") from error
    if longest > PHOTO_SIDE_MAX_PX:
        says = f"A picture is of at most {PHOTO_SIDE_MAX_PX:,} pixels a side, not {longest:,}."
        raise BadPhoto(says)
    return photos.keep(site_id, name, octets, now)


def take_packed(site_id: str, found: list[dict[str, Any]], now: str) -> int:
    """Keep the pictures of a saved file, as `{photo, jpeg}`; return how many are here now.

    One that is refused holds up no other: its phone has it still, and says why when it sends it.
    """
    return sum(_is_taken(site_id, one, now) for one in found)


def _is_taken(site_id: str, one: dict[str, Any], now: str) -> bool:
    try:
        octets = base64.b64decode(str(one.get("jpeg")), validate=True)
        take_photo(site_id, str(one["photo"]), octets, now)
    except (Refusal, binascii.Error):
        return False
    return True
