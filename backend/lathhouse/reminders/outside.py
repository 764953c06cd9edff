"""One request to a push service: to a looked-at address only, within a time, reading little.

The address comes from a browser, and the server goes there by itself: it must not be led to the
router, a database or a cloud's own door (server-side request forgery). So the name is resolved
first, every inner address is refused, and the connection is made to the address that was looked at,
not to the name again, which might by then say something else. Nothing leads on: redirects count as
refusals.
"""

import http.client
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from lathhouse.store.subscriptions import is_public

LIMIT_SECONDS = 10
ANSWER_MAX_BYTES = 2000


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


class Pinned(http.client.HTTPSConnection):
    """A connection to one address, whose certificate must be the name's."""

    def __init__(self, host: str, port: int, address: str, context: ssl.SSLContext) -> None:
        super().__init__(host, port, timeout=LIMIT_SECONDS, context=context)
        self.address, self.tls = address, context

    def connect(self) -> None:
        """Connect to the address, and ask for the name's certificate."""
        plain = socket.create_connection((self.address, self.port), LIMIT_SECONDS)
        self.sock = self.tls.wrap_socket(plain, server_hostname=self.host)


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
    address = addresses(parts.hostname, port, inner=inner)[0]
    connection = Pinned(parts.hostname, port, address, context)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("POST", path, body, headers)
        answer = connection.getresponse()
        answer.read(ANSWER_MAX_BYTES)
        return Answer(answer.status, _wait_ms(answer.getheader("Retry-After")))
    except (OSError, http.client.HTTPException) as error:
        raise NotThere(f"{parts.hostname}: {error}", lasting=False) from error
    finally:
        connection.close()


def _wait_ms(header: str | None) -> int | None:
    """Return a Retry-After in seconds as milliseconds; a date there is left alone."""
    return int(header) * 1000 if header and header.isascii() and header.isdigit() else None
