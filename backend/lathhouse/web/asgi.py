"""Between the HTTP server and the application: bodies within bounds, answers that always start.

The HTTP server's own refusal of a long body is a bare 400; ours is a problem document. A body over
the limit is read on and thrown away for a while, so that a phone still sending it hears the answer.
"""

import asyncio
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

from flask import Flask
from hypercorn.middleware import AsyncioWSGIMiddleware
from werkzeug.middleware.proxy_fix import ProxyFix

from lathhouse.errors import Refusal, TooBusy, TooMuch, TooSlow
from lathhouse.settings import BODY_MAX_BYTES
from lathhouse.web.gate import LOOPBACK
from lathhouse.web.problems import DATA_CSP, HEADERS, answer_refusal

DRAINED_MAX_BYTES = 4 * BODY_MAX_BYTES
# A body must keep coming: after a first while at this many bytes a second at least. A phone at the
# edge of a signal sends a hundred times as fast, or not at all. All of these ours.
FIRST_SECONDS, LEAST_BYTES_A_SECOND = 30.0, 500.0
# Bodies on their way at one time, from everywhere and from one address. What is let in from the
# proxy before us, on this machine, is the proxy's to count.
BODIES_MAX, BODIES_FROM_ONE_MAX = 256, 64
Receive = Callable[[], Any]
Send = Callable[[Any], Any]


class Door:
    """The application as the HTTP server calls it."""

    def __init__(self, wsgi_app: Callable[..., Any]) -> None:
        self.inner = AsyncioWSGIMiddleware(always_starts(wsgi_app), BODY_MAX_BYTES)
        # How many bodies are on their way, by address.
        self.coming: Counter[str] = Counter()

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse its body."""
        if scope["type"] != "http":
            await self.inner(scope, receive, send)
            return
        caller = str((scope.get("client") or ("",))[0])
        if self.is_full(caller):
            await refuse(send, TooBusy("Too much is being sent at once. Try again in a minute."))
            return
        self.coming[caller] += 1
        try:
            body = await read_body(receive)
        except TimeoutError:
            await refuse(send, TooSlow("The body did not come in time. Send it again."))
            return
        finally:
            self.coming[caller] -= 1
            self.coming += Counter()  # forgets whoever sends nothing now
        if body is None:
            says = f"A request holds at most {BODY_MAX_BYTES:,} bytes."
            await refuse(send, TooMuch(says))
            return

        async def whole() -> Any:
            return {"type": "http.request", "body": body, "more_body": False}

        await self.inner(scope, whole, send)

    def is_full(self, caller: str) -> bool:
        """Say whether no further body is taken now, from anywhere or from this address."""
        from_one = caller not in LOOPBACK and self.coming[caller] >= BODIES_FROM_ONE_MAX
        return from_one or self.coming.total() >= BODIES_MAX


def believe_proxy(app: Flask) -> None:
    """Take the caller's address, scheme and host from the one proxy before us, on this machine.

    From anybody else these headers are not believed, and not one of them is read.
    """
    plain, proxied = app.wsgi_app, ProxyFix(app.wsgi_app, x_for=1, x_proto=1, x_host=1)

    def either(environ: dict[str, Any], start_response: Any) -> Any:
        near = environ.get("REMOTE_ADDR") in LOOPBACK
        return (proxied if near else plain)(environ, start_response)

    app.wsgi_app = either  # type: ignore[method-assign]


async def read_body(receive: Receive) -> bytes | None:
    """Return a request's whole body, or None where it is over the limit or its sender is gone.

    Raises:
        TimeoutError: it comes more slowly than any phone sends.
    """
    body, length, began = bytearray(), 0, time.monotonic()
    while length <= DRAINED_MAX_BYTES:
        until = began + FIRST_SECONDS + length / LEAST_BYTES_A_SECOND
        message = await asyncio.wait_for(receive(), until - time.monotonic())
        piece = message.get("body", b"")
        length += len(piece)
        if length <= BODY_MAX_BYTES:
            body += piece
        else:
            body.clear()
        if message["type"] == "http.disconnect":
            return None
        if not message.get("more_body"):
            return bytes(body) if length <= BODY_MAX_BYTES else None
    return None


async def refuse(send: Send, refusal: Refusal) -> None:
    """Answer instead of the application."""
    answer = answer_refusal(refusal)
    answer.headers.extend(HEADERS)
    answer.headers["Content-Security-Policy"] = DATA_CSP
    answer.headers["Cache-Control"] = "no-store"
    headers = [(name.lower().encode(), value.encode()) for name, value in answer.headers.items()]
    await send({"type": "http.response.start", "status": answer.status_code, "headers": headers})
    await send({"type": "http.response.body", "body": answer.get_data(), "more_body": False})


def always_starts(app: Callable[..., Any]) -> Callable[..., Iterator[bytes]]:
    """Give every answer at least one (empty) piece of body, and every request a body that ends.

    The server sends the head with the first piece, and would not send a 304 at all. A body sent in
    chunks has no length; it is whole by now, and may be read to its end.
    """

    def wrapped(environ: dict[str, Any], start_response: Any) -> Iterator[bytes]:
        environ["wsgi.input_terminated"] = True
        pieces = app(environ, start_response)
        try:
            yield b""
            yield from pieces
        finally:
            getattr(pieces, "close", lambda: None)()

    return wrapped
