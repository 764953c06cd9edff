"""Calendar text (RFC 5545): due work as events with an alarm, for any calendar on any phone.

The twin `core/icalendar.js` writes the same octets, so that a phone without signal can hand a
timer to its own calendar.
"""

from typing import Any

from lathhouse.domain.instants import HOUR_MS, to_ms, to_text

PRODID = "-//Lathhouse//Rounds//EN"
LINE_OCTETS = 75
ENTRY_MS = HOUR_MS // 4


def calendar(name: str, entries: list[dict[str, Any]], made_at: str) -> str:
    """Return a VCALENDAR with one VEVENT an entry, lines ended by CRLF and folded at 75 octets.

    Args:
        name: shown as the calendar's name.
        entries: {uid, starts_at, summary, description, url?, changed_at?, sequence?, cancelled?,
            alarm?} each; `starts_at` canonical text. Unless `alarm` is False it rings at its start.
        made_at: canonical text, for DTSTAMP (RFC 5545 section 3.8.7.2).
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODID}", "CALSCALE:GREGORIAN"]
    lines += ["METHOD:PUBLISH", f"X-WR-CALNAME:{escape(name)}"]
    for entry in entries:
        lines += _event(entry, made_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{fold_line(line)}\r\n" for line in lines)


def _event(entry: dict[str, Any], made_at: str) -> list[str]:
    start = to_ms(entry["starts_at"])
    lines = ["BEGIN:VEVENT", f"UID:{escape(entry['uid'])}", f"DTSTAMP:{utc(made_at)}"]
    lines += [f"DTSTART:{utc(entry['starts_at'])}", f"DTEND:{utc(to_text(start + ENTRY_MS))}"]
    lines += [f"SUMMARY:{escape(entry['summary'])}"]
    lines += [f"DESCRIPTION:{escape(entry['description'])}"] if entry.get("description") else []
    lines += [f"URL:{entry['url']}"] if entry.get("url") else []
    lines += [f"LAST-MODIFIED:{utc(entry['changed_at'])}"] if entry.get("changed_at") else []
    lines += [f"SEQUENCE:{entry.get('sequence', 0)}", "TRANSP:TRANSPARENT"]
    lines += ["STATUS:CANCELLED" if entry.get("cancelled") else "STATUS:CONFIRMED"]
    if entry.get("alarm") is not False and not entry.get("cancelled"):
        lines += ["BEGIN:VALARM", "ACTION:DISPLAY", "TRIGGER:PT0S"]
        lines += [f"DESCRIPTION:{escape(entry['summary'])}", "END:VALARM"]
    return [*lines, "END:VEVENT"]


def utc(instant: str) -> str:
    """Return canonical text as a date with UTC time (section 3.3.5, form 2)."""
    return f"{instant[:19].replace('-', '').replace(':', '')}Z"


def escape(text: str) -> str:
    """Escape a TEXT value (section 3.3.11): backslash first; a colon is left alone."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    plain = plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\n", "\\n")


def fold_line(line: str) -> str:
    """Fold a content line at 75 octets without cutting a character (section 3.1)."""
    parts, part, octets = [], "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > LINE_OCTETS:
            parts.append(part)
            part, octets = " ", 1
        part, octets = part + character, octets + size
    return "\r\n".join([*parts, part])
