"""The file that a phone saves of what it could not send: read, and its sum checked.

JSON Lines in UTF-8: a head, a line for each event, and an end that says how many lines came before
it and their sum. The phone writes it (`core/saved_file.js`); DEVELOPERS.md, "the saved file", says
what is in it.
"""

import json
import re
import zlib
from dataclasses import dataclass
from typing import Any

from lathhouse.domain.nesting import LEVELS_MAX, is_deeper

Data = dict[str, Any]
# The second holds pictures too.
FORMS = (1, 2)
UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
HOW = "On the phone: More, What has not been sent, Save a file."
AGAIN = "Save it once more on the phone, and send that one as it is."


class BadSavedFile(ValueError):
    """A text that is no such file, or not a whole one."""


@dataclass(frozen=True)
class SavedFile:
    """What is in one.

    Attributes:
        site: the nursery that the phone belongs to, None where it never heard which.
        skew_ms: what the phone last knew must be added to its clock.
        refused: `{event, problem}` of what a server has refused before.
        photos: `{photo, jpeg}`: a picture's SHA-256, and its octets in base64 (RFC 4648).
    """

    site: str | None
    device: str
    made_at: str
    skew_ms: int
    events: list[Any]
    refused: list[Data]
    photos: list[Data]


def checksum(text: str) -> str:
    """Return the CRC-32 of a text's UTF-8 octets (ISO 3309; RFC 1952 section 8), 8 hex digits."""
    return f"{zlib.crc32(text.encode()):08x}"


def read_saved_file(text: str) -> SavedFile:
    """Return what is in a saved file.

    Line ends and a byte order mark that a mail program has put in are taken out first.

    Raises:
        BadSavedFile: it is another kind of file, of a newer form, cut short or altered.
    """
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").rstrip("\n") + "\n"
    lines = plain.split("\n")[:-1]
    head = _line(lines[0]) if lines else None
    if not isinstance(head, dict) or head.get("lathhouse") != "unsent":
        raise BadSavedFile(f"This is no file of unsent records. {HOW}")
    if head.get("form") not in FORMS:
        says = f"This file is of form {head.get('form')}, and this server reads up to {FORMS[-1]}."
        raise BadSavedFile(f"{says} Bring the server up to date, then send it again.")
    _check_end(head, lines)
    return _saved(head, [_whole(line) for line in lines[1:-1]])


def _line(line: str) -> Any:
    try:
        value = json.loads(line, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return None
    return None if is_deeper(value, LEVELS_MAX) else value


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def _whole(line: str) -> Data:
    value = _line(line)
    if not isinstance(value, dict) or not (
        {"event", "refused", "unreadable", "photo"} & value.keys()
    ):
        raise BadSavedFile(f"A line of this file is no record. {AGAIN}")
    return value


def _check_end(head: Data, lines: list[str]) -> None:
    end = _line(lines[-1])
    if len(lines) < 2 or not isinstance(end, dict) or "crc32" not in end:
        expected = head.get("lines")
        said = f" It should hold {expected} lines." if isinstance(expected, int) else ""
        raise BadSavedFile(f"This file was cut short: its last line is missing.{said} {AGAIN}")
    before = "".join(f"{line}\n" for line in lines[:-1])
    if end.get("lines") != len(lines) - 1 or end["crc32"] != checksum(before):
        raise BadSavedFile(f"This file is not as the phone wrote it: its sum differs. {AGAIN}")


def _saved(head: Data, lines: list[Data]) -> SavedFile:
    site, device, skew = head.get("site"), head.get("device"), head.get("skew_ms")
    if not isinstance(device, str) or not UUID.fullmatch(device):
        raise BadSavedFile(f"This file does not say which phone it is of. {AGAIN}")
    return SavedFile(
        site=site if isinstance(site, str) else None,
        device=device.lower(),
        made_at=str(head.get("made_at") or ""),
        skew_ms=skew if isinstance(skew, int) and not isinstance(skew, bool) else 0,
        events=[line["event"] for line in lines if "event" in line],
        refused=[
            {"event": line["refused"], "problem": line.get("problem")}
            for line in lines
            if "refused" in line
        ],
        photos=[line for line in lines if "photo" in line],
    )
