"""The front end's files, each with its tag, and the list by which the worker keeps them."""

import gzip
import hashlib
import json
import mimetypes
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from flask import Blueprint, Response, abort, request
from werkzeug.routing import PathConverter

from lathhouse.settings import Settings
from lathhouse.web.requests import PUBLIC, allow

TYPES = {".js": "text/javascript", ".webmanifest": "application/manifest+json"}
# What the worker keeps is listed here; the worker itself and this list are not in it.
NOT_LISTED = ("/sw.js", "/shell.js")
NOT_SERVED = (".md", ".txt")


class FilePath(PathConverter):
    """Any path but the API's, so that what is not there is missing whatever the method."""

    regex = "(?!api/)[^/].*?"


@dataclass
class Served:
    """One file, as it is sent."""

    body: bytes
    tag: str
    content_type: str

    @cached_property
    def packed(self) -> bytes:
        """The body gzipped, once somebody asks for it, so that a start waits for none."""
        return gzip.compress(self.body, 9, mtime=0)


def read_files(folder: Path) -> dict[str, Served]:
    """Return {path: file} of the whole front end."""
    found = {}
    for file in sorted(folder.rglob("*")):
        if file.is_file() and not file.name.startswith((".", "LICENSE")):
            if file.suffix in NOT_SERVED:
                continue
            found["/" + file.relative_to(folder).as_posix()] = served(file.read_bytes(), file.name)
    return found


def served(body: bytes, name: str) -> Served:
    """Return a file with its tag and type."""
    kind = TYPES.get(Path(name).suffix) or mimetypes.guess_type(name)[0]
    text = kind is not None and (kind.startswith("text/") or "json" in kind or "svg" in kind)
    content_type = f"{kind}; charset=utf-8" if text else kind or "application/octet-stream"
    tag = hashlib.sha256(body).hexdigest()[:20]
    return Served(body, tag, content_type)


def shell(files: dict[str, Served]) -> bytes:
    """Return the script that tells the worker its version and files: any change changes both."""
    listed = [path for path in files if path not in NOT_LISTED]
    text = "".join(f"{path} {files[path].tag}\n" for path in files)
    version = hashlib.sha256(text.encode()).hexdigest()[:20]
    return f"self.SHELL = {json.dumps({'version': version, 'files': listed})};\n".encode()


def blueprint(settings: Settings) -> Blueprint:
    """Return the routes of the front end's files."""
    bp = Blueprint("files", __name__)
    bp.record_once(lambda state: state.app.url_map.converters.update(file=FilePath))
    files = read_files(settings.frontend)
    files["/shell.js"] = served(shell(files), "shell.js")

    @bp.get("/")
    @allow(PUBLIC)
    def home() -> Response:
        return send(files, "/index.html")

    @bp.get("/<file:path>")
    @allow(PUBLIC)
    def file(path: str) -> Response:
        return send(files, f"/{path}")

    return bp


def send(files: dict[str, Served], path: str) -> Response:
    """Return a file, or nothing where the browser has this very one."""
    found = files.get(path)
    if found is None:
        abort(404)
    headers = {"ETag": f'"{found.tag}"', "Cache-Control": "no-cache", "Vary": "Accept-Encoding"}
    if request.if_none_match.contains(found.tag):
        return Response(status=304, headers=headers)
    body = found.body
    if request.accept_encodings["gzip"] > 0 and len(found.packed) < len(body):
        body = found.packed
        headers["Content-Encoding"] = "gzip"
    return Response(body, headers=headers, content_type=found.content_type)
