"""The real server behind a network, a disk and a clock that a schedule lets fail."""

import json
import shutil
import sqlite3
import threading
import time
import uuid
from collections import Counter
from collections.abc import Iterable
from io import BytesIO
from pathlib import Path
from typing import Any

from flask import Flask
from sqlalchemy import event
from sqlalchemy.engine import Engine
from werkzeug.serving import make_server

from lathhouse.app import create_app
from lathhouse.domain.instants import to_text
from lathhouse.reminders.clock import catch_up
from lathhouse.settings import Settings, wall_clock_ms
from lathhouse.store import access, check
from lathhouse.store.config import rows_of_kind
from lathhouse.store.leases import take_lease
from lathhouse.store.models import Backup, db
from lathhouse.store.site_clock import SiteClock, last_trusted_ms
from lathhouse.store.work import Work, writing
from lathhouse.sync.pull import pull
from lathhouse.sync.server_events import ServerDevice
from tests.browser import FRONTEND
from tests.faults.handsets import Line
from tests.faults.schedule import PHONES
from tests.faults.whole import whole
from tests.phone.network import Quiet, drop
from tests.server import NO_BOUND

PAGE = Path(__file__).parent / "page"
Environ = dict[str, Any]
Event = dict[str, Any]
PORTAL = b"<!doctype html><title>Sign in to the wireless</title>"
KEPT_FOR_AN_HOUR = [("Cache-Control", "max-age=3600"), ("X-Content-Type-Options", "nosniff")]
BUSY_MS = 20
# What its process may end in, beside a picture.
KILLED_IN = ("/push", "/saved-files")


def phone_of(environ: Environ) -> int:
    """Return which phone asks: it stands in the name by which it knows the server."""
    return int(environ["HTTP_HOST"].split(".")[0].removeprefix("p"))


class Killed(Exception):
    """The server's process ended here."""


