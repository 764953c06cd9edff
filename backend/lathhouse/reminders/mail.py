"""E-mail by the owner's own server: text and HTML, one stable Message-ID, nothing slipped in."""

import email.policy
import json
import smtplib
import socket
import ssl
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from html import escape
from pathlib import Path
from typing import Any

from lathhouse.lines import line

# From the first try to connect to the answer to the text. Our own choice; a message that is under
# way is leased for two minutes.
LIMIT_SECONDS = 30
LINES_MAX = 200
MAIL_FILE = "mail.json"
PORTS = {"starttls": 587, "tls": 465, "none": 25}
HERE = ("localhost", "127.0.0.1", "::1")
NAMES = ("host", "port", "security", "user", "password", "sender")


class BadMailSettings(ValueError):
    """The mail server's settings cannot be right; the words say what would be."""


@dataclass(frozen=True)
class MailServer:
    """The owner's mail server. The password shows nowhere, not even when this is printed."""

    host: str
    port: int
    security: str
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    trusted: Path | None = None


def read_server(folder: Path, environment: Mapping[str, str]) -> MailServer | None:
    """Return the mail server of `mail.json` in the data folder, or of the environment, or None.

    `LATHHOUSE_MAIL_HOST`, `_PORT`, `_SECURITY` (starttls, tls, none), `_USER`, `_PASSWORD` and
    `_SENDER` go before the file's `host`, `port`, ….

    Raises:
        BadMailSettings: they cannot be right.
    """
    path = folder / MAIL_FILE
    said: dict[str, Any] = {}
    if path.exists():
        try:
            said = json.loads(path.read_text("utf-8"))
        except ValueError as error:
            raise BadMailSettings(f"{MAIL_FILE} must be a JSON object.") from error
        if said.get("password") and path.stat().st_mode & 0o077:
            raise BadMailSettings(f"{MAIL_FILE} holds a password: chmod 600 {MAIL_FILE}.")
    named = {name: environment.get(f"LATHHOUSE_MAIL_{name.upper()}") for name in NAMES}
    said |= {name: value for name, value in named.items() if value}
    if not said.get("host"):
        return None
    security = said.get("security") or "starttls"
    if security not in PORTS:
        raise BadMailSettings("The mail server's security is starttls, tls or none.")
    if security == "none" and said.get("password") and said["host"] not in HERE:
        raise BadMailSettings("A password goes over the network only with starttls or tls.")
    sender = said.get("sender") or said.get("user") or ""
    if "@" not in sender or any(one in sender for one in "\r\n"):
        raise BadMailSettings("The mail's sender must be an e-mail address.")
    port = said.get("port") or PORTS[security]
    if not str(port).isdigit():
        raise BadMailSettings("The mail server's port must be a number such as 587.")
    own = {name: said.get(name) for name in ("user", "password")}
    trusted = said.get("trusted")
    return MailServer(
        said["host"], int(port), security, sender, **own,
        trusted=Path(trusted) if trusted else None,
    )  # fmt: skip


def compose(
    message: dict[str, Any], to: str, sender: str, message_id: str, now_ms: int, address: str
) -> EmailMessage:
    """Return a message as text and as HTML.

    Its Message-ID is the same however often it is sent, so that a mail reader shows it once. A
    title is put on one line, whatever a place's name holds: a line break of any alphabet (such as
    U+2028) ends a header as far as some readers, and Python, are concerned.

    Raises:
        ValueError: a line break in an address, by which a header could be slipped in.
    """
    mail = EmailMessage(policy=email.policy.SMTP)
    mail["From"], mail["To"] = sender, to
    mail["Subject"] = " ".join(message["title"].split())
    mail["Date"] = format_datetime(datetime.fromtimestamp(now_ms / 1000, UTC))
    mail["Message-ID"] = f"<{message_id}@{sender.rpartition('@')[2].strip('<> ')}>"
    # RFC 3834 section 5: no holiday answers to this.
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(as_text(message, address))
    mail.add_alternative(as_html(message, address), subtype="html")
    return mail


def _where_and_when(line: dict[str, Any]) -> str:
    return ", ".join(part for part in (line["where"], f"since {line['since']}") if part)


def as_text(message: dict[str, Any], address: str) -> str:
    """Return a message as plain text."""
    parts = [message["intro"]] if message["intro"] else []
    for one in message["lines"][:LINES_MAX]:
        parts.append(
            f"[ ] {one['level'].upper()}: {one['says']}\n"
            f"    {_where_and_when(one)}\n"
            f"    {one['next_action']}.\n    {address}{one['url']}"
        )
    parts += [f"{address}{message['url']}"]
    return "\n\n".join(parts) + "\n"


def as_html(message: dict[str, Any], address: str) -> str:
    """Return a message as HTML, with nothing in it that is fetched from anywhere."""
    rows = [
        f"<li style='margin:0 0 14px'><strong>{escape(one['level'].upper())}: "
        f"{escape(one['says'])}.</strong><br>{escape(_where_and_when(one))}<br>"
        f"{escape(one['next_action'])}.<br>"
        f"<a href='{escape(address + one['url'])}'>Open it</a></li>"
        for one in message["lines"][:LINES_MAX]
    ]
    intro = f"<p>{escape(message['intro'])}</p>" if message["intro"] else ""
    listed = f"<ul style='padding-left:1.2em'>{''.join(rows)}</ul>" if rows else ""
    return (
        "<!doctype html><html lang='en'><body style='font:16px/1.45 sans-serif;color:#17211a'>"
        f"<h1 style='font-size:20px'>{escape(message['title'])}</h1>{intro}{listed}"
        f"<p><a href='{escape(address + message['url'])}'>Open Lathhouse</a></p></body></html>"
    )


def send(server: MailServer, mail: EmailMessage) -> None:
    """Hand a message to the mail server, which has taken it when this returns.

    The time is the whole conversation's: a server that answers a byte at a time holds up nobody.

    Raises:
        smtplib.SMTPException, OSError: it was not taken, or not in time.
    """
    context = ssl.create_default_context(cafile=str(server.trusted) if server.trusted else None)
    found = socket.getaddrinfo(server.host, server.port, type=socket.SOCK_STREAM)
    numbers = [str(one[4][0]) for one in found]
    tls = context if server.security == "tls" else None
    with line(server.host, server.port, numbers, LIMIT_SECONDS, tls) as up:
        _say(Client(up, server), server, mail, context)


class Client(smtplib.SMTP):
    """A mail client on a line that is up already, and that somebody else cuts in time."""

    def __init__(self, up: socket.socket, server: MailServer) -> None:
        self._up = up
        super().__init__(server.host, server.port)

    def _get_socket(self, *_: Any) -> socket.socket:
        return self._up


def _say(
    client: smtplib.SMTP, server: MailServer, mail: EmailMessage, context: ssl.SSLContext
) -> None:
    try:
        if server.security == "starttls":
            client.starttls(context=context)
        if server.user and server.password:
            client.login(server.user, server.password)
        client.send_message(mail)
        with suppress(smtplib.SMTPException, OSError):
            # The mail was taken with the answer to its text (RFC 5321 section 4.2.5): whatever the
            # server says to a good-bye undoes nothing.
            client.quit()
    finally:
        client.close()


def is_lasting(error: Exception) -> bool:
    """Say whether a refusal is for good (5xx, RFC 5321 section 4.2.1) and not for now.

    A sign-in that is refused is the owner's to mend, and may be mended: it is tried again.
    """
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return False
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in error.recipients.values())
    return isinstance(error, smtplib.SMTPResponseException) and error.smtp_code >= 500
