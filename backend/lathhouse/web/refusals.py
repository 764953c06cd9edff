"""Who was let in, who was not, and who tried what they may not: lines of the log, no secret in any.

OWASP ASVS 5.0 (2025), V16.3. A line says what, by which route's template, from which address (IPv6
by its /64), and whose it is, where that is known. What was typed or sent is in none.
"""

import logging
import time
from threading import Lock
from typing import Any

from flask import g, request

from lathhouse.errors import Refusal
from lathhouse.web.callers import address_of

log = logging.getLogger("lathhouse.access")
# Neither a credential nor a right was missing in any other refusal; 413 and 429 are walls.
TOLD = (401, 403, 413, 429)
# A crowd at the door must not fill the disk: so many lines a minute, and then their number. Ours.
LINES_A_MINUTE = 120


class Told:
    """How many lines were written in this minute, and how many were not."""

    def __init__(self) -> None:
        """Begin with none."""
        self._turn, self._minute = Lock(), 0
        self._count = 0

    def left_out(self, minute: int) -> int | None:
        """Count a line: return None where it is one too many, else how many were left out since."""
        with self._turn:
            if minute == self._minute and self._count >= LINES_A_MINUTE:
                self._count += 1
                return None
            missed = max(self._count - LINES_A_MINUTE, 0) if minute != self._minute else 0
            self._count = 1 if minute != self._minute else self._count + 1
            self._minute = minute
            return missed


told = Told()


def note(refusal: Refusal) -> None:
    """Write down that somebody was refused, unless they only came without any credential."""
    if refusal.status == 401 and not brings_credential():
        return
    if refusal.status in TOLD:
        _write(logging.WARNING, refusal.slug, refusal.status)


def note_let_in(how: str, person: str | None) -> None:
    """Write down that a phone or a browser was let in."""
    _write(logging.INFO, how, 200, person=person)


def brings_credential() -> bool:
    """Say whether a request came with something that is to open a door."""
    return "Authorization" in request.headers or bool(request.cookies)


def _write(level: int, what: str, status: int, **more: Any) -> None:
    missed = told.left_out(int(time.monotonic() // 60))
    if missed is None:
        return
    if missed:
        log.warning("%d more lines like these were left out", missed)
    actor: dict[str, Any] = g.get("actor") or {}
    fields = {"what": what, "method": request.method, "status": status}
    # The rule and not the address: a calendar's holds its secret.
    fields["route"] = request.url_rule.rule if request.url_rule else None
    fields["address"] = address_of(request.remote_addr)
    fields |= {name: actor.get(name) for name in ("by", "role", "person", "device")} | more
    known = {name: value for name, value in fields.items() if value is not None}
    said = " ".join(f"{name}={value}" for name, value in known.items())
    log.log(level, "access: %s", said, extra={"fields": known})