class Faulty:
    """A server on loopback; what goes wrong with a request stands in its `X-Fault`."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.passed_ms, self.wrong_ms = folder, 0, 0
        self.met: Counter[str] = Counter()
        self.turn = threading.Lock()
        self.held: list[tuple[Environ, bytes]] = []
        self.copies: list[Path] = []
        self.dies_at = self.statements = 0
        self.full = False
        self.blocker: sqlite3.Connection | None = None
        self.front = self._frontend()
        self.lines = [Line() for _ in range(PHONES)]
        # Of each phone, the cookie it was given last; and those of the first day.
        self.cookies: dict[int, str] = {}
        self.first_cookies: dict[int, str] = {}
        self.files = {
            f"/{path.relative_to(self.front)}": path.read_bytes()
            for path in self.front.rglob("*")
            if path.is_file()
        }
        self.app = self._open()
        with self.app.app_context():
            now = self.now()
            self.tokens = {
                role: access.add_token(self.site, f"{role}'s script", role, now)
                for role in ("owner", "worker")
            }
        event.listen(Engine, "before_cursor_execute", self._executing)
        event.listen(Engine, "connect", self._connected)
        self.server = make_server("127.0.0.1", 0, self, threaded=True, request_handler=Quiet)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def _frontend(self) -> Path:
        front = self.folder / "frontend"
        for room in ("core", "store", "vendor"):
            shutil.copytree(FRONTEND / room, front / room)
        shutil.copytree(PAGE, front, dirs_exist_ok=True)
        (front / "whole.js").write_text(whole(front, "/app.js"), encoding="utf-8")
        return front

    def now_ms(self) -> int:
        """Return what time it is, whatever any clock says."""
        return wall_clock_ms() + self.passed_ms

    def _clock(self) -> SiteClock:
        """Return a clock as a process begins with it: on the wall, and one that nobody sets."""
        begun_s, begun_ms = time.monotonic(), wall_clock_ms()

        def steady_ms() -> int:
            return begun_ms + int((time.monotonic() - begun_s) * 1000) + self.passed_ms

        return SiteClock(lambda: self.now_ms() + self.wrong_ms, steady_ms)

    def _open(self) -> Flask:
        where = {"data": self.folder / "data", "frontend": PAGE}
        settings = Settings(**where, now_ms=self._clock(), requests_a_minute=NO_BOUND)
        return create_app(settings)

    @property
    def clock(self) -> SiteClock:
        """Return the clock that the server goes by."""
        found = self.app.config["LATHHOUSE"].now_ms
        assert isinstance(found, SiteClock)
        return found

    def now(self) -> str:
        """Return what the server takes for now."""
        return to_text(self.clock())

    def tick(self) -> None:
        """Let the alert clock tick once; a server that runs does so every few seconds."""
        with self.turn, self.app.app_context():
            now_ms, certain = self.clock(), self.clock.certain_ms()
            if take_lease(self.site, "clock", now_ms, certain):
                catch_up(self.site, now_ms)

    def set_clock(self, ms: int, *, restarts: bool) -> None:
        """Set the clock on its wall wrong by so much; as the computer starts, or while it runs."""
        self.tick()
        self.wrong_ms = ms
        if restarts:
            self.restart()
        self.tick()

    def address(self, phone: int) -> str:
        """Return the address by which one phone knows it: an origin, so a store, of its own."""
        return f"http://p{phone}.localhost:{self.server.server_port}"

    def close(self) -> None:
        self.calm()
        for line in self.lines:
            line.end()
        self.server.shutdown()
        self.server.server_close()
        self._let_go()
        event.remove(Engine, "before_cursor_execute", self._executing)
        event.remove(Engine, "connect", self._connected)

    # -- the record

    @property
    def file(self) -> Path:
        return self.folder / "data" / "lathhouse.sqlite"

    @property
    def site(self) -> str:
        return str(self.app.config["SITE_ID"])

    def _let_go(self) -> None:
        with self.app.app_context():
            db.engine.dispose()

    def copy(self) -> Path:
        """Return a copy of the whole record."""
        kept = self.folder / f"copy-{uuid.uuid4().hex}.sqlite"
        with sqlite3.connect(self.file) as source, sqlite3.connect(kept) as target:
            source.backup(target)
        return kept

    def put_back(self, kept: Path, *, new_epoch: bool) -> None:
        """Put an older state of the record in place of today's, as `restore` does."""
        with self.turn:
            self._let_go()
            for name in self.file.parent.glob("lathhouse.sqlite*"):
                name.unlink()
            shutil.copy(kept, self.file)
            if new_epoch:
                with sqlite3.connect(self.file) as connection:
                    connection.execute("UPDATE sites SET epoch = ?", (str(uuid.uuid4()),))
            # Whoever restores starts the program anew.
            self.app.config["SERVER_DEVICE"] = ServerDevice()
            clock = self._clock()
            with self.app.app_context(), db.engine.connect() as connection:
                clock.begin(last_trusted_ms(connection))
            self.app.config["LATHHOUSE"].now_ms = clock

    def restart(self) -> None:
        """End the process and start it again on its folder."""
        with self.turn:
            self._let_go()
            self.app = self._open()

    def note_backup(self) -> None:
        """Note that the record as it is now was backed up, and that the backup was found whole."""

        def note(work: Work) -> None:
            seqs = {row["id"]: row["contiguous"] for row in rows_of_kind(work, "phone").values()}
            row = {"at": self.now(), "file": "", "events": 0, "chain": ""}
            work.upsert(Backup, [row | {"seqs": json.dumps(seqs)}], ("at",))

        with self.turn, self.app.app_context():
            writing(self.site, self.now(), note)

    def events(self) -> dict[str, Event]:
        """Return every event on record by its id."""
        with sqlite3.connect(self.file) as connection:
            rows = connection.execute("SELECT id, body FROM events").fetchall()
        return {name: json.loads(body) for name, body in rows}

    def names(self) -> set[str]:
        """Return the ids of all events on record, and the names of all pictures."""
        every = "SELECT id FROM events UNION ALL SELECT sha256 FROM photos"
        with sqlite3.connect(self.file) as connection:
            return {name for (name,) in connection.execute(every)}

    def pictures(self) -> dict[str, bytes]:
        """Return every picture by its name."""
        with sqlite3.connect(self.file) as connection:
            return dict(connection.execute("SELECT sha256, octets FROM photos"))

    def refused(self) -> set[str]:
        """Return the ids of all refused items that it keeps."""
        with sqlite3.connect(self.file) as connection:
            return {name for (name,) in connection.execute("SELECT event_id FROM refusals")}

    def settled(self) -> set[str]:
        """Return the ids of those that were mended or given up: their phone may let go of them."""
        with sqlite3.connect(self.file) as connection:
            asked = "SELECT event_id FROM refusals WHERE mended_by IS NOT NULL"
            return {name for (name,) in connection.execute(asked)}

    def known(self) -> list[Any]:
        """Return [epoch, revision]: a restored record may come to the same revision again."""
        with sqlite3.connect(self.file) as connection:
            return list(connection.execute("SELECT epoch, revision FROM sites").fetchone())

    def link(self) -> str:
        """Return a new pairing link's secret."""
        with self.app.app_context():
            return access.make_link(self.site, "owner", None, self.now(), 10)

    def bring(self, text: str, role: str) -> tuple[int, Event]:
        """Bring a saved file with a script's token; return status and answer."""
        bearer = {"Authorization": f"Bearer {self.tokens[role]}"}
        with self.turn:
            client = self.app.test_client()
            said = client.post("/api/v1/saved-files", json={"text": text}, headers=bearer)
        return said.status_code, said.get_json()

    def cut_off(self, device: str) -> None:
        with self.turn, self.app.app_context():
            access.cut_off(self.site, device, self.now())

    def pulled(self) -> Event:
        """Return all rows, as a new phone would pull them."""
        rows: dict[str, list[Event]] = {}
        cursor, more = "0", True
        with self.app.app_context():
            while more:
                page = pull(self.site, cursor, 1000, self.clock())
                for name, found in page["rows"].items():
                    rows.setdefault(name, []).extend(found)
                cursor, more = page["cursor"], page["more"]
        return rows

    def differences(self) -> list[str]:
        """Return where the stored rows are not what a fold of the log from nothing gives."""
        with self.app.app_context():
            return list(check.check(self.site, self.now())["differences"])

    # -- what fails on the server itself

    def die_at(self, statement: int) -> None:
        """Let the next push, or the next file, end the process at its n-th statement."""
        self.dies_at = statement

    def fill_disk(self) -> None:
        """Let no page be added to the database: SQLite itself says that the disk is full."""
        self.full = True
        self._let_go()

    def lock(self) -> None:
        """Let another process hold the database for writing."""
        self._let_go()
        if self.blocker is None:
            self.blocker = sqlite3.connect(self.file, timeout=5, isolation_level=None)
            self.blocker.execute("BEGIN IMMEDIATE")

    def ended(self) -> Counter[str]:
        """Return what it met since this was last asked."""
        met, self.met = self.met, Counter()
        return met

    @property
    def failing(self) -> bool:
        """Whether nobody can be served there by hand now."""
        return self.full or self.blocker is not None

    def calm(self) -> None:
        """Let nothing fail on the server any more, but its clock."""
        self.full, self.dies_at = False, 0
        if self.blocker is not None:
            self.blocker.execute("ROLLBACK")
            self.blocker.close()
            self.blocker = None
        self._let_go()

    def _connected(self, connection: Any, _record: Any) -> None:
        if not isinstance(connection, sqlite3.Connection):
            return
        if self.blocker is not None:
            connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        if self.full:
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count={pages}")

    def _executing(self, _connection: Any, _cursor: Any, _statement: str, *_: Any) -> None:
        if not self.statements:
            return
        self.statements += 1
        if self.statements > self.dies_at:
            self.statements = self.dies_at = 0
            raise Killed

    # -- the network

    def __call__(self, environ: Environ, start_response: Any) -> Iterable[bytes]:
        path = environ["PATH_INFO"]
        if path in self.files:
            kind = "text/html" if path.endswith(".html") else "text/javascript"
            start_response("200 OK", [("Content-Type", kind), *KEPT_FOR_AN_HOUR])
            return [self.files[path]]
        fault = environ.get("HTTP_X_FAULT", "none")
        body = environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or 0))
        if path == "/turn":
            asked = self.lines[phone_of(environ)].turn(body)
            start_response("200 OK" if asked else "204 No Content", [("Content-Type", "text/json")])
            return [asked or b""]
        if path == "/first-day":
            cookie = self.first_cookies[phone_of(environ)]
            start_response("200 OK", [("Set-Cookie", cookie)])
            return [b""]
        with self.turn:
            return self._meet(fault, environ, body, start_response)

    def _meet(
        self, fault: str, environ: Environ, body: bytes, start_response: Any
    ) -> Iterable[bytes]:
        if fault.isdigit():
            start_response(f"{fault} Fault", [("Content-Type", "text/plain"), ("Retry-After", "2")])
            return [b"a fault"]
        if fault == "portal":
            start_response("200 OK", [("Content-Type", "text/html")])
            return [PORTAL]
        if fault == "late":
            self.held.append((environ, body))
        if fault in ("late", "lose_request"):
            return drop(environ, start_response)
        if fault == "cut_request":
            self._ask(environ, body[: len(body) // 2])
            return drop(environ, start_response)
        if fault == "twice":
            self._ask(environ, body)
        status, headers, answer = self._ask(environ, body)
        if fault == "lose_reply" or status == "dead":
            return drop(environ, start_response)
        if fault == "cut_reply":
            answer = answer[: len(answer) // 2]
        start_response(status, headers)
        return [answer]

    def _ask(self, environ: Environ, body: bytes) -> tuple[str, list[tuple[str, str]], bytes]:
        """Ask the application; `dead` where its process ended over it."""
        said: list[Any] = []

        def note(status: str, headers: list[tuple[str, str]], _error: Any = None) -> None:
            said[:] = [status, headers]
            for name, value in headers:
                if name == "Set-Cookie":
                    self.cookies[phone_of(environ)] = value

        path, is_picture = environ["PATH_INFO"], environ["REQUEST_METHOD"] == "PUT"
        dying = self.dies_at and (is_picture or path.endswith(KILLED_IN))
        self.statements = 1 if dying else 0
        # Each phone is a machine of its own, and is asked which time it is.
        here = {"REMOTE_ADDR": f"192.168.1.{10 + phone_of(environ)}"}
        again = {**environ, **here, "wsgi.input": BytesIO(body)}
        answer = b"".join(self.app(again, note))
        if dying and not self.dies_at:
            self.met[
                "server killed with a picture" if is_picture else "server killed in a push"
            ] += 1
            self._let_go()
            return "dead", [], b""
        self.statements = 0
        if is_picture:
            self.met[f"picture sent: {said[0][:3]}"] += 1
        return said[0], said[1], answer

    def deliver(self, which: list[int]) -> None:
        """Let requests that were under way arrive after all, in this order; the rest stay."""
        for place in which:
            if self.held:
                environ, body = self.held.pop(place % len(self.held))
                with self.turn:
                    self._ask(environ, body)
