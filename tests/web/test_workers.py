"""Several processes on one PostgreSQL, and one on SQLite: sixteen writers at once, one dies."""

import os
import re
import signal
import socket
import threading
import time
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from http.client import HTTPException
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import create_engine, text

from lathhouse.cli import main
from lathhouse.domain.instants import to_text
from tests.server import NO_BOUND
from tests.web.test_serve import Serving

WRITERS, PUSHES = 16, 4
WITHIN_SECONDS = 120
Event = dict[str, Any]


@pytest.fixture
def serving(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Serving]:
    """A running server on either database: of two processes, of one on SQLite."""
    monkeypatch.setenv("LATHHOUSE_DATABASE_URL", database_url)
    monkeypatch.setenv("LATHHOUSE_REQUESTS_A_MINUTE", str(NO_BOUND))
    many = () if database_url.startswith("sqlite") else ("--workers", "2")
    running = Serving(tmp_path / "data", *many)
    running.start()
    yield running
    if running.process is not None:
        running.end(signal.SIGKILL)


class Writer(threading.Thread):
    """A phone that pushes, and sends again whatever it has no answer to."""

    def __init__(self, server: Serving, token: str, shared: str) -> None:
        super().__init__(daemon=True)
        self.server, self.token, self.shared = server, token, shared
        self.device, self.lot = str(uuid.uuid4()), str(uuid.uuid4())
        self.answers: list[Event] = []
        self.sent: list[str] = []
        self.failed: BaseException | None = None

    def batch(self, number: int) -> list[Event]:
        """Return a look at a lot of its own and one at a lot that everybody looks at."""
        start = {"crop": "acer-palmatum", "label": "26-1", "quantity": 18, "unit": "seeds"}
        own = ("looked", {"moisture": 3}) if number else ("lot_started", start)
        acts = [(*own, self.lot), ("looked", {"moisture": 4}, self.shared)]
        return [
            {"id": str(uuid.uuid4()), "seq": 2 * number + place, "kind": kind, "lot": lot}
            | {"observed_at": to_text(time.time_ns() // 10**6), "by": None, "data": data}
            for place, (kind, data, lot) in enumerate(acts, start=1)
        ]

    def run(self) -> None:
        try:
            for number in range(PUSHES):
                events = self.batch(number)
                self.sent += [event["id"] for event in events]
                self.answers.append(self.push(events))
        except BaseException as error:
            self.failed = error

    def push(self, events: list[Event]) -> Event:
        body, until = {"device": self.device, "events": events}, time.monotonic() + WITHIN_SECONDS
        while True:
            try:
                said = self.server.call("POST", "/api/v1/sync/push", body, self.token)
            except (OSError, HTTPException):
                # The process that had it died; another one takes it.
                assert time.monotonic() < until
                continue
            assert said.status == 200, said.body
            answer: Event = said.json
            return answer


class Puller(threading.Thread):
    """A phone that pulls all the while, and reads the log as it grows, never from the start."""

    def __init__(self, server: Serving, token: str) -> None:
        super().__init__(daemon=True)
        self.server, self.token, self.done = server, token, threading.Event()
        self.cursor, self.after, self.pulls = "0", "", 0
        self.rows: dict[tuple[str, str], int] = {}
        self.events: set[str] = set()

    def run(self) -> None:
        while not self.done.is_set():
            self.look()

    def look(self) -> None:
        """Take what is new, to the end of it."""
        more = True
        while more:
            page = self.ask(f"/api/v1/sync/pull?after={self.cursor}&limit=40")
            for kind, rows in page["rows"].items():
                self.rows |= {(kind, row["id"]): row["revision"] for row in rows}
            self.cursor, more = page["cursor"], page["more"]
            self.pulls += 1
        page = self.ask(f"/api/v1/events?limit=20{self.after}")
        while True:
            self.events |= {event["id"] for event in page["events"]}
            if page["next"] is None:
                return
            self.after = f"&after={page['next']}"
            page = self.ask(f"/api/v1/events?limit=20{self.after}")

    def ask(self, path: str) -> Event:
        try:
            said = self.server.call("GET", path, token=self.token)
        except (OSError, HTTPException):
            return self.ask(path)
        assert said.status == 200, said.body
        answer: Event = said.json
        return answer


def until(condition: Callable[[], Any]) -> Any:
    """Wait until something holds; return it."""
    end = time.monotonic() + WITHIN_SECONDS
    while not (found := condition()):
        assert time.monotonic() < end, "not in time"
        threading.Event().wait(0.1)
    return found


def write_together(server: Serving, token: str, meanwhile: Callable[[], None]) -> list[Writer]:
    """Have all writers write at once, and something happen amid it."""
    shared = str(uuid.uuid4())
    writers = [Writer(server, token, shared) for _ in range(WRITERS)]
    for writer in writers:
        writer.start()
    until(lambda: sum(len(writer.answers) for writer in writers) >= WRITERS // 2)
    meanwhile()
    for writer in writers:
        writer.join(timeout=WITHIN_SECONDS)
        assert writer.failed is None, writer.failed
        assert len(writer.answers) == PUSHES
    return writers


def all_is_there_once(server: Serving, puller: Puller, writers: list[Writer]) -> None:
    """Hold what a phone pulled amid the writing against the whole, read from the start."""
    puller.done.set()
    puller.join(timeout=WITHIN_SECONDS)
    puller.look()
    sent = {name for writer in writers for name in writer.sent}
    assert len(sent) == WRITERS * PUSHES * 2
    assert sent <= puller.events, "the log had a gap for whoever followed it"
    whole = Puller(server, puller.token)
    whole.look()
    assert puller.rows == whole.rows, "the cursor passed over a change (FAULTS F8)"
    assert puller.events == whole.events
    assert {writer.answers[-1]["next_seq"] for writer in writers} == {2 * PUSHES + 1}
    done = CliRunner().invoke(main, ["check", "--data", str(server.folder)])
    last = done.output.splitlines()[-1]
    assert (done.exit_code, last[-14:]) == (0, " 0 differences")
    assert last.startswith(f"{len(whole.events)} events, "), "an event is there twice"


def test_f08_f23_sixteen_writers_lose_no_revision_and_a_pulling_phone_sees_no_gap(
    serving: Serving,
):
    """FAULTS F8 and F23: over HTTP, two processes on PostgreSQL and one on SQLite."""
    token = serving.tokens("add", "script", "--role", "owner")
    puller = Puller(serving, token)
    puller.start()
    writers = write_together(serving, token, lambda: None)
    revisions = [answer["revision"] for writer in writers for answer in writer.answers]
    assert len(set(revisions)) == len(revisions) == WRITERS * PUSHES
    stored = [name for writer in writers for one in writer.answers for name in one["stored"]]
    assert len(stored) == len(set(stored)) == 2 * WRITERS * PUSHES
    all_is_there_once(serving, puller, writers)
    assert puller.pulls > 2
    assert serving.end() == 0


def on_duty(database_url: str) -> int | None:
    """Return the process that holds the duty, as the database itself knows it."""
    engine = create_engine(database_url)
    asked = text(
        "SELECT a.application_name FROM pg_locks l JOIN pg_stat_activity a ON a.pid = l.pid"
        " WHERE l.locktype = 'advisory' AND l.granted AND a.application_name LIKE 'lathhouse duty%'"
        " AND a.datname = current_database()"
    )
    with engine.connect() as connection:
        names = {str(name) for name in connection.execute(asked).scalars()}
    engine.dispose()
    assert len(names) < 2, "two are on duty"
    return int(names.pop().rsplit(" ", 1)[1]) if names else None


def is_ready(server: Serving) -> bool:
    return server.call("GET", "/ready").status == 200


def is_closed(server: Serving) -> bool:
    try:
        socket.create_connection(("127.0.0.1", server.port), timeout=5).close()
    except ConnectionRefusedError:
        return True
    return False


def pushes_measured(server: Serving) -> float:
    """Return how many pushes all processes together have answered with 200."""
    with urllib.request.urlopen(f"http://127.0.0.1:{server.port}/metrics") as said:
        families = text_string_to_metric_families(said.read().decode())
    return sum(
        sample.value
        for family in families
        for sample in family.samples
        if sample.name == "lathhouse_request_seconds_count"
        and (sample.labels["route"], sample.labels["status"]) == ("/api/v1/sync/push", "200")
    )


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_when_the_process_on_duty_is_killed_another_takes_over_and_nothing_is_lost(
    serving: Serving, database_url: str
):
    token = serving.tokens("add", "script", "--role", "owner")
    first = until(lambda: on_duty(database_url))
    assert serving.process is not None
    assert first != serving.process.pid, "the parent only looks after the others"
    until(lambda: is_ready(serving))
    puller = Puller(serving, token)
    puller.start()
    writers = write_together(serving, token, lambda: os.kill(first, signal.SIGKILL))
    second = until(lambda: (found := on_duty(database_url)) != first and found)
    assert second
    until(lambda: is_ready(serving))
    all_is_there_once(serving, puller, writers)
    assert pushes_measured(serving) >= WRITERS * PUSHES - 2, "those that died had counted too"

    # The parent dies: nobody keeps the port, and a new one has it.
    serving.end(signal.SIGKILL)
    until(lambda: is_closed(serving))
    serving.start()
    until(lambda: is_ready(serving))
    assert serving.call("GET", "/api/v1/alerts", token=token).status == 200
    assert serving.end() == 0
    assert is_closed(serving)
    assert on_duty(database_url) is None


def test_sqlite_is_for_one_process_and_says_so(tmp_path: Path):
    asked = ["serve", "--data", str(tmp_path), "--port", "0", "--workers", "2"]
    done = CliRunner().invoke(main, asked, env={"LATHHOUSE_DATABASE_URL": ""})
    assert done.exit_code == 1
    assert re.search("SQLite is for one process; several need PostgreSQL", done.output)
    assert not list(tmp_path.iterdir())
