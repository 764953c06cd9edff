"""The program as its owner runs it: `lathhouse serve` and `lathhouse tokens`, over the network."""

import gzip
import json
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from http.client import HTTPConnection, HTTPSConnection
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lathhouse.cli import main
from lathhouse.serving import FINISH_SECONDS
from lathhouse.settings import BODY_MAX_BYTES
from tests.on_postgresql import environment
from tests.ports import own_port

PROBLEM = "application/problem+json"
PUSH = "/api/v1/sync/push"
COMMAND = (sys.executable, "-m", "lathhouse")
# What is promised after a SIGKILL (DESIGN section 4).
BACK_WITHIN_SECONDS = 30
STALLED = 40


class Answer:
    """One answer of the server."""

    def __init__(self, status: int, headers: dict[str, str], body: bytes) -> None:
        self.status, self.headers, self.body = status, headers, body

    @property
    def json(self) -> Any:
        """Its body, which is JSON."""
        return json.loads(self.body)

    @property
    def problem(self) -> tuple[int, str]:
        """Its status and media type; every problem also has a sentence and the safe headers."""
        assert self.json["status"] == self.status
        assert self.json["detail"].endswith(".")
        assert "unsafe-inline" not in self.headers["content-security-policy"]
        assert self.headers["x-content-type-options"] == "nosniff"
        return self.status, self.headers["content-type"]


class Serving:
    """A server's folder, and the process that serves it."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder, self.options, self.port = folder, options, own_port()
        self.process: subprocess.Popen[str] | None = None
        self.said: list[str] = []

    def start(self) -> None:
        """Start it on its own port, and wait until it says where it is."""
        where = ("--data", str(self.folder), "--port", str(self.port))
        self.process = subprocess.Popen(
            [*COMMAND, "serve", *where, *self.options],
            stdout=subprocess.PIPE,
            text=True,
            env=environment(self.folder),
        )
        assert self.process.stdout is not None
        self.said = []
        for line in self.process.stdout:
            self.said.append(line.strip())
            if line.startswith("Lathhouse is at "):
                self.port = int(line.strip().rstrip("/").rsplit(":", 1)[1])
                return
        raise AssertionError("the server ended before it said where it is")

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        """End it; return how it ended."""
        assert self.process is not None
        assert self.process.stdout is not None
        self.process.send_signal(how)
        code = self.process.wait(timeout=60)
        self.process.stdout.close()
        self.process = None
        return code

    @property
    def link(self) -> str | None:
        """The owner's link as it was printed, if one was."""
        lines = (re.search(r"(\S+)#/pair/(\S+)$", line) for line in self.said)
        return next((found[2] for found in lines if found), None)

    def tokens(self, *words: str) -> str:
        """Run `lathhouse tokens …` beside the server; return its last line."""
        done = CliRunner().invoke(main, ["tokens", *words, "--data", str(self.folder)])
        assert done.exit_code == 0, done.output
        return done.output.splitlines()[-1]

    def call(
        self, method: str, path: str, body: Any = None, token: str = "", **headers: str
    ) -> Answer:
        """Send one request: bytes, or chunks of them, as they are, anything else as JSON."""
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        names |= {"Authorization": f"Bearer {token}"} if token else {}
        if body is not None:
            names = {"Content-Type": "application/json", **names}
            if not isinstance(body, bytes | Iterator):
                body = json.dumps(body).encode()
        line = self.line()
        line.request(method, path, body, names, encode_chunked=isinstance(body, Iterator))
        said = line.getresponse()
        found = {name.lower(): value for name, value in said.getheaders()}
        answer = Answer(said.status, found, said.read())
        line.close()
        return answer

    def line(self) -> HTTPConnection:
        """Return a new line to it."""
        return HTTPConnection("127.0.0.1", self.port, timeout=120)

    def redeem(self, secret: str | None) -> Answer:
        """Pair a phone that nobody has seen yet."""
        phone = {"secret": secret, "device": str(uuid.uuid4()), "name": "Shed phone"}
        return self.call("POST", "/api/v1/pairings/redeem", phone)


@pytest.fixture
def serving(tmp_path: Path) -> Iterator[Callable[..., Serving]]:
    """Start servers, each on its own empty folder: `serving("--demo")`."""
    made: list[Serving] = []

    def make(*options: str) -> Serving:
        made.append(Serving(tmp_path / f"data-{len(made)}", *options))
        made[-1].start()
        return made[-1]

    yield make
    for one in made:
        if one.process is not None:
            one.end(signal.SIGKILL)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One running server for what leaves it as it was."""
    running = Serving(tmp_path_factory.mktemp("shared"))
    running.start()
    yield running
    running.end(signal.SIGKILL)


def looks(count: int, first: int = 1) -> list[dict[str, Any]]:
    """Return a lot's start and looks at it, now."""
    lot, now = str(uuid.uuid4()), time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
    start = {"crop": "acer-palmatum", "label": "26-017-R", "quantity": 1800, "unit": "seeds"}
    said = [("lot_started", start), *[("looked", {"moisture": 3})] * (count - 1)]
    return [
        {"id": str(uuid.uuid4()), "seq": seq, "kind": kind, "lot": lot, "observed_at": now,
         "by": None, "data": data}
        for seq, (kind, data) in enumerate(said, first)
    ]  # fmt: skip


