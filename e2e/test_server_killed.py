"""The server dies (SIGKILL) at any point of a push: the phone sends again, each record once."""

import re
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress

import pytest
from playwright.sync_api import Page, expect
from tests.browser import PersistentPhone

from e2e.house import House, lot_events, pair, phone_lots, place, plain, until_in_touch

pytest_plugins = ["e2e.house"]
RECORDS = 60
PIECE = 4096


class Line:
    """The line between phone and server, on which the server can be killed at a chosen byte."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.kill_at = ""
        self.killed = threading.Event()
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.port = self.listening.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):  # the test is over
            while True:
                phone, _ = self.listening.accept()
                threading.Thread(target=self._join, args=(phone,), daemon=True).start()

    def _join(self, phone: socket.socket) -> None:
        try:
            server = socket.create_connection(("127.0.0.1", self.house.port))
        except OSError:
            phone.close()
            return
        pushed = threading.Event()
        for way in (self._onward, self._back):
            threading.Thread(target=way, args=(phone, server, pushed), daemon=True).start()

    def _onward(self, phone: socket.socket, server: socket.socket, pushed: threading.Event) -> None:
        with suppress(OSError):  # either end died, as it may
            waits = 0
            while piece := phone.recv(PIECE):
                if b"/api/v1/sync/push" in piece:
                    pushed.set()
                    waits = size(piece)
                    if self.kill_at == "inside":
                        server.sendall(piece[: len(piece) // 2])
                    if self.kill_at in ("before", "inside"):
                        self._kill()
                server.sendall(piece)
                waits -= len(piece)
                if pushed.is_set() and waits <= 0 and self.kill_at == "whole":
                    # It has all of it, and is at work on it or about to be.
                    self._kill()
        hang_up(phone, server)

    def _back(self, phone: socket.socket, server: socket.socket, pushed: threading.Event) -> None:
        with suppress(OSError):
            while piece := server.recv(PIECE):
                if pushed.is_set() and self.kill_at == "answer":
                    # The server has written and answered; the phone never hears it.
                    self._kill()
                    break
                phone.sendall(piece)
        hang_up(phone, server)

    def _kill(self) -> None:
        self.kill_at = ""
        self.house.stop(9)
        self.killed.set()


def size(first: bytes) -> int:
    """Return how many bytes a request has, by its first piece with its whole head."""
    head, _, _ = first.partition(b"\r\n\r\n")
    (length,) = re.findall(rb"content-length: *(\d+)", head, re.IGNORECASE)
    return len(head) + 4 + int(length)


def hang_up(*ends: socket.socket) -> None:
    """Close both ends of a line, dead ones too."""
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def line(house: House) -> Iterator[Line]:
    made = Line(house)
    yield made
    made.listening.close()


def record_many(page: Page, lots: list[str]) -> None:
    """Record looks in one go, as a phone that comes back into reach has them."""
    page.evaluate(
        """async (lots) => {
          const { recordAll } = await import("/store/record.js");
          await recordAll(lots.map((lot) => ({ kind: "looked", lot, data: { moisture: 3 } })));
        }""",
        lots,
    )


@pytest.mark.parametrize("when", ["before", "inside", "whole", "answer"])
def test_a_server_killed_during_a_push_loses_and_doubles_nothing(
    house: House, line: Line, persistent_phone: Callable[[str], PersistentPhone], when: str
):
    bench = place(house, "Bench", 1)
    made = [lot_events(house, f"L{number}", bench, 9) for number in range(6)]
    house.record([event for _, events in made for event in events])
    lots = [lot for lot, _ in made]
    phone = persistent_phone("grower")
    link = house.link.replace(f":{house.port}/", f":{line.port}/")
    page = pair(phone.open(), house, link)

    line.kill_at = when
    record_many(page, lots * (RECORDS // len(lots)))
    assert line.killed.wait(60)
    expect(page.locator(".where")).to_contain_text("saved here, not sent", timeout=60_000)
    house.start()
    page.evaluate("() => dispatchEvent(new Event('online'))")
    until_in_touch(page)

    looks = house.events("looked")
    assert len(looks) == RECORDS
    assert len({event["id"] for event in looks}) == RECORDS
    assert plain(phone_lots(page)) == plain(house.lots())
