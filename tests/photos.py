"""Pictures for tests, made by an independent library, and how a script sends one."""

import hashlib
import io
from typing import Any

from PIL import Image

from tests.server import Nursery


def jpeg(width: int = 120, height: int = 90, shade: int = 90, **more: Any) -> bytes:
    """Return a JPEG (Pillow's encoder); `shade` tells one picture from another."""
    out = io.BytesIO()
    picture = Image.linear_gradient("L").resize((width, height))
    picture.point(lambda value: (value + shade) % 256).convert("RGB").save(out, "JPEG", **more)
    return out.getvalue()


def name_of(octets: bytes) -> str:
    """Return a picture's name."""
    return hashlib.sha256(octets).hexdigest()


def put(
    nursery: Nursery, octets: bytes, role: str = "owner", name: str | None = None, **headers: str
) -> Any:
    """Send a picture."""
    sent = {"Authorization": f"Bearer {nursery.token(role)}", "Content-Type": "image/jpeg"}
    where = f"/api/v1/photos/{name or name_of(octets)}"
    more = {one.replace("_", "-"): value for one, value in headers.items()}
    return nursery.client.put(where, data=octets, headers={**sent, **more})