def push_of(events: list[dict[str, Any]], device: str | None = None) -> dict[str, Any]:
    return {"device": device or str(uuid.uuid4()), "events": events}


def test_a_first_start_prints_a_link_that_works_once_and_a_token_waits_for_no_owner(
    serving: Callable[..., Serving],
):
    server = serving()
    assert server.call("GET", "/api/v1/session").problem == (401, PROBLEM)
    add = [*COMMAND, "tokens", "add", "logger", "--role", "worker", "--data", str(server.folder)]
    env = environment(server.folder)
    made = subprocess.run(add, check=True, capture_output=True, text=True, timeout=120, env=env)
    token = made.stdout.splitlines()[-1]
    said = server.call("POST", PUSH, push_of(looks(2)), token)
    assert (said.status, len(said.json["stored"])) == (200, 2)

    printed = server.link
    paired = server.redeem(printed)
    assert (paired.status, paired.json["role"]) == (200, "owner")
    cookie = paired.headers["set-cookie"].partition(";")[0]
    assert server.call("GET", "/api/v1/session", Cookie=cookie).json["role"] == "owner"
    assert server.redeem(printed).problem == (403, PROBLEM)

    token_id, made_at, role, used_at, name = server.tokens("list").split()
    assert (role, name) == ("worker", "logger")
    assert made_at <= used_at
    assert server.tokens("revoke", "logger") == f"{token_id} revoked: logger"
    assert server.call("GET", "/api/v1/alerts", token=token).problem == (401, PROBLEM)
    assert server.end() == 0


def test_a_token_made_before_the_first_start_keeps_nobody_from_the_owners_link(
    serving: Callable[..., Serving], tmp_path: Path
):
    before = Serving(tmp_path / "data-0")
    token = before.tokens("add", "script", "--role", "owner")
    server = serving()
    assert server.call("GET", "/api/v1/alerts", token=token).status == 200
    assert server.redeem(server.link).status == 200


def test_after_a_sigkill_it_is_back_on_the_same_port_and_data_within_half_a_minute(
    serving: Callable[..., Serving],
):
    server = serving()
    port, token = server.port, server.tokens("add", "script", "--role", "owner")
    events, device = looks(50), str(uuid.uuid4())
    assert server.call("POST", PUSH, push_of(events, device), token).status == 200
    cookie = server.redeem(server.link).headers["set-cookie"].partition(";")[0]
    history = server.call("GET", "/api/v1/events?limit=1000", token=token).json
    # Somebody is in the middle of a request, and the line stays open at the other end.
    with half_a_push(server, token):
        assert server.end(signal.SIGKILL) == -signal.SIGKILL
        began = time.monotonic()
        server.start()
    assert server.call("GET", "/health").json == {"ok": True}
    assert time.monotonic() - began < BACK_WITHIN_SECONDS
    assert server.port == port
    assert server.call("GET", "/api/v1/events?limit=1000", token=token).json == history
    assert server.call("GET", "/api/v1/session", Cookie=cookie).json["role"] == "owner"
    assert server.link is None, "an owner's phone is paired"
    again = server.call("POST", PUSH, push_of(events, device), token).json
    assert (again["stored"], len(again["already"])) == ([], 50)


def half_a_push(server: Serving, token: str) -> socket.socket:
    """Return a line on which a push was begun whose body does not come."""
    line = socket.create_connection(("127.0.0.1", server.port), timeout=60)
    line.sendall(
        f"POST {PUSH} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\n"
        'Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{"device": '.encode()
    )
    return line


def test_f22_phones_that_stall_in_the_middle_of_a_push_hold_up_nobody(server: Serving):
    """FAULTS F22, at the server: forty lines on which half a push has come, and a whole one."""
    token = server.tokens("add", "script", "--role", "worker")
    stalled = [half_a_push(server, token) for _ in range(STALLED)]
    said = server.call("POST", PUSH, push_of(looks(3)), token)
    assert (said.status, len(said.json["stored"])) == (200, 3)
    for line in stalled:
        line.close()
    assert server.call("GET", "/health").status == 200


