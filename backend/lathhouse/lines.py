"""Lines to other machines that are up for a limited time, whatever the other side does.

A limit for each read is none for the whole: who sends a byte now and then is never late. So the
time is the whole line's, from the first try to connect on; when it is over the line is cut under
whoever reads from it.
"""

import socket
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPException
from ssl import SSLContext

# An address that answers nothing leaves at least this much of the time to the next one. Ours.
TRY_SECONDS_MIN = 0.1


@contextmanager
def line(
    host: str, port: int, addresses: Iterable[str], seconds: float, tls: SSLContext | None
) -> Iterator[socket.socket]:
    """Connect to the first of these addresses that answers, and cut the line when time is over.

    Args:
        addresses: looked at already; each is tried, and none that the name may have besides.
        tls: asks for the name's certificate; None speaks in the open.

    Raises:
        OSError: none of them answers in time, or the certificate is not the name's; a
            `TimeoutError` also for whatever failed since the line was cut.
    """
    until = time.monotonic() + seconds
    plain = _first(list(dict.fromkeys(addresses)), port, until)
    # A second handle of the same connection: the first is the encrypted one's from here on.
    guard, over = plain.dup(), threading.Event()
    watch = threading.Timer(max(until - time.monotonic(), 0.0), _cut, (guard, over))
    watch.daemon = True
    watch.start()
    try:
        with tls.wrap_socket(plain, server_hostname=host) if tls else plain as up:
            yield up
    except (OSError, HTTPException) as error:
        if not over.is_set() and not isinstance(error, TimeoutError):
            raise
        raise TimeoutError(f"not whole within {seconds:g} s") from error
    finally:
        watch.cancel()
        guard.close()
        plain.close()


def _first(addresses: list[str], port: int, until: float) -> socket.socket:
    """Return a connection to the first address that answers; each has its share of the time."""
    failed: OSError = OSError("it has no address")
    for number, address in enumerate(addresses):
        left = until - time.monotonic()
        share = max(left / (len(addresses) - number), TRY_SECONDS_MIN)
        if left <= 0:
            break
        try:
            plain = socket.create_connection((address, port), share)
        except OSError as error:
            failed = error
        else:
            plain.settimeout(max(until - time.monotonic(), TRY_SECONDS_MIN))
            return plain
    raise failed


def _cut(plain: socket.socket, over: threading.Event) -> None:
    """End a connection under whoever reads from it: every read is then at its end."""
    over.set()
    with suppress(OSError):
        # The other side may have ended it at this very moment.
        plain.shutdown(socket.SHUT_RDWR)
