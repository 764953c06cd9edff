"""A push service that is slow, or breaks off: it holds nobody up, and counts for nothing.

The limit of time is ours. An answer's head ends with an empty line: RFC 9112 section 2.1; one that
the connection's end cut off is incomplete: section 8.
"""

import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from lathhouse.reminders import outside
from tests.reminders.endpoint import certified

LIMIT_SECONDS = 0.5
LOOKED_UP = socket.getaddrinfo
Answer = Callable[[socket.socket, threading.Event], None]


class Line:
    """A server that answers the first request as it is told to, in bytes."""

    def __init__(self, folder: Path) -> None:
        self.certificate, private = certified(folder)
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.load_cert_chain(self.certificate, private)
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.over = threading.Event()
        self.address = f"https://localhost:{self.listening.getsockname()[1]}/a"

    def answers(self, how: Answer, *, greets: bool = True) -> None:
        def serve() -> None:
            plain, _ = self.listening.accept()
            with suppress(OSError), plain:
                if not greets:
                    how(plain, self.over)
                    return
                with self.context.wrap_socket(plain, server_side=True) as one:
                    one.recv(65536)
                    how(one, self.over)

        threading.Thread(target=serve, daemon=True).start()

    def post(self) -> outside.Answer:
        return outside.post(self.address, b"x", {}, inner=True, trusted=self.certificate)


@pytest.fixture
def line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Line]:
    monkeypatch.setattr(outside, "LIMIT_SECONDS", LIMIT_SECONDS)
    made = Line(tmp_path)
    yield made
    made.over.set()
    made.listening.close()


def drips(start: bytes) -> Answer:
    """Return an answer that goes on for ever, a byte at a time."""

    def how(one: socket.socket, over: threading.Event) -> None:
        one.sendall(start)
        while not over.wait(LIMIT_SECONDS / 10):
            one.sendall(b"x")

    return how


FINE = b"HTTP/1.1 201 Created\r\n"


@pytest.mark.parametrize(
    ("start", "greets"),
    [(FINE + b"X-Long: ", True), (FINE[:10], True), (b"\x16\x03\x03\x40", False)],
    ids=["in a header", "in the first line", "in the greeting"],
)
def test_a_service_that_drips_is_left_after_the_limit(line: Line, start: bytes, greets: bool):
    line.answers(drips(start), greets=greets)
    began = time.monotonic()
    with pytest.raises(outside.NotThere) as caught:
        line.post()
    # Byte by byte no single read is ever late; the most is for a machine that is busy.
    assert time.monotonic() - began < 20 * LIMIT_SECONDS
    assert not caught.value.lasting


@pytest.mark.parametrize(
    "head", [FINE[:15], FINE, FINE + b"Location: https://pu", FINE + b"Location: https://pu\r\n"]
)
def test_an_answer_that_is_cut_off_in_its_head_counts_for_nothing(line: Line, head: bytes):
    line.answers(lambda one, _: one.sendall(head))
    with pytest.raises(outside.NotThere) as caught:
        line.post()
    assert not caught.value.lasting


def test_a_whole_head_counts_though_its_body_never_ends(line: Line):
    line.answers(drips(b"HTTP/1.1 429 Slowly\r\nRetry-After: 7\r\nContent-Length: 99999\r\n\r\n"))
    assert line.post() == outside.Answer(429, 7000)


def test_the_next_address_of_a_name_is_tried_where_the_first_does_not_answer(
    line: Line, monkeypatch: pytest.MonkeyPatch
):
    """Within the one limit, and never an address that was not looked at."""
    line.answers(drips(FINE + b"Content-Length: 99999\r\n\r\n"))
    # 127.0.0.2 is this machine too, and nobody listens on this port there.
    found = [(0, 0, 0, "", (number, 0)) for number in ("127.0.0.2", "127.0.0.1")]
    monkeypatch.setattr(outside.socket, "getaddrinfo", lambda *_, **__: found)
    real, tried = socket.create_connection, []

    def connect(address: tuple[str, int], *more: float) -> socket.socket:
        tried.append((address[0], more[0]))
        if address[0] == "127.0.0.2":
            raise ConnectionRefusedError
        with monkeypatch.context() as plain:
            plain.setattr(socket, "getaddrinfo", LOOKED_UP)
            return real(address, *more)

    monkeypatch.setattr(socket, "create_connection", connect)
    assert line.post() == outside.Answer(201, None)
    assert [address for address, _ in tried] == ["127.0.0.2", "127.0.0.1"]
    # One that is silent leaves the other its share.
    assert tried[0][1] <= LIMIT_SECONDS / 2