def begun(server: Serving, body: bytes, token: str) -> socket.socket:
    """Return a line on which the server has begun to read a push, and has half of its body."""
    line = socket.create_connection(("127.0.0.1", server.port), timeout=60)
    line.sendall(
        f"POST {PUSH} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n"
        "Expect: 100-continue\r\n\r\n".encode()
    )
    assert line.recv(4096).startswith(b"HTTP/1.1 100 ")
    line.sendall(body[: len(body) // 2])
    return line


def until_closed(server: Serving) -> None:
    """Wait until nobody is let in any more."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            socket.create_connection(("127.0.0.1", server.port), timeout=5).close()
        except ConnectionRefusedError:
            return
    raise AssertionError("it goes on letting people in")


def test_told_to_stop_it_answers_the_push_under_way_and_takes_no_other(
    serving: Callable[..., Serving],
):
    server = serving()
    token = server.tokens("add", "script", "--role", "owner")
    events = looks(3)
    body = json.dumps(push_of(events)).encode()
    line = begun(server, body, token)
    assert server.process is not None
    server.process.send_signal(signal.SIGTERM)
    until_closed(server)
    line.sendall(body[len(body) // 2 :])
    answer = b"".join(iter(lambda: line.recv(65536), b""))
    assert answer.startswith(b"HTTP/1.1 200 ")
    assert all(event["id"].encode() in answer for event in events)
    assert server.process.wait(timeout=60) == 0

    server.start()
    known = server.call("GET", "/api/v1/events", token=token).json["events"]
    assert {event["id"] for event in known} >= {event["id"] for event in events}
    line = begun(server, body, token)
    server.process.send_signal(signal.SIGTERM)
    until_closed(server)
    began = time.monotonic()
    # A second time: at once, whoever is in the middle of something.
    assert server.end() == 128 + signal.SIGTERM
    assert time.monotonic() - began < FINISH_SECONDS / 2
    line.close()


def chunks(length: int) -> Iterator[bytes]:
    for _ in range(length // 65536 + 1):
        yield b" " * 65536


def test_bodies_and_batches_have_limits_over_the_network(server: Serving):
    token = server.tokens("add", "the heaps of records", "--role", "worker")
    packed = {"Content_Encoding": "gzip"}
    thousand = push_of(looks(1000))
    one_more = push_of([*thousand["events"], *looks(1, first=1001)])
    bomb = gzip.compress(b" " * (4 * BODY_MAX_BYTES), 1)
    refused: list[tuple[int, Any, dict[str, str]]] = [
        (413, one_more, {}),
        (413, b" " * (BODY_MAX_BYTES + 1), {}),
        (413, chunks(BODY_MAX_BYTES), {}),
        (413, bomb, packed),
        (400, b'{"events": ' + b"[" * 100_000, {}),
        (400, gzip.compress(b"[" * 1_000_000), packed),
        (400, b"{}", packed),
        (415, b"{}", {"Content_Encoding": "br"}),
    ]
    for status, body, headers in refused:
        said = server.call("POST", PUSH, body, token, **headers)
        assert said.problem == (status, PROBLEM), said.json
    said = server.call("POST", PUSH, gzip.compress(json.dumps(thousand).encode()), token, **packed)
    assert (said.status, len(said.json["stored"])) == (200, 1000)
    small = iter([json.dumps(push_of(looks(2))).encode()])
    assert len(server.call("POST", PUSH, small, token).json["stored"]) == 2


def test_a_demo_says_who_is_signed_in_and_signs_in_nobody_under_another_name(
    serving: Callable[..., Serving],
):
    demo = serving("--demo")
    assert any("whoever opens it on this machine is signed in" in line for line in demo.said)
    assert demo.link is None
    forged = [
        {"Host": "nursery.example"},
        {"Host": "localhost.elsewhere.example"},
        {"Host": "nursery.example", "X_Forwarded_For": "127.0.0.1", "Forwarded": "for=127.0.0.1"},
        {"Host": "nursery.example", "X_Forwarded_Host": "localhost"},
    ]
    for headers in forged:
        said = demo.call("GET", "/api/v1/session", **headers)
        assert said.problem == (401, PROBLEM)
        assert "set-cookie" not in said.headers
    said = demo.call("GET", "/api/v1/session")
    assert (said.status, said.json["role"], said.json["demo"]) == (200, "owner", True)
    cookie = said.headers["set-cookie"].partition(";")[0]
    assert demo.call("GET", "/api/v1/alerts", Cookie=cookie).json["alerts"]


def test_a_certificate_of_ones_own_is_what_answers(serving: Callable[..., Serving], tmp_path: Path):
    """Made by OpenSSL, trusted by Python's own; no authority of the server's own is made."""
    certificate, key = tmp_path / "own.pem", tmp_path / "own.key"
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    made += ["-nodes", "-days", "9", "-subj", "/CN=own", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run([*made, "-out", certificate, "-keyout", key], check=True, capture_output=True)
    own = serving("--certificate", str(certificate), "--private-key", str(key))
    trust = ssl.create_default_context(cafile=certificate)
    line = HTTPSConnection("127.0.0.1", own.port, timeout=60, context=trust)
    line.request("GET", "/health")
    assert line.getresponse().status == 200
    line.close()
    assert own.said[-1].startswith("Lathhouse is at https://")
    assert not (own.folder / "lan").exists()


def test_a_port_that_is_taken_is_said_in_words(server: Serving, tmp_path: Path):
    second = [*COMMAND, "serve", "--data", str(tmp_path / "second"), "--port", str(server.port)]
    env = environment(tmp_path / "second")
    done = subprocess.run(second, capture_output=True, text=True, timeout=120, check=False, env=env)
    assert done.returncode == 1
    assert f"Port {server.port} on 127.0.0.1 is taken" in done.stderr
