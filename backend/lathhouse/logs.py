"""What the server says of itself: lines for people, or JSON lines, and never a secret in either.

Whatever is written goes through `without_secrets`, tracebacks and library lines too: what may not
be in a log is said here and nowhere else.
"""

import json
import logging
import re
import time
from datetime import UTC, datetime
from typing import Any

PLAIN = "%(asctime)s %(levelname)s %(message)s"
HIDDEN = "(hidden)"
# (what leads, the secret, what follows); only the middle is hidden.
SECRETS = (
    re.compile(r"()(lth_[\w-]+)()"),
    re.compile(r"(/pair/|/passphrase/)([\w-]+)()"),
    re.compile(r"(/calendar/)([\w-]+)(\.ics)"),
    re.compile(r"(Bearer |lathhouse_(?:session|known)=)([^\s;,'\"]+)()", re.IGNORECASE),
    re.compile(r"(://[^\s/:@]*:)([^\s@/]+)(@)"),
    re.compile(r"()(AGE-SECRET-KEY-1\w+)()"),
    # People's addresses, which are nobody's business in a log that is sent on.
    re.compile(r"()([\w.+-]+@[\w-]+(?:\.[\w-]+)+)()"),
)
REQUESTS = "lathhouse.requests"
# What would begin a new line, or tell a terminal to do something. JSON escapes the first 32 itself.
CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
# Lines of a traceback: they can be taken for no line of the log.
LED = "    "


def without_secrets(said: str) -> str:
    """Return a text with tokens, links, passwords, keys and e-mail addresses hidden."""
    for secret in SECRETS:
        said = secret.sub(rf"\1{HIDDEN}\3", said)
    return said


def in_one_line(said: str) -> str:
    """Return a text with its control characters named rather than sent."""
    return CONTROLS.sub(lambda match: f"\\u{ord(match[0]):04x}", said)


class PlainLines(logging.Formatter):
    """Lines for people, in UTC as everything that is kept here."""

    converter = staticmethod(time.gmtime)
    default_msec_format = "%s.%03dZ"

    def format(self, record: logging.LogRecord) -> str:
        """Return one record."""
        return without_secrets(super().format(record))

    def formatMessage(self, record: logging.LogRecord) -> str:
        """Return what a record says: one line, whatever was typed into it."""
        return in_one_line(super().formatMessage(record))

    def formatException(self, ei: Any) -> str:
        """Return a traceback below its line."""
        lines = super().formatException(ei).split("\n")
        return "\n".join(LED + in_one_line(line) for line in lines)


class JsonLines(logging.Formatter):
    """One JSON object a line: {at, level, logger, message, …fields, exception}."""

    def format(self, record: logging.LogRecord) -> str:
        """Return one record."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line: dict[str, Any] = {"at": at, "level": record.levelname.lower()}
        line |= {"logger": record.name, "process": record.process, "message": record.getMessage()}
        line |= getattr(record, "fields", {})
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        clean = {
            name: without_secrets(value) if isinstance(value, str) else value
            for name, value in line.items()
        }
        return in_one_line(json.dumps(clean, ensure_ascii=False, default=str))


def set_up(*, as_json: bool) -> None:
    """Write to standard error, one way or the other; requests one by one only as JSON."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines() if as_json else PlainLines(PLAIN))
    logging.basicConfig(level=logging.INFO, handlers=[handler])
    logging.getLogger("alembic").setLevel(logging.WARNING)
    logging.getLogger(REQUESTS).setLevel(logging.INFO if as_json else logging.WARNING)
