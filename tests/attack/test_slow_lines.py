"""Lines over the network: slow heads, slow readers, and how many may stand open (ASVS V15.2.2).

The HTTP server is the real one; its times are made short, and the application answers with one
long body. Whoever comes from 127.0.0.1 is the proxy on this machine; 127.0.0.2 is a stranger.
"""

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

import h2.config
import h2.connection
import h2.settings
import pytest
from hypercorn.asyncio import serve

from lathhouse.serving import Serving, configured, listen
from lathhouse.web import asgi
from lathhouse.web.asgi import Door
from lathhouse.web.lines import Bounds, Entrance, Lines

STRANGER, OTHER, PROXY = "127.0.0.2", "127.0.0.3", "127.0.0.1"
LONG_BYTES = 8_000_000
# The application has fewer threads.
MANY, THREADS = 6, 2
WITHIN_SECONDS = 0.5
GIVE_UP_SECONDS = 30


def application(environ: dict[str, Any], start_response: Any) -> list[bytes]:
    """Answer with a long body, or a short one."""
    body = b"x" * (LONG_BYTES if environ["PATH_INFO"] == "/long" else 2)
    start_response("200 OK", [("Content-Length", str(len(body)))])
    return [body]


class Running:
    """A server in a thread of its own."""

    def __init__(self, app: Any = application) -> None:
        bounds = Bounds(lines_max=60, lines_from_one_max=50, within_seconds=WITHIN_SECONDS)
        self.lines = Lines(bounds)
        self.door = Door(app, self.lines)
        listening = listen("0.0.0.0", 0)
        self.port: int = listening.getsockname()[1]
        self.config = configured(
            Serving("", 0), listening, None, None, self.lines, lambda: datetime.now(UTC)
        )
        self.config.keep_alive_timeout, self.config.graceful_timeout = WITHIN_SECONDS, 1
        self.loop, self.stop = asyncio.new_event_loop(), asyncio.Event()
        self.loop.set_default_executor(ThreadPoolExecutor(THREADS))
        self.thread = threading.Thread(target=self.loop.run_until_complete, args=(self.run(),))
        self.thread.start()
        # Its fd is the server's.
        listening.detach()

    async def run(self) -> None:
        watching = asyncio.ensure_future(self.lines.watch())
        trigger = self.stop.wait
        await serve(self.door, self.config, mode="asgi", shutdown_trigger=trigger)  # type: ignore[arg-type]
        watching.cancel()

    def end(self) -> None:
        self.loop.call_soon_threadsafe(self.stop.set)
        self.thread.join(GIVE_UP_SECONDS)
        assert not self.thread.is_alive()

    def line(self, address: str = STRANGER, *, takes_bytes: int | None = None) -> socket.socket:
        """Open a line from an address, one that takes no more than so much unread."""
        made = socket.socket()
        if takes_bytes:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, takes_bytes)
        made.settimeout(GIVE_UP_SECONDS)
        made.bind((address, 0))
        made.connect(("127.0.0.1", self.port))
        return made

    def answers(self, address: str) -> bool:
        """Say whether somebody who asks from an address gets an answer."""
        with self.line(address) as made:
            try:
                made.sendall(b"GET / HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
                return read_all(made).startswith(b"HTTP/1.1 200 ")
            except ConnectionError:
                return False


def read_all(line: socket.socket) -> bytes:
    """Read until the line ends, or breaks."""
    found = b""
    with suppress(ConnectionError):
        while piece := line.recv(65536):
            found += piece
    return found


@pytest.fixture(scope="module")
def running() -> Iterator[Running]:
    """One server for the whole file."""
    started = Running()
    yield started
    started.end()


@pytest.fixture(autouse=True)
def nothing_is_left(running: Running) -> Iterator[None]:
    """Whatever was done to it, the server remembers nobody afterwards."""
    yield
    until_all_are_gone(running)


def until_all_are_gone(running: Running) -> None:
    """Wait until no line stands open, no answer is on its way, and no body."""
    until = time.monotonic() + GIVE_UP_SECONDS
    while running.lines.open or running.door.leaving or running.door.coming:
        assert time.monotonic() < until, (running.lines.count, running.door.leaving)
        # A question of its own gives the server time, and shows that it still answers.
        assert running.answers(OTHER)


def test_one_address_holds_so_many_lines_and_keeps_nobody_else_out(running: Running):
    held = [running.line() for _ in range(50)]
    assert running.answers(OTHER)
    assert not running.answers(STRANGER), "the fifty-first is closed at once"
    proxied = [running.line(PROXY) for _ in range(9)]
    assert running.answers(OTHER)
    proxied.append(running.line(PROXY))
    assert not running.answers(OTHER), "all sixty are taken"
    for line in (held.pop(), *proxied):
        line.sendall(b"GET / HTTP/1.0\r\n\r\n")
        assert read_all(line).startswith(b"HTTP/1.1 200 ")
        line.close()
    assert running.answers(STRANGER), "whoever goes makes room"
    for line in held:
        line.close()


def test_a_head_that_drips_is_cut_however_steadily_it_drips(running: Running):
    with running.line() as line:
        began = time.monotonic()
        line.settimeout(WITHIN_SECONDS / 20)
        line.sendall(b"GET / HTTP/1.1\r\nX-Never-Ends: ")
        said = None
        while said is None:
            assert time.monotonic() < began + GIVE_UP_SECONDS
            try:
                line.sendall(b"x")
                said = line.recv(1)
            except TimeoutError:
                continue
            except ConnectionError:
                said = b""
        assert said == b""


def test_those_who_ask_and_do_not_read_hold_up_nobody_and_are_cut(running: Running):
    lines = [running.line(takes_bytes=4096) for _ in range(MANY)]
    for line in lines:
        line.sendall(b"GET /long HTTP/1.1\r\nHost: a\r\n\r\n")
    assert running.answers(OTHER)
    with running.line(PROXY) as reader:
        reader.sendall(b"GET /long HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
        assert len(read_all(reader)) > LONG_BYTES, "whoever reads gets all of it"
    until_all_are_gone(running)
    for line in lines:
        assert len(read_all(line)) < LONG_BYTES
        line.close()


class Talk:
    """One line of HTTP/2, from a client that wants no byte of any body."""

    def __init__(self, line: socket.socket, window: int = 0) -> None:
        self.line = line
        self.http = h2.connection.H2Connection(h2.config.H2Configuration(client_side=True))
        self.http.initiate_connection()
        self.http.update_settings({h2.settings.SettingCodes.INITIAL_WINDOW_SIZE: window})

    def ask(self, path: str) -> None:
        stream = self.http.get_next_available_stream_id()
        names = {":method": "GET", ":path": path, ":scheme": "http", ":authority": "a"}
        self.http.send_headers(stream, list(names.items()), end_stream=True)
        self.line.sendall(self.http.data_to_send())

    def heads(self, count: int) -> None:
        """Read until so many answers have begun."""
        while count > 0:
            said = self.line.recv(65536)
            assert said, "the server has closed the line"
            events = self.http.receive_data(said)
            count -= sum(type(one).__name__ == "ResponseReceived" for one in events)


def test_answers_that_are_not_wanted_over_http_2_hold_up_nobody_and_are_cut(running: Running):
    """Several on one line, none of which takes a byte of its body; the line itself goes on."""
    with running.line() as line:
        talk = Talk(line)
        for _ in range(MANY):
            talk.ask("/")
        talk.heads(MANY)
        assert running.answers(OTHER)
        # More of these would be paid for: what is said to them counts as well.
        line.settimeout(WITHIN_SECONDS / 4)
        ended, until = False, time.monotonic() + GIVE_UP_SECONDS
        while not ended:
            assert time.monotonic() < until
            try:
                ended = line.recv(65536) == b""
            except TimeoutError:
                talk.http.ping(b"stillup!")
                line.sendall(talk.http.data_to_send())
            except ConnectionError:
                ended = True


def test_phones_that_go_in_the_middle_of_an_answer_leave_nothing_behind(running: Running):
    """Over HTTP/2 the HTTP server would wait for each of them for ever."""
    for _ in range(MANY):
        with running.line() as line:
            talk = Talk(line, window=65_535)
            talk.ask("/long")
            talk.heads(1)
    assert running.answers(OTHER)


def test_answers_on_their_way_to_one_address_are_bounded(
    running: Running, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(asgi, "ANSWERS_TO_ONE_MAX_BYTES", 2 * LONG_BYTES)
    lines = [running.line(takes_bytes=4096) for _ in range(4)]
    for line in lines:
        line.sendall(b"GET /long HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
    assert running.answers(OTHER)
    statuses = sorted(line.recv(12)[9:] for line in lines)
    assert statuses == [b"200", b"503", b"503", b"503"]
    for line in lines:
        line.close()


def test_a_line_is_too_slow_by_what_has_reached_the_other_end():
    """A real line and a clock of its own: 500 bytes a second, looked at after thirty."""
    lines = Lines()
    with Entrance(listen("127.0.0.1", 0), lines) as entrance, socket.socket() as reader:
        reader.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        reader.connect(entrance.getsockname())
        accepted, _ = entrance.accept()
        (line,) = lines.open.values()
        began, bounds = line.mark[0], lines.bounds
        assert not line.is_too_slow(began + 1000, bounds), "nothing waits on it"
        line.setblocking(False)
        with suppress(BlockingIOError):
            while True:
                line.send(b"x" * 1_000_000)
        assert line.is_backed_up
        assert not line.is_too_slow(began + 1029, bounds), "too early to say"
        line.is_too_slow(began + 1030, bounds)
        taken = 0
        while taken < 60_000:
            taken += len(reader.recv(60_000))
        assert not line.is_too_slow(began + 1060, bounds), "it takes two thousand a second"
        assert line.is_too_slow(began + 1090, bounds), "and then no more"
        accepted.close()
        assert not lines.open
