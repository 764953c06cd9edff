"""Lines: the connections that stand open, how many there may be, and which are too slow to stay.

They are counted where the system hands them over, before any handshake and any head, and let go
where their socket is closed, so that nothing of a line is uncounted. The HTTP server knows nothing
of it: it is given a listening socket whose lines are these. Each process counts its own.
"""

import asyncio
import fcntl
import logging
import socket
import struct
import termios
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from lathhouse.web.callers import address_of, is_proxy

Ends = tuple[str, int, int]
# Closing drops what is still to be sent, rather than keep it for somebody who does not take it.
DROP_AT_CLOSE = struct.pack("ii", 1, 0)

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Bounds:
    """How many lines may stand open, and how fast an answer must leave on one. All ours.

    A browser opens six lines at most, or one: 128 are for twenty phones behind one address. A
    phone at the edge of a signal takes a hundred times as much as the least, or nothing at all.
    """

    lines_max: int = 512
    lines_from_one_max: int = 128
    within_seconds: float = 30.0
    least_bytes_a_second: float = 500.0


class Line(socket.socket):
    """One line: whose it is, and what has left on it."""

    def __init__(self, fd: int, ends: Ends, lines: "Lines") -> None:
        """Take over a line that the system has accepted."""
        super().__init__(fileno=fd)
        self.ends, self.lines = ends, lines
        self.address = address_of(ends[0])
        self.sent_bytes = 0
        # Whether the HTTP server keeps what the system would not take, and how many answers it
        # holds back because the other end does not want more (HTTP/2).
        self.is_backed_up, self.answers = False, 0
        self.mark = (time.monotonic(), 0)

    def send(self, data: Any, flags: int = 0) -> int:
        """Send what the system takes of it."""
        return self._note(len(data), lambda: super(Line, self).send(data, flags))

    def sendmsg(self, buffers: Any, *more: Any) -> int:
        """Send what the system takes of them; asyncio's way from Python 3.12 on."""
        length = sum(len(piece) for piece in buffers)
        return self._note(length, lambda: super(Line, self).sendmsg(buffers, *more))

    def _note(self, length: int, send: Any) -> int:
        self.is_backed_up = True
        sent: int = send()
        self.sent_bytes += sent
        self.is_backed_up = sent < length
        return sent

    def close(self) -> None:
        """Close it, and count it no more."""
        super().close()
        self.lines.forget(self)

    def cut(self) -> None:
        """End it now; the HTTP server hears of it as of any line that breaks."""
        try:
            self.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, DROP_AT_CLOSE)
            self.shutdown(socket.SHUT_RDWR)
        except OSError as error:
            log.debug("the line was gone: %s", error)

    def on_its_way(self) -> int:
        """Return how many bytes the system has taken that the other end has not confirmed."""
        said = fcntl.ioctl(self.fileno(), termios.TIOCOUTQ, bytes(4))
        return int(struct.unpack("i", said)[0])

    def is_too_slow(self, now: float, bounds: Bounds) -> bool:
        """Say whether too little of what waits has reached the other end since the last mark."""
        waiting = self.on_its_way()
        reached = self.sent_bytes - waiting
        since, before = self.mark
        if not (waiting or self.is_backed_up or self.answers):
            self.mark = (now, reached)
            return False
        if now - since < bounds.within_seconds:
            return False
        self.mark = (now, reached)
        return reached - before < bounds.least_bytes_a_second * bounds.within_seconds


class Lines:
    """The lines of this process that stand open."""

    def __init__(self, bounds: Bounds | None = None) -> None:
        """Begin with none."""
        self.bounds = bounds or Bounds()
        self.open: dict[Ends, Line] = {}
        self.count: Counter[str] = Counter()

    def let_in(self, line: Line) -> bool:
        """Count a new line, or say that it is one too many."""
        many = self.count[line.address] >= self.bounds.lines_from_one_max
        if len(self.open) >= self.bounds.lines_max or (many and not is_proxy(line.address)):
            log.warning("a line too many from %s is closed", line.address)
            return False
        self.open[line.ends] = line
        self.count[line.address] += 1
        return True

    def forget(self, line: Line) -> None:
        """Count a line no more."""
        if self.open.get(line.ends) is line:
            del self.open[line.ends]
            self.count[line.address] -= 1
            self.count += Counter()  # forgets whoever has none left

    @contextmanager
    def owing(self, scope: Any) -> Iterator[None]:
        """Note that an answer waits to leave on a request's line."""
        line = self.open.get(ends_of(scope))
        if line is None:
            yield
            return
        line.answers += 1
        try:
            yield
        finally:
            line.answers -= 1

    def cut_slow(self, now: float) -> None:
        """End the lines on which answers do not leave."""
        for line in list(self.open.values()):
            if line.is_too_slow(now, self.bounds):
                log.warning("a line to %s takes its answer too slowly and is cut", line.address)
                line.cut()

    async def watch(self) -> None:
        """Look at all lines again and again."""
        while True:
            await asyncio.sleep(self.bounds.within_seconds / 6)
            self.cut_slow(time.monotonic())


class Entrance(socket.socket):
    """A listening socket whose lines are counted."""

    def __init__(self, listening: socket.socket, lines: Lines) -> None:
        """Take over a listening socket."""
        super().__init__(fileno=listening.detach())
        self.lines = lines

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next line.

        Raises:
            BlockingIOError: there is none, or it was one too many and is closed.
        """
        accepted, peer = super().accept()
        ends = (str(peer[0]), int(peer[1]), int(self.getsockname()[1]))
        line = Line(accepted.detach(), ends, self.lines)
        if not self.lines.let_in(line):
            line.close()
            raise BlockingIOError
        return line, peer


def ends_of(scope: Any) -> Ends:
    """Return the two ends of a request's line, as its server names them."""
    client, server = scope.get("client") or ("", 0), scope.get("server") or ("", 0)
    return str(client[0]), int(client[1] or 0), int(server[1] or 0)
