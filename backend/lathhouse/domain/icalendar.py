"""Calendar text (RFC 5545): due work as events with an alarm, for any calendar on any phone.

The twin `core/icalendar.js` writes the same octets, so that a phone without signal can hand a
timer to its own calendar.
"""

from typing import Any

from lathhouse.domain.instants import HOUR_MS, next_day, to_ms, to_text

PRODID = "-//Lathhouse//Rounds//EN"
LINE_OCTETS = 75
ENTRY_MS = HOUR_MS // 4
# How often a reader of the feed may ask again. Ours: work is planned by the day.
ASK_AGAIN = "PT1H"


def calendar(name: str, entries: list[dict[str, Any]], made_at: str | None) -> str:
    """Return a VCALENDAR with one VEVENT an entry, lines ended by CRLF and folded at 75 octets.

    Args:
        name: shown as the calendar's name.
        entries: {uid, starts_at or day, summary, description, location?, url?, changed_at?,
            sequence?, cancelled?, alarm?} each; `starts_at` canonical text, `day` a date for an
            entry of the whole day. Unless `alarm` is False it rings at its start, or that long
            after it that `alarm` says (such as `PT7H`).
        made_at: canonical text, for DTSTAMP (RFC 5545 section 3.8.7.2). None for a feed: it has no
            METHOD, so that DTSTAMP is when each entry was changed, and it says how often to ask
            again (RFC 7986 section 5.7).
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODID}", "CALSCALE:GREGORIAN"]
    lines += ["METHOD:PUBLISH"] if made_at else [f"REFRESH-INTERVAL;VALUE=DURATION:{ASK_AGAIN}"]
    lines += [] if made_at else [f"X-PUBLISHED-TTL:{ASK_AGAIN}"]
    lines += [f"X-WR-CALNAME:{escape(name)}"]
    for entry in entries:
        lines += _event(entry, made_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{fold_line(line)}\r\n" for line in lines)


def _event(entry: dict[str, Any], made_at: str | None) -> list[str]:
    lines = ["BEGIN:VEVENT", f"UID:{escape(entry['uid'])}"]
    lines += [f"DTSTAMP:{utc(made_at or entry['changed_at'])}", *_times(entry)]
    lines += [f"SUMMARY:{escape(entry['summary'])}"]
    lines += [f"DESCRIPTION:{escape(entry['description'])}"] if entry.get("description") else []
    lines += [f"LOCATION:{escape(entry['location'])}"] if entry.get("location") else []
    lines += [f"URL:{entry['url']}"] if entry.get("url") else []
    lines += [f"LAST-MODIFIED:{utc(entry['changed_at'])}"] if entry.get("changed_at") else []
    lines += [f"SEQUENCE:{entry.get('sequence', 0)}", "TRANSP:TRANSPARENT"]
    lines += ["STATUS:CANCELLED" if entry.get("cancelled") else "STATUS:CONFIRMED"]
    alarm = entry.get("alarm", "PT0S")
    if alarm and not entry.get("cancelled"):
        trigger = alarm if isinstance(alarm, str) else "PT0S"
        lines += ["BEGIN:VALARM", "ACTION:DISPLAY", f"TRIGGER:{trigger}"]
        lines += [f"DESCRIPTION:{escape(entry['summary'])}", "END:VALARM"]
    return [*lines, "END:VEVENT"]


def _times(entry: dict[str, Any]) -> list[str]:
    """Return when an entry begins and ends; a day ends where the next begins (section 3.6.1)."""
    if entry.get("day"):
        begin, end = (day.replace("-", "") for day in (entry["day"], next_day(entry["day"])))
        return [f"DTSTART;VALUE=DATE:{begin}", f"DTEND;VALUE=DATE:{end}"]
    end = to_text(to_ms(entry["starts_at"]) + ENTRY_MS)
    return [f"DTSTART:{utc(entry['starts_at'])}", f"DTEND:{utc(end)}"]


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
    if len(line.encode()) <= LINE_OCTETS:
        return line
    if line.isascii():
        step = LINE_OCTETS - 1
        rest = range(LINE_OCTETS, len(line), step)
        return "\r\n ".join([line[:LINE_OCTETS], *(line[at : at + step] for at in rest)])
    parts, part, octets = [], "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > LINE_OCTETS:
            parts.append(part)
            part, octets = " ", 1
        part, octets = part + character, octets + size
    return "\r\n".join([*parts, part])
