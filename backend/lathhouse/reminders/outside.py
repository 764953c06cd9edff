"""One request to a push service: to a looked-at address only, within a time, reading its head only.

The address comes from a browser, and the server goes there by itself: it must not be led to the
router, a database or a cloud's own door (server-side request forgery). So the name is resolved
first, every inner address is refused, and the connection is made to an address that was looked at
(the next one where the first does not answer), not to the name again, which might by then say
something else. Nothing leads on: redirects count as refusals. A service that answers a byte at a
time holds up nobody: the time is the whole request's.
"""

import http.client
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from lathhouse.lines import line
from lathhouse.store.subscriptions import is_public

# From the first step to the end of the answer's head. Our own choice.
LIMIT_SECONDS = 10


class NotThere(Exception):
    """The address may not, or cannot, be reached; `lasting` says that trying again is no use."""

    def __init__(self, says: str, *, lasting: bool) -> None:
        super().__init__(says)
        self.lasting = lasting


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    retry_after_ms: int | None


def addresses(host: str, port: int, *, inner: bool) -> list[str]:
    """Return the addresses of a name that may be connected to.

    Raises:
        NotThere: it has none now (try again), or an inner one is among them (never).
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotThere(f"{host} has no address now", lasting=False) from error
    numbers = [str(one[4][0]) for one in found]
    if not inner and not all(is_public(number) for number in numbers):
        raise NotThere(f"{host} is not on the open internet", lasting=True)
    return numbers


class Head(http.client.HTTPResponse):
    """An answer whose head came whole: the library takes one that was cut off for a whole one."""

    def begin(self) -> None:
        """Read the head.

        Raises:
            http.client.IncompleteRead: the connection ended before the head's empty line.
        """
        plain = self.fp
        seen = Lines(plain)
        self.fp = seen  # type: ignore[assignment]
        super().begin()
        self.fp = plain
        if not seen.last:
            raise http.client.IncompleteRead(b"")


class Lines:
    """A file that remembers the last line that was read of it."""

    def __init__(self, plain: Any) -> None:
        self.plain, self.last = plain, b""

    def readline(self, limit: int = -1) -> bytes:
        """Read a line, which is empty where there is no more."""
        self.last = self.plain.readline(limit)
        return self.last

    def __getattr__(self, name: str) -> Any:
        return getattr(self.plain, name)


def post(
    endpoint: str, body: bytes, headers: dict[str, str], *, inner: bool, trusted: Path | None
) -> Answer:
    """Send a message to a push service; return its answer.

    Args:
        inner: let addresses of an inner network be reached; for tests, or a push service of one's
            own.
        trusted: a certificate authority to trust instead of the machine's.

    Raises:
        NotThere: it may not be reached, or was not.
    """
    parts = urlsplit(endpoint)
    if parts.scheme != "https" or not parts.hostname:
        raise NotThere("not an https address", lasting=True)
    port = parts.port or 443
    context = ssl.create_default_context(cafile=str(trusted) if trusted else None)
    found = addresses(parts.hostname, port, inner=inner)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    asked = http.client.HTTPSConnection(parts.hostname, port, context=context)
    asked.response_class = Head
    try:
        with line(parts.hostname, port, found, LIMIT_SECONDS, context) as asked.sock:
            asked.request("POST", path, body, headers)
            # What follows the head tells nothing that is needed.
            answer = asked.getresponse()
            return Answer(answer.status, _wait_ms(answer.getheader("Retry-After")))
    except (OSError, http.client.HTTPException) as error:
        raise NotThere(f"{parts.hostname}: {error}", lasting=False) from error


def _wait_ms(header: str | None) -> int | None:
    """Return a Retry-After in seconds as milliseconds; a date there is left alone."""
    return int(header) * 1000 if header and header.isascii() and header.isdigit() else None
