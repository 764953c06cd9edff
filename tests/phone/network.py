"""The real server behind a network that a test controls: lost, hung, refused, restored."""

import json
import shutil
import socket
import sqlite3
import threading
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

from werkzeug.serving import WSGIRequestHandler, make_server

from lathhouse.app import create_app
from lathhouse.settings import Settings
from lathhouse.store.models import db
from tests.browser import FRONTEND
from tests.ports import own_port
from tests.server import NO_BOUND

PAGE = Path(__file__).parent / "page"
WAIT_SECONDS = 20
Environ = dict[str, Any]


@dataclass
class Request:
    """One request as the network saw it."""

    method: str
    path: str
    body: Any
    headers: dict[str, str]
    status: str = ""


@dataclass
class Fault:
    """What goes wrong with some requests."""

    path: str
    does: str
    times: int
    concerns: Callable[[Request], bool]


@dataclass
class Network:
    """A server on loopback with the phone's store as its front end.

    `faults` are taken in order: `lose_request`, `lose_reply`, `hang` (until `heal`, then lost),
    `late` (until `heal`, then answered), or a status as text; `400 said` in a server's own words.
    """

    folder: Path
    demo: bool = True
    requests: list[Request] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    busiest_push: int = 0

    def __post_init__(self) -> None:
        self.changed = threading.Condition()
        self.released = threading.Event()
        self.pushing = 0
        self.front = self.folder / "frontend"
        for room in ("core", "store", "vendor"):
            shutil.copytree(FRONTEND / room, self.front / room)
        shutil.copytree(PAGE, self.front, dirs_exist_ok=True)
        shutil.copy(FRONTEND / "sw.js", self.front)
        self.open_app()
        self.port = own_port()
        self.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def open_app(self) -> None:
        """Open the server's application on its folder, as a new start would."""
        where = {"data": self.folder / "data", "frontend": self.front}
        settings = Settings(**where, demo=self.demo, requests_a_minute=NO_BOUND)
        self.app = create_app(settings)

    def _serve(self) -> None:
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def close_app(self) -> None:
        with self.app.app_context():
            db.engine.dispose()

    def stop(self) -> None:
        """Stop listening: the phone finds nobody there."""
        self.released.set()
        self.server.shutdown()
        self.server.server_close()

    def start(self) -> None:
        """Listen again, on the same port."""
        self.released.clear()
        self.server = make_server(
            "127.0.0.1", self.port, self, threaded=True, request_handler=Quiet
        )
        self._serve()

    def next(
        self,
        path: str,
        does: str,
        times: int = 1,
        concerns: Callable[[Request], bool] = lambda _request: True,
    ) -> None:
        """Let the next requests to a path go wrong."""
        self.faults.append(Fault(path, does, times, concerns))

    def heal(self) -> None:
        """Let nothing go wrong any more, and let go of what hangs."""
        self.faults.clear()
        self.released.set()

    def wait(self, holds: Callable[[], Any]) -> None:
        """Wait until something holds; it is asked after every request."""
        with self.changed:
            assert self.changed.wait_for(holds, timeout=WAIT_SECONDS), self.requests[-5:]

    def pushes(self) -> list[Request]:
        return [request for request in self.requests if request.path == "/api/v1/sync/push"]

    def change_file(self, name: str, text: str) -> None:
        """Serve another version of the app, in which one file differs."""
        (self.front / name.lstrip("/")).write_text(text)
        self.close_app()
        self.open_app()

    def backup(self) -> Path:
        """Return a copy of the server's whole record."""
        copy = self.folder / f"backup-{uuid.uuid4().hex}.sqlite"
        with sqlite3.connect(self._file()) as source, sqlite3.connect(copy) as target:
            source.backup(target)
        return copy

    def restore(self, backup: Path, *, new_epoch: bool) -> None:
        """Put an older state of the record in place of today's."""
        self.close_app()
        for name in self._file().parent.glob("lathhouse.sqlite*"):
            name.unlink()
        shutil.copy(backup, self._file())
        if new_epoch:
            with sqlite3.connect(self._file()) as connection:
                connection.execute("UPDATE sites SET epoch = ?", (str(uuid.uuid4()),))
        self.open_app()

    def _file(self) -> Path:
        return self.folder / "data" / "lathhouse.sqlite"

    def stored(self) -> list[dict[str, Any]]:
        """Return every event on the server's record, in the order of its device's numbers."""
        with sqlite3.connect(self._file()) as connection:
            rows = connection.execute("SELECT body FROM events").fetchall()
        return sorted((json.loads(row[0]) for row in rows), key=lambda event: event["seq"])

    def __call__(self, environ: Environ, start_response: Any) -> Iterable[bytes]:
        request = read(environ)
        pushing = request.path == "/api/v1/sync/push"
        with self.changed:
            fault = self._fault_of(request)
            self.requests.append(request)
            self.pushing += pushing
            self.busiest_push = max(self.busiest_push, self.pushing)
            self.changed.notify_all()
        try:
            return self._answer(environ, start_response, request, fault)
        finally:
            with self.changed:
                self.pushing -= pushing
                self.changed.notify_all()

    def _fault_of(self, request: Request) -> str | None:
        for fault in self.faults:
            if request.path.startswith(fault.path) and fault.concerns(request):
                fault.times -= 1
                if fault.times == 0:
                    self.faults.remove(fault)
                return fault.does
        return None

    def _answer(
        self, environ: Environ, start_response: Any, request: Request, fault: str | None
    ) -> Iterable[bytes]:
        if fault is not None and fault[:3].isdigit():
            request.status = fault[:3]
            kind = "application/problem+json" if fault.endswith("said") else "text/plain"
            start_response(f"{fault[:3]} Fault", [("Content-Type", kind)])
            return [json.dumps({"detail": "a fault"}).encode()]
        if fault in ("hang", "late"):
            self.released.wait(WAIT_SECONDS)
        if fault in ("hang", "lose_request"):
            return drop(environ, start_response)
        answer = self._ask_app(environ, request)
        if fault == "lose_reply":
            return drop(environ, start_response)
        start_response(request.status, answer[0])
        return [answer[1]]

    def _ask_app(self, environ: Environ, request: Request) -> tuple[list[tuple[str, str]], bytes]:
        headers: list[tuple[str, str]] = []

        def note(status: str, found: list[tuple[str, str]], _error: Any = None) -> None:
            request.status = status
            headers.extend(found)

        return headers, b"".join(self.app(environ, note))


class Quiet(WSGIRequestHandler):
    """A request handler that says nothing of what was asked."""

    def log(self, *_: Any) -> None:
        """Say nothing."""


def read(environ: Environ) -> Request:
    """Read a request whole, and leave it to be read again."""
    body = environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or 0))
    environ["wsgi.input"] = BytesIO(body)
    headers = {name: value for name, value in environ.items() if name.startswith("HTTP_")}
    plain = "json" in environ.get("CONTENT_TYPE", "")
    data = json.loads(body) if body and plain else body or None
    return Request(environ["REQUEST_METHOD"], environ["PATH_INFO"], data, headers)


def drop(environ: Environ, start_response: Any) -> Iterable[bytes]:
    """Cut the line before anything of an answer is sent."""
    environ["werkzeug.socket"].shutdown(socket.SHUT_RDWR)
    start_response("500 Lost", [])
    return [b""]
