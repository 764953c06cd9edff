"""Between the HTTP server and the application: bodies within bounds, answers that always start.

The HTTP server's own refusal of a long body is a bare 400; ours is a problem document. A body over
the limit is read on and thrown away for a while, so that a phone still sending it hears the answer.

The application's answer is taken whole before the first byte of it leaves: whoever takes it slowly,
or never, holds no thread of the application.
"""

import asyncio
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

from flask import Flask
from hypercorn.middleware import AsyncioWSGIMiddleware
from werkzeug.middleware.proxy_fix import ProxyFix

from lathhouse.errors import Refusal, TooBusy, TooMuch, TooSlow, TwoEnds
from lathhouse.settings import BODY_MAX_BYTES
from lathhouse.web.callers import LOOPBACK, address_of, is_proxy
from lathhouse.web.lines import Lines
from lathhouse.web.problems import DATA_CSP, HEADERS, answer_refusal

DRAINED_MAX_BYTES = 4 * BODY_MAX_BYTES
# A body must keep coming: after a first while at this many bytes a second at least. A phone at the
# edge of a signal sends a hundred times as fast, or not at all. All of these ours.
FIRST_SECONDS, LEAST_BYTES_A_SECOND = 30.0, 500.0
# Bodies on their way at one time, from everywhere and from one address. What is let in from the
# proxy before us, on this machine, is the proxy's to count.
BODIES_MAX, BODIES_FROM_ONE_MAX = 256, 64
# Answers on their way, in bytes; the least of them counts for what keeping one costs.
ANSWERS_MAX_BYTES, ANSWERS_TO_ONE_MAX_BYTES = 2**28, 2**26
ANSWER_LEAST_BYTES = 2**14
Receive = Callable[[], Any]
Send = Callable[[Any], Any]
Messages = list[dict[str, Any]]


class Door:
    """The application as the HTTP server calls it."""

    def __init__(self, wsgi_app: Callable[..., Any], lines: Lines | None = None) -> None:
        self.inner = AsyncioWSGIMiddleware(always_starts(wsgi_app), BODY_MAX_BYTES)
        self.lines = lines or Lines()
        # How many bodies are on their way, and how many bytes of answers, by address.
        self.coming: Counter[str] = Counter()
        self.leaving: Counter[str] = Counter()

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse its body."""
        if scope["type"] != "http":
            await self.inner(scope, receive, send)
            return
        caller = address_of(str((scope.get("client") or ("",))[0]))
        try:
            check_end(scope)
            body = await self.read(caller, receive)
        except Refusal as refusal:
            answer = refused(refusal)
        else:
            answer = await self.answer(scope, body)
        await self.deliver(answer, caller, scope, receive, send)

    async def read(self, caller: str, receive: Receive) -> bytes:
        """Return the body of a request.

        Raises:
            Refusal: there are too many of them, or it is too long, or comes too slowly.
        """
        if self.is_full(caller):
            raise TooBusy("Too much is being sent at once. Try again in a minute.")
        self.coming[caller] += 1
        try:
            body = await read_body(receive)
        except TimeoutError as error:
            raise TooSlow("The body did not come in time. Send it again.") from error
        finally:
            self.coming[caller] -= 1
            self.coming += Counter()  # forgets whoever sends nothing now
        if body is None:
            raise TooMuch(f"A request holds at most {BODY_MAX_BYTES:,} bytes.")
        return body

    async def answer(self, scope: Any, body: bytes) -> Messages:
        """Return the application's whole answer."""
        answer: Messages = []

        async def whole() -> Any:
            return {"type": "http.request", "body": body, "more_body": False}

        async def keep(message: Any) -> None:
            answer.append(message)

        await self.inner(scope, whole, keep)
        pieces = b"".join(message["body"] for message in answer[1:])
        return [answer[0], {"type": "http.response.body", "body": pieces, "more_body": False}]

    async def deliver(
        self, answer: Messages, caller: str, scope: Any, receive: Receive, send: Send
    ) -> None:
        """Send an answer; the line that it leaves on is cut where it does not leave."""
        weight = ANSWER_LEAST_BYTES + len(answer[1]["body"])
        if self.is_too_heavy(caller, weight):
            answer, weight = refused(TooBusy("Too much is on its way to you. Wait a minute.")), 0
        self.leaving[caller] += weight
        try:
            with self.lines.owing(scope):
                # Over HTTP/1 a line that breaks is an error of the sending itself.
                gone = until_gone(receive) if scope["http_version"] == "2" else None
                await send_until(answer, send, gone)
        finally:
            self.leaving[caller] -= weight
            self.leaving += Counter()

    def is_full(self, caller: str) -> bool:
        """Say whether no further body is taken now, from anywhere or from this address."""
        from_one = not is_proxy(caller) and self.coming[caller] >= BODIES_FROM_ONE_MAX
        return from_one or self.coming.total() >= BODIES_MAX

    def is_too_heavy(self, caller: str, weight: int) -> bool:
        """Say whether an answer cannot wait here besides those that do; a first one always can."""
        to_one, whole = self.leaving[caller], self.leaving.total()
        over = not is_proxy(caller) and to_one + weight > ANSWERS_TO_ONE_MAX_BYTES
        return bool(to_one and over) or bool(whole and whole + weight > ANSWERS_MAX_BYTES)


async def send_until(answer: Messages, send: Send, gone: Any) -> None:
    """Send an answer, until nobody is there any more."""
    sending = asyncio.ensure_future(send_all(answer, send))
    if gone is None:
        await sending
        return
    gone = asyncio.ensure_future(gone)
    await asyncio.wait({sending, gone}, return_when=asyncio.FIRST_COMPLETED)
    for task in (sending, gone):
        task.cancel()
    await asyncio.wait({sending, gone})
    if not sending.cancelled():
        sending.result()


async def send_all(answer: Messages, send: Send) -> None:
    """Send an answer."""
    for message in answer:
        await send(message)


async def until_gone(receive: Receive) -> None:
    """Wait until whoever asked is there no more.

    The HTTP server would wait for ever with what such a one has not taken.
    """
    while (await receive())["type"] != "http.disconnect":
        pass


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


def check_end(scope: Any) -> None:
    """Refuse a message that says where it ends in two ways (RFC 9112, 6.1 and 6.3).

    A server before us may have believed the other: what follows would be another's request.

    Raises:
        TwoEnds: it does, or is in chunks by a version that knows none.
    """
    said = {name for name, _ in scope["headers"]} & {b"content-length", b"transfer-encoding"}
    if len(said) > 1 or (said == {b"transfer-encoding"} and scope["http_version"] == "1.0"):
        raise TwoEnds("A message says by its length or by its chunks where it ends, not by both.")


def refused(refusal: Refusal) -> Messages:
    """Return the answer instead of the application's."""
    answer = answer_refusal(refusal)
    answer.headers.extend(HEADERS)
    answer.headers["Content-Security-Policy"] = DATA_CSP
    answer.headers["Cache-Control"] = "no-store"
    if isinstance(refusal, TwoEnds):
        answer.headers["Connection"] = "close"
    headers = [(name.lower().encode(), value.encode()) for name, value in answer.headers.items()]
    return [
        {"type": "http.response.start", "status": answer.status_code, "headers": headers},
        {"type": "http.response.body", "body": answer.get_data(), "more_body": False},
    ]


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
