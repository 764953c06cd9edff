"""A server for tests: the real application on a real SQLite file or a real PostgreSQL."""

import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Connection

from lathhouse.app import create_app
from lathhouse.domain.instants import parse_instant, to_text
from lathhouse.reminders.clock import catch_up
from lathhouse.settings import Settings
from lathhouse.store import access
from lathhouse.store.check import check
from lathhouse.store.models import db
from lathhouse.store.walls import enter
from tests.on_postgresql import address_for

NOW = "2026-09-10T08:40:00+10:00"
# Tests ask faster than any script; those of the bound itself set one.
NO_BOUND = 10**9


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, at: str = NOW) -> None:
        self.ms = parse_instant(at)

    def __call__(self) -> int:
        return self.ms

    def set(self, at: str) -> None:
        self.ms = parse_instant(at)

    def forward(self, **length: float) -> None:
        units = {"days": 86_400_000, "hours": 3_600_000, "minutes": 60_000, "seconds": 1000}
        self.ms += round(sum(value * units[unit] for unit, value in length.items()))

    def text(self, **ago: float) -> str:
        """Return a time that long ago, as a phone would write it."""
        earlier = Clock()
        earlier.ms = self.ms
        earlier.forward(**{unit: -value for unit, value in ago.items()})
        return to_text(earlier.ms)


class Nursery:
    """The server as those who use it see it: over HTTP, with a clock of its own."""

    def __init__(self, app: Flask, clock: Clock) -> None:
        self.app, self.clock = app, clock
        self.site = app.config["SITE_ID"]
        self.client: FlaskClient = app.test_client()
        self.tokens: dict[str, str] = {}

    def call(self, method: str, path: str, body: Any = None, role: str | None = "owner") -> Any:
        """Send a request with a token of that role."""
        headers = {"Authorization": f"Bearer {self.token(role)}"} if role else {}
        sent = {} if body is None else {"json": body}
        return self.client.open(path, method=method, headers=headers, **sent)

    def token(self, role: str) -> str:
        if role not in self.tokens:
            with self.app.app_context():
                now = to_text(self.clock.ms)
                self.tokens[role] = access.add_token(self.site, f"{role}'s script", role, now)
        return self.tokens[role]

    def revoke(self, name: str) -> None:
        """Let the one token of a name in no more."""
        with self.app.app_context():
            now = to_text(self.clock.ms)
            (token,) = access.tokens_meant(self.site, name, now)
            assert access.revoke_token(self.site, token["id"], now) == {"name": name}

    def device(self) -> "Device":
        return Device(self)

    @contextmanager
    def database(self) -> Iterator[Connection]:
        """Open a transaction on the database itself, behind the server's back."""
        with self.app.app_context(), db.engine.begin() as connection:
            enter(connection, self.site)
            yield connection

    def lot(self, lot_id: str) -> dict[str, Any] | None:
        return next((lot for lot in self.rows("lots") if lot["id"] == lot_id), None)

    def rows(self, kind: str) -> list[dict[str, Any]]:
        """Return every row of a kind, pulled page by page from the start."""
        found, cursor, more = [], "0", True
        while more:
            page = self.call("GET", f"/api/v1/sync/pull?after={cursor}&limit=50").json
            found += page["rows"][kind]
            cursor, more = page["cursor"], page["more"]
        return found

    def alerts(self, state: str = "standing") -> dict[str, str]:
        """Return {watch: level} of the alerts in a state."""
        found = self.call("GET", f"/api/v1/alerts?state={state}&limit=1000").json["alerts"]
        return {alert["watch"]: alert["level"] for alert in found}

    def tick(self) -> int:
        with self.app.app_context():
            return catch_up(self.site, self.clock.ms)

    def differences(self) -> list[str]:
        with self.app.app_context():
            return check(self.site, to_text(self.clock.ms))["differences"]


class Device:
    """A script that speaks the sync contract as a phone does."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.id, self.seq = nursery, str(uuid.uuid4()), 0

    def event(
        self, kind: str, lot: str | None, data: dict[str, Any], **more: Any
    ) -> dict[str, Any]:
        self.seq += 1
        at = more.pop("at", None) or self.nursery.clock.text()
        event = {"id": str(uuid.uuid4()), "seq": self.seq, "kind": kind, "lot": lot}
        return {**event, "observed_at": at, "by": None, "data": data, **more}

    def push(self, *events: Any, sent_at: str | None = None) -> dict[str, Any]:
        body = {
            "device": self.id,
            "sent_at": sent_at or self.nursery.clock.text(),
            "events": list(events),
        }
        answer = self.nursery.call("POST", "/api/v1/sync/push", body)
        assert answer.status_code == 200, answer.json
        return answer.json

    def record(
        self, kind: str, lot: str | None, data: dict[str, Any], **more: Any
    ) -> dict[str, Any]:
        event = self.event(kind, lot, data, **more)
        said = self.push(event)
        assert said["stored"] == [event["id"]], said
        return event

    def start_lot(self, at: str | None = None, **data: Any) -> str:
        lot = str(uuid.uuid4())
        started = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}
        self.record("lot_started", lot, {**started, **data}, at=at)
        return lot


@pytest.fixture
def clock() -> Clock:
    """A clock that stands at the demo's own morning."""
    return Clock()


def open_nursery(url: str, folder: Path, clock: Clock, site: str = "") -> Nursery:
    """Return a running server on a database, for one of several sites where there are such."""
    settings = Settings(folder, url, now_ms=clock, site=site, requests_a_minute=NO_BOUND)
    return Nursery(create_app(settings), clock)


def close_nursery(nursery: Nursery) -> None:
    """Let go of the server's database."""
    with nursery.app.app_context():
        db.engine.dispose()


@pytest.fixture
def nursery(database_url: str, tmp_path: Path, clock: Clock) -> Iterator[Nursery]:
    """An empty nursery's server on each kind of database."""
    opened = open_nursery(database_url, tmp_path / "data", clock)
    yield opened
    close_nursery(opened)


@pytest.fixture
def one_nursery(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Nursery]:
    """An empty nursery's server, for what does not depend on the database.

    On SQLite, unless the run asks for PostgreSQL.
    """
    url = address_for(tmp_path / "l.sqlite")
    if url.startswith("sqlite"):
        shutil.copy(request.getfixturevalue("sqlite_tables"), tmp_path / "l.sqlite")
    opened = open_nursery(url, tmp_path / "data", clock)
    yield opened
    close_nursery(opened)
