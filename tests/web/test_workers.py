"""Several processes on one PostgreSQL, and one on SQLite: sixteen writers at once, one dies."""

import os
import re
import signal
import socket
import threading
import time
import urllib.request
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import create_engine, text

from lathhouse.cli import main
from lathhouse.domain.instants import DAY_MS, to_text
from lathhouse.web.tries import PAIRINGS_FROM_ONE
from tests.photos import jpeg, name_of
from tests.server import NO_BOUND
from tests.web.crowd import CROWD, PHONES, ROUNDS, WITHIN_SECONDS, Data, Member, Puller, now
from tests.web.test_serve import Answer, Serving


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


def until(condition: Callable[[], Any]) -> Any:
    """Wait until something holds; return it."""
    end = time.monotonic() + WITHIN_SECONDS
    while not (found := condition()):
        assert time.monotonic() < end, "not in time"
        threading.Event().wait(0.1)
    return found


def begin(first: Member) -> None:
    """Record a fridge, and two lots that ring: so long in the cold, and never looked at."""
    place, long_ago = first.shared["place"], to_text(time.time_ns() // 10**6 - 20 * DAY_MS)
    made = [first.event("place_changed", None, {"id": place, "name": "Fridge", "order": 1})]
    for label in ("26-2", "26-3"):
        lot, start = str(uuid.uuid4()), {"crop": "acer-palmatum", "label": label, "place": place}
        made.append(first.event("lot_started", lot, start))
        made.append(first.event("cold_started", lot, {"where": "fridge"}))
    first.push([event | {"observed_at": long_ago} for event in made], first.tokens["owner"])


def write_together(server: Serving, meanwhile: Callable[[], None]) -> list[Member]:
    """Have all of the crowd write at once, and something happen amid it."""
    roles = ("owner", "sensor")
    tokens = {role: server.tokens("add", f"{role}'s", "--role", role) for role in roles}
    shared = {"lot": str(uuid.uuid4()), "place": str(uuid.uuid4())}
    first = Member(server, tokens, shared)
    begin(first)
    members = [kind(server, tokens, shared) for kind in CROWD]
    assert len(members) == 16
    for one in members:
        one.start()
    until(lambda: sum(one.done for one in members) >= len(members) // 2)
    meanwhile()
    for one in members:
        one.join(timeout=WITHIN_SECONDS)
        assert one.failed is None, one.failed
        assert one.done == ROUNDS
    return [first, *members]


def all_is_there_once(server: Serving, pullers: list[Puller], members: list[Member]) -> list[Data]:
    """Hold what phones pulled amid the writing against the whole; return the log."""
    whole = Puller(server, pullers[0].tokens["owner"], 1000)
    for one in pullers:
        one.over.set()
        one.join(timeout=WITHIN_SECONDS)
        assert one.failed is None, one.failed
    for one in (*pullers, whole):
        one.look()
    for one in pullers:
        assert one.standing == whole.standing, "the cursor passed over a change (FAULTS F8)"
        assert [event["id"] for event in one.events] == [event["id"] for event in whole.events]
    stored = [name for one in members for name in one.stored]
    ids = {event["id"] for event in whole.events}
    assert len(stored) == len(set(stored)) == 5 + ROUNDS * (2 * PHONES + 2 * 2 + 2 + 2)
    assert set(stored) <= ids
    numbers: dict[str, list[int]] = {}
    for event in whole.events:
        numbers.setdefault(event["device"], []).append(event["seq"])
    for device, found in numbers.items():
        assert sorted(found) == list(range(1, len(found) + 1)), device
    done = CliRunner().invoke(main, ["check", "--data", str(server.folder)])
    last = done.output.splitlines()[-1]
    assert (done.exit_code, last[-14:]) == (0, " 0 differences"), done.output
    assert last.startswith(f"{len(ids)} events, "), "an event is there twice"
    return whole.events


def test_f08_f23_sixteen_writers_lose_no_revision_and_a_pulling_phone_sees_no_gap(
    serving: Serving,
):
    """FAULTS F8 and F23: over HTTP, two processes on PostgreSQL and one on SQLite.

    Phones send twice, a probe's readings, answers to alerts, places changed, phones let in and cut
    off; what the server writes of its own accord is numbered without a gap too.
    """
    token = serving.tokens("add", "script", "--role", "owner")
    pullers = [Puller(serving, token), Puller(serving, token, limit=3)]
    for one in pullers:
        one.start()
    members = write_together(serving, lambda: None)
    revisions = [revision for one in members for revision in one.revisions]
    assert len(set(revisions)) == len(revisions) == 2 + 2 * ROUNDS * (PHONES + 2 + 2)
    assert sum(one.asked_anew for one in members) == 0
    log = Counter(event["kind"] for event in all_is_there_once(serving, pullers, members))
    assert log["acknowledged"] == log["shelved"] == 2 * 2 * ROUNDS
    assert log["phone_changed"] == 2 * 2 * ROUNDS, "each let in, each cut off"
    assert min(one.pulls for one in pullers) > 2
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
    members = write_together(serving, lambda: os.kill(first, signal.SIGKILL))
    second = until(lambda: (found := on_duty(database_url)) != first and found)
    assert second
    until(lambda: is_ready(serving))
    all_is_there_once(serving, [puller], members)
    answered = sum(len(one.revisions) for one in members)
    assert pushes_measured(serving) >= answered - 2, "those that died had counted too"

    # The parent dies: nobody keeps the port, and a new one has it.
    serving.end(signal.SIGKILL)
    until(lambda: is_closed(serving))
    serving.start()
    until(lambda: is_ready(serving))
    assert serving.call("GET", "/api/v1/alerts", token=token).status == 200
    assert serving.end() == 0
    assert is_closed(serving)
    assert on_duty(database_url) is None


class Through(Serving):
    """A running server, asked by way of one of its processes."""

    def __init__(self, server: Serving, pid: int, other: int) -> None:
        super().__init__(server.folder)
        self.port, self.pid, self.other = server.port, pid, other

    def line(self) -> HTTPConnection:
        """Return a line that this process has accepted: the other stands still until it has."""
        line = super().line()
        os.kill(self.other, signal.SIGSTOP)
        try:
            line.connect()
            end = time.monotonic() + WITHIN_SECONDS
            while not self.has(line.sock.getsockname()[1]):
                assert time.monotonic() < end, "the process never took the line"
        finally:
            os.kill(self.other, signal.SIGCONT)
        return line

    def has(self, port: int) -> bool:
        """Say whether the process holds the line that comes from this port."""
        ends = [f":{number:04X}" for number in (self.port, port)]
        lines = (one.split() for one in Path("/proc/net/tcp").read_text().splitlines())
        sockets = {f"socket:[{of[9]}]" for of in lines if [of[1][-5:], of[2][-5:]] == ends}
        return bool(sockets & {os.readlink(one) for one in Path(f"/proc/{self.pid}/fd").iterdir()})


class Phone:
    """One phone, which asks now this process and now that one."""

    def __init__(self) -> None:
        self.device, self.lot, self.cookie = str(uuid.uuid4()), str(uuid.uuid4()), ""

    def pair(self, through: Serving, secret: str) -> int:
        """Come in by a link; return the status."""
        phone = {"secret": secret, "device": self.device, "name": "Mele's phone"}
        said = through.call("POST", "/api/v1/pairings/redeem", phone)
        if said.status == 200:
            self.cookie = said.headers["set-cookie"].partition(";")[0]
        return said.status

    def event(self, seq: int, kind: str, data: Data) -> Data:
        event = {"id": str(uuid.uuid4()), "seq": seq, "kind": kind, "lot": self.lot, "data": data}
        return event | {"observed_at": now(), "by": None}

    def push(self, through: Serving, *events: Data) -> Answer:
        body = {"device": self.device, "events": list(events)}
        return through.call("POST", "/api/v1/sync/push", body, cookie=self.cookie)

    def pull(self, through: Serving, after: str = "0") -> Answer:
        asked = f"/api/v1/sync/pull?after={after}&device={self.device}"
        return through.call("GET", asked, cookie=self.cookie)


def link(through: Serving, owner: str) -> str:
    """Return what a new link for a worker's phone carries."""
    made = through.call("POST", "/api/v1/pairings", {"role": "worker"}, owner).json
    return str(made["link"].rsplit("/", 1)[1])


def both(serving: Serving) -> tuple[Through, Through]:
    """Return the server by way of each of its two processes."""
    assert serving.process is not None
    pid = serving.process.pid
    children = Path(f"/proc/{pid}/task/{pid}/children")
    one, other = until(lambda: len(found := children.read_text().split()) == 2 and found)
    return Through(serving, int(one), int(other)), Through(serving, int(other), int(one))


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_what_one_process_has_taken_holds_at_the_other_at_once(serving: Serving):
    """The contract over HTTP, each request through a process of the test's choosing."""
    (one, other), phone, octets = both(serving), Phone(), jpeg()
    owner = serving.tokens("add", "owner's", "--role", "owner")
    sensor = serving.tokens("add", "sensor's", "--role", "sensor")
    secret = link(one, owner)
    assert phone.pair(other, secret) == 200
    assert phone.pair(one, secret) == 403, "good once, wherever"

    start = phone.event(1, "lot_started", {"crop": "acer-palmatum", "label": "26-1"})
    size = {"width_px": 120, "height_px": 90}
    seen = phone.event(2, "photographed", {"sha256": name_of(octets), **size})
    ids = [start["id"], seen["id"]]
    assert phone.push(one, start, seen).json["stored"] == ids
    again = phone.push(other, start, seen).json
    assert (again["already"], again["stored"]) == (ids, [])
    first, second = phone.pull(one).json, phone.pull(other).json
    assert first["rows"]["lots"] == second["rows"]["lots"]
    assert (first["cursor"], first["epoch"]) == (second["cursor"], second["epoch"])
    assert first["next_seq"] == again["next_seq"] == 3
    look = phone.event(3, "looked", {"moisture": 3})
    assert phone.push(other, look).json["revision"] > first["revision"]
    (row,) = phone.pull(one, first["cursor"]).json["rows"]["lots"]
    assert (row["id"], row["events_count"]) == (phone.lot, 3)
    where, kind = f"/api/v1/photos/{name_of(octets)}", {"Content_Type": "image/jpeg"}
    assert one.call("PUT", where, octets, cookie=phone.cookie, **kind).status == 200
    assert other.call("GET", where, cookie=phone.cookie).body == octets

    assert one.call("POST", f"/api/v1/phones/{phone.device}/cut-off", {}, owner).status == 200
    unsent = phone.event(4, "looked", {"moisture": 2})
    for through in (other, one):
        assert phone.push(through, unsent).status == phone.pull(through).status == 401
    assert phone.pair(one, link(other, owner)) == 200
    said = phone.push(other, unsent).json
    assert (said["stored"], said["next_seq"]) == ([unsent["id"]], 5)

    reading = {"place": str(uuid.uuid4()), "value": 4}
    assert one.call("POST", "/api/v1/readings", reading, sensor).status == 422
    serving.tokens("revoke", "sensor's")
    assert other.call("POST", "/api/v1/readings", reading, sensor).status == 401
    # One guess was made above, with the link that was used up.
    guesses = [phone.pair((one, other)[n % 2], "guess") for n in range(PAIRINGS_FROM_ONE + 1)]
    assert guesses == [403] * (PAIRINGS_FROM_ONE - 1) + [429] * 2
    assert serving.end() == 0


@pytest.mark.about_sqlite("it is for one process")
def test_sqlite_is_for_one_process_and_says_so(tmp_path: Path):
    asked = ["serve", "--data", str(tmp_path), "--port", "0", "--workers", "2"]
    done = CliRunner().invoke(main, asked, env={"LATHHOUSE_DATABASE_URL": ""})
    assert done.exit_code == 1
    assert re.search("SQLite is for one process; several need PostgreSQL", done.output)
    assert not list(tmp_path.iterdir())
