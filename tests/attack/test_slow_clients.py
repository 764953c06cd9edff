"""Bodies that drip, and too many at once: the door to the HTTP server, without waiting for real."""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from lathhouse.web import asgi
from lathhouse.web.asgi import Door
from tests.server import Nursery


class Line:
    """A request's line: what it brings, piece by piece, and what was answered on it."""

    def __init__(self, pieces: list[bytes], address: str = "192.0.2.7") -> None:
        self.pieces, self.sent = list(pieces), []
        self.scope = {
            "type": "http", "method": "POST", "path": "/api/v1/sync/push", "raw_path": b"",
            "query_string": b"", "headers": [(b"host", b"localhost")], "scheme": "http",
            "http_version": "1.1", "client": (address, 4711), "server": ("localhost", 80),
            "root_path": "", "asgi": {"version": "3.0"}, "extensions": {},
        }  # fmt: skip

    async def receive(self) -> dict[str, Any]:
        """Bring the next piece; after the last one, nothing ever comes."""
        if not self.pieces:
            await asyncio.Event().wait()
        return {"type": "http.request", "body": self.pieces.pop(0), "more_body": True}

    async def send(self, message: dict[str, Any]) -> None:
        """Keep what is answered."""
        self.sent.append(message)

    @property
    def answer(self) -> tuple[int, str]:
        """The status and the problem's title."""
        return self.sent[0]["status"], json.loads(self.sent[1]["body"])["title"]


def run(work: Any) -> None:
    """Run in a thread of its own: a browser's loop may be running in this one."""
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, work).result()


def test_a_body_that_drips_is_given_up(same_nursery: Nursery, monkeypatch: pytest.MonkeyPatch):
    """Slow bodies (OWASP ASVS 5.0, V15.2.2): after a first while, so many bytes a second."""
    monkeypatch.setattr(asgi, "FIRST_SECONDS", 0.05)
    door, line = Door(same_nursery.app.wsgi_app), Line([b"x"] * 10)
    run(door(line.scope, line.receive, line.send))
    assert line.answer == (408, "The request did not come in time")
    assert not door.coming


def test_one_address_holds_so_many_bodies_open_and_keeps_nobody_else_out(
    same_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(asgi, "FIRST_SECONDS", 0.3)
    monkeypatch.setattr(asgi, "BODIES_FROM_ONE_MAX", 3)
    monkeypatch.setattr(asgi, "BODIES_MAX", 4)
    door = Door(same_nursery.app.wsgi_app)
    lines = [Line([]) for _ in range(5)] + [Line([], "192.0.2.8"), Line([], "192.0.2.9")]

    async def all_at_once() -> None:
        await asyncio.gather(*(door(line.scope, line.receive, line.send) for line in lines))

    run(all_at_once())
    assert [line.answer[0] for line in lines] == [408, 408, 408, 503, 503, 408, 503]
    headers = dict(lines[3].sent[0]["headers"])
    assert headers[b"retry-after"] == b"60"
    assert b"frame-ancestors 'none'" in headers[b"content-security-policy"]
    assert not door.coming, "nobody is remembered who sends nothing now"


def test_whoever_is_on_this_machine_is_a_proxy_and_counts_for_many(same_nursery: Nursery):
    door = Door(same_nursery.app.wsgi_app)
    door.coming["127.0.0.1"] = asgi.BODIES_FROM_ONE_MAX + 1
    door.coming["192.0.2.7"] = asgi.BODIES_FROM_ONE_MAX
    assert not door.is_full("127.0.0.1")
    assert door.is_full("192.0.2.7")
