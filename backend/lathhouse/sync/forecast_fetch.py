"""The forecast that the settings name: a file or an address, looked at by a thread of its own.

Whoever answers slowly holds up this thread alone, and for a limited time.
"""

import http.client
import logging
import socket
import ssl
import threading
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask

from lathhouse.domain.forecast_file import TEXT_MAX
from lathhouse.domain.instants import HOUR_MS, MINUTE_MS
from lathhouse.errors import BadField
from lathhouse.lines import line
from lathhouse.sync.forecasts import take_forecast

EVERY_MS = HOUR_MS
# After one that could not be had; from the last on, every hour again. Ours.
RETRY_AFTER_MS = tuple(minutes * MINUTE_MS for minutes in (2, 5, 15))
LOOK_EVERY_SECONDS = 5.0
# From the first step to the last byte.
FETCH_SECONDS = 10.0
CHUNK = 8192
FOUND = 200
LEADS_ON = range(300, 400)

log = logging.getLogger(__name__)


def fetch(source: str) -> str:
    """Return the text of a file or of an http(s) address, within time and size.

    The owner named it, so it may be one of the inner network; where it leads on to is nobody's
    choice here, so that a redirect is not followed but told.

    Raises:
        OSError, HTTPException: it cannot be had in time, or is too long, or leads elsewhere.
    """
    if urlsplit(source).scheme not in ("http", "https"):
        with Path(source).open("rb") as file:
            return _decoded(file.read(TEXT_MAX + 1))
    return _decoded(_had(source))


def _had(address: str) -> bytes:
    parts, ends = urlsplit(address), time.monotonic() + FETCH_SECONDS
    sealed = parts.scheme == "https"
    tls = ssl.create_default_context() if sealed else None
    port = parts.port or (443 if sealed else 80)
    host = parts.hostname or ""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    kind = http.client.HTTPSConnection if sealed else http.client.HTTPConnection
    asked = kind(host, port)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    with line(host, port, (str(one[4][0]) for one in found), FETCH_SECONDS, tls) as asked.sock:
        asked.request("GET", path, headers={"Accept": "application/json, text/csv"})
        answer = asked.getresponse()
        if answer.status in LEADS_ON:
            to = answer.getheader("Location")
            raise OSError(f"it leads on to {to}, which is not followed: name that address itself")
        if answer.status != FOUND:
            raise OSError(f"answered {answer.status}")
        return _body(answer, ends)


def _body(answer: http.client.HTTPResponse, ends: float) -> bytes:
    """Read a body that is whole, or too long to be taken.

    Raises:
        TimeoutError: its time was over, and the line was cut.
        IncompleteRead: the line ended before what was announced had come.
    """
    body = b""
    while len(body) <= TEXT_MAX and (chunk := answer.read1(CHUNK)):
        body += chunk
    if time.monotonic() >= ends:
        raise TimeoutError(f"not whole within {FETCH_SECONDS:g} s")
    if len(body) <= TEXT_MAX and answer.length:
        raise http.client.IncompleteRead(body, answer.length)
    return body


def _decoded(body: bytes) -> str:
    if len(body) > TEXT_MAX:
        raise OSError(f"longer than {TEXT_MAX:,} bytes")
    return body.decode("utf-8", errors="replace")


class Forecast:
    """A thread that looks at the forecast once an hour; sooner again where it could not be had."""

    def __init__(self, app: Flask, site_id: str, source: str, now_ms: Callable[[], int]) -> None:
        self.app, self.site_id, self.source, self.now_ms = app, site_id, source, now_ms
        self.next_ms: int | None = None
        self.failed = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="forecast", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """Stop, after the look under way."""
        self._stop.set()
        self._thread.join(timeout=FETCH_SECONDS + LOOK_EVERY_SECONDS)

    def look(self) -> None:
        """Look again where it is time; what cannot be had is told in the log."""
        now_ms = self.now_ms()
        # A clock that was set back must not put the next look off.
        if self.next_ms is not None and now_ms < self.next_ms <= now_ms + EVERY_MS:
            return
        wait_ms = (*RETRY_AFTER_MS, EVERY_MS)[min(self.failed, len(RETRY_AFTER_MS))]
        self.failed, self.next_ms = self.failed + 1, now_ms + wait_ms
        try:
            said = take_forecast(self.site_id, "forecast", fetch(self.source), now_ms)
        except (OSError, ValueError, http.client.HTTPException, BadField) as error:
            log.warning(
                "the forecast could not be read (again in %d min): %s", wait_ms // MINUTE_MS, error
            )
            return
        self.failed, self.next_ms = 0, now_ms + EVERY_MS
        for problem in said["problems"]:
            log.warning("in the forecast: %s", problem)

    def _run(self) -> None:
        while not self._stop.is_set():
            with self.app.app_context():
                try:
                    self.look()
                except Exception:
                    # The next look is due as after any other failure; the reason is in the log.
                    log.exception("the forecast could not be taken")
            self._stop.wait(LOOK_EVERY_SECONDS)
