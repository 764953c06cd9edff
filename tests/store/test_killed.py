"""The server's own process is killed (SIGKILL) at a chosen point of a push, and started again."""

import json
import os
import signal
import subprocess
import sys
import urllib.request
import uuid
from http.client import HTTPException
from pathlib import Path
from typing import Any

from tests.server import Clock, close_nursery, open_nursery

# The command itself, in which one statement of the next push, once armed, is the process's last.
SERVED = """
import os, signal, sys
from pathlib import Path
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.pool import Pool
from lathhouse.cli import main

armed = Path(sys.argv.pop(1))

def meet(point):
    if armed.exists() and point.startswith(armed.read_text()):
        os.kill(os.getpid(), signal.SIGKILL)

@event.listens_for(Engine, "before_cursor_execute")
def executing(connection, cursor, statement, *rest):
    meet(statement)
    if statement.startswith("INSERT INTO events "):
        connection.info["appended"] = True

@event.listens_for(Engine, "commit")
def committing(connection):
    if connection.info.get("appended"):
        meet("before the commit")

@event.listens_for(Pool, "checkin")
def committed(dbapi_connection, record):
    if record.info.pop("appended", False):
        meet("after the commit")

main()
"""
# Where it dies, and whether the push is on record then.
EITHER = {"INSERT INTO alerts ": False, "before the commit": False, "after the commit": True}
POINTS = {
    "sqlite": {"UPDATE sites SET revision": False, "INSERT INTO subjects ": False, **EITHER},
    "postgresql": EITHER,
}
LOOKS = 20


class Served:
    """A real `lathhouse serve`, which dies where it is told to."""

    def __init__(self, folder: Path, url: str, token: str) -> None:
        self.folder, self.url, self.token = folder, url, token
        self.armed = folder / "armed"
        self.address = ""
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start it, and wait until it says where it is."""
        self.armed.unlink(missing_ok=True)
        command = [sys.executable, "-c", SERVED, str(self.armed), "serve", "--port", "0"]
        self.process = subprocess.Popen(
            [*command, "--data", str(self.folder)],
            env={**os.environ, "LATHHOUSE_DATABASE_URL": self.url},
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        lines = (line for line in self.process.stdout if line.startswith("Lathhouse is at "))
        self.address = next(lines).split()[-1].rstrip("/")

    def push(self, device: str, events: list[dict[str, Any]]) -> Any:
        """Push over the network; return the answer, or None where the line went dead."""
        body = json.dumps({"device": device, "events": events}).encode()
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        request = urllib.request.Request(f"{self.address}/api/v1/sync/push", body, headers)
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.loads(answer.read())
        except (OSError, HTTPException):
            return None

    def end(self, how: int = signal.SIGTERM) -> int:
        """End it; return how it ended."""
        assert self.process is not None
        assert self.process.stdout is not None
        if how:
            self.process.send_signal(how)
        code = self.process.wait(timeout=60)
        self.process.stdout.close()
        return code


def batch(lot: str, first: int, started_at: str) -> list[dict[str, Any]]:
    """Return a new lot in a long cold that nobody looked at, which rings, and other records."""
    start = {"crop": "acer-palmatum", "label": f"L{first}", "quantity": 500, "unit": "seeds"}
    said = [("lot_started", start), ("cold_started", {"where": "fridge"})]
    said += [("tested", {"test": "cut", "sound": 40, "out_of": 50})] * LOOKS
    return [
        {"id": str(uuid.uuid4()), "seq": first + n, "kind": kind, "lot": lot, "data": data,
         "observed_at": started_at}
        for n, (kind, data) in enumerate(said)
    ]  # fmt: skip


def test_a_server_killed_at_any_point_of_a_push_has_written_all_of_it_or_nothing(
    database_url: str, tmp_path: Path
):
    clock, points = Clock(), POINTS[database_url.partition(":")[0].partition("+")[0]]
    began = open_nursery(database_url, tmp_path, clock)
    served = Served(tmp_path, database_url, began.token("owner"))
    device, sent = str(uuid.uuid4()), []
    served.start()
    for number, (point, kept) in enumerate(points.items()):
        events = batch(str(uuid.uuid4()), 1 + number * (LOOKS + 2), clock.text(days=20))
        ids = [event["id"] for event in events]
        served.armed.write_text(point)
        assert served.push(device, events) is None, point
        assert served.end(how=0) == -signal.SIGKILL, point
        offered = began.call("POST", "/api/v1/sync/offer", {"device": device, "ids": ids}).json
        assert offered["missing"] == ([] if kept else ids), point
        served.start()
        said = served.push(device, events)
        assert (said["stored"], said["already"]) == (([], ids) if kept else (ids, [])), point
        assert said["next_seq"] == events[-1]["seq"] + 1
        sent += ids
    assert served.end() == 0
    history = began.call("GET", "/api/v1/events?limit=1000").json["events"]
    assert [event["id"] for event in history] == sent
    assert [event["position"] for event in history] == list(range(1, len(sent) + 1))
    assert len(began.rows("lots")) == len(points)
    assert began.alerts()["cold-never-looked"] == "alarm"
    close_nursery(began)
