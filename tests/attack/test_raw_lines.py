"""What is sent byte by byte: where a message ends, and what a proxy says (ASVS V4.1.3, V4.2.1).

The HTTP server and every line are real. 127.0.0.1 is where the proxy before us is; whoever comes
from 127.0.0.2 is a stranger.
"""

import http.client
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from lathhouse.web.asgi import believe_proxy
from tests.attack.test_slow_lines import PROXY, STRANGER, Running, read_all
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery

FORGED = {
    "X-Forwarded-For": PROXY,
    "X-Forwarded-Proto": "https",
    "X-Forwarded-Host": "localhost",
}


class House:
    """A nursery behind the real HTTP server, and a proxy before that."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery = nursery
        believe_proxy(nursery.app)
        self.running = Running(nursery.app.wsgi_app)
        self.proxy = ThreadingHTTPServer((PROXY, 0), handler(self.running.port))
        threading.Thread(target=self.proxy.serve_forever, daemon=True).start()

    def end(self) -> None:
        self.proxy.shutdown()
        self.proxy.server_close()
        self.running.end()
        close_nursery(self.nursery)

    def ask(self, port: int, path: str, address: str, **headers: str) -> http.client.HTTPResponse:
        """Ask from an address, and return the answer."""
        line = http.client.HTTPConnection(PROXY, port, source_address=(address, 0))
        said = {name.replace("_", "-"): value for name, value in headers.items()}
        body = b"{}" if path.endswith("/pairings") else None
        kind = {"Content-Type": "application/json"} if body else {}
        line.request("POST" if body else "GET", path, body, {**kind, **said})
        return line.getresponse()


def handler(port: int) -> type[BaseHTTPRequestHandler]:
    """Return what a proxy does: it says who asked it, by which scheme and name, and passes on."""

    class Proxy(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            before = self.headers.get("X-Forwarded-For")
            sent = {name: value for name, value in self.headers.items() if name not in FORGED}
            sent["X-Forwarded-For"] = ", ".join(filter(None, [before, self.client_address[0]]))
            sent |= {"X-Forwarded-Proto": "https", "X-Forwarded-Host": "rows.example"}
            line = http.client.HTTPConnection(PROXY, port)
            line.request(self.command, self.path, body or None, sent)
            answer = line.getresponse()
            said = answer.read()
            self.send_response(answer.status)
            self.send_header("Content-Length", str(len(said)))
            self.end_headers()
            self.wfile.write(said)
            line.close()

        do_POST = do_GET

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return Proxy


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder: Path = tmp_path_factory.mktemp("raw")
    made = House(open_nursery(address_for(folder / "l.sqlite"), folder / "data", Clock()))
    yield made
    made.end()


HIDDEN_ONE = b"GET /health HTTP/1.1\r\nHost: a\r\n\r\n"
LENGTH, CHUNKS = b"Content-Length: 3\r\n", b"Transfer-Encoding: chunked\r\n"


@pytest.mark.parametrize(
    ("version", "fields"),
    [
        (b"1.1", LENGTH + CHUNKS),
        (b"1.1", CHUNKS + LENGTH),
        (b"1.0", CHUNKS),
        (b"1.1", LENGTH + b"Content-Length: 4\r\n"),
        (b"1.1", b"Transfer-Encoding: xchunked\r\n"),
        (b"1.1", b"Transfer-Encoding: chunked, gzip\r\n"),
        (b"1.1", b"Transfer-Encoding : chunked\r\n"),
        (b"1.1", b"Content-Length: +3\r\n"),
    ],
)
def test_a_message_that_does_not_say_where_it_ends_is_refused_and_its_line_closed(
    house: House, version: bytes, fields: bytes
):
    """RFC 9112, 6.1 and 6.3: both length and chunks, chunks in HTTP/1.0, what cannot be read."""
    head = b"POST /api/v1/sync/push HTTP/" + version + b"\r\nHost: a\r\n" + fields + b"\r\n"
    with house.running.line() as line:
        line.sendall(head + b"0\r\n\r\n" + HIDDEN_ONE)
        said = read_all(line)
    assert said.startswith((b"HTTP/1.1 400 ", b"HTTP/1.1 501 "))
    assert said.count(b"HTTP/1.1 ") == 1, "what came behind it was taken for a request"
    with house.running.line() as line:
        line.sendall(HIDDEN_ONE.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n"))
        assert read_all(line).startswith(b"HTTP/1.1 200 "), "one by itself is answered"


def test_a_proxy_is_believed_over_the_line_and_nobody_else(house: House):
    """Only on this machine are the figures seen with no token; links say the proxy's name."""
    bearer = {"Authorization": f"Bearer {house.nursery.token('owner')}"}
    own, proxy = house.running.port, house.proxy.server_port
    through = house.ask(proxy, "/api/v1/pairings", STRANGER, **bearer).read()
    assert b'"https://rows.example/#/pair/' in through
    forged = house.ask(own, "/api/v1/pairings", STRANGER, **bearer, **FORGED).read()
    assert f'"http://{PROXY}:{own}/#/pair/'.encode() in forged
    assert house.ask(own, "/metrics", PROXY).status == 200
    for port in (own, proxy):
        assert house.ask(port, "/metrics", STRANGER, **FORGED).status == 401
    assert house.ask(proxy, "/metrics", STRANGER, Host="localhost").status == 401
