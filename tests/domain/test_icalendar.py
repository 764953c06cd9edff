"""Calendar text against RFC 5545 (Desruisseaux, B., 2009) and an independent parser."""

import icalendar as reference

from lathhouse.domain import icalendar

ENTRY = {
    "uid": "soak-1@lathhouse",
    "starts_at": "2026-09-10T21:00:00.000Z",
    "summary": "Drain 26-009-K Magnolia virginiana; soak bench, jar 2",
    "description": "Soaking since 9 September 07:00.\nThen sanitise, or into the cold — é "
    + "x" * 90,
    "url": "http://localhost:8321/#/lot/1",
}


def test_text_is_escaped_as_the_rfc_says():
    """RFC 5545 section 3.3.11, its own example; the second run with icalendar 7.3.2 (vText)."""
    rfc = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert icalendar.escape(rfc) == (
        "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    )
    run = "Check tray 4; cover beds, note\nlow was -2 °C \\ frost: yes"
    expected = "Check tray 4\\; cover beds\\, note\\nlow was -2 °C \\\\ frost: yes"
    assert icalendar.escape(run) == expected


def test_folded_lines_unfold_to_what_they_were():
    """RFC 5545 section 3.1: CRLF and one blank are taken out again, no more than that."""
    line = "DESCRIPTION:This is a lo" + "ng description é°" * 20
    folded = icalendar.fold_line(line)
    assert all(len(part.encode()) <= 75 for part in folded.split("\r\n"))
    assert folded.replace("\r\n ", "") == line


def test_plain_lines_are_folded_at_the_same_octets_as_others():
    """RFC 5545 section 3.1: at most 75 octets, the blank that begins a folded line counted."""
    for length in (1, 74, 75, 76, 149, 150, 223, 224, 500):
        parts = icalendar.fold_line("x" * length).split("\r\n")
        assert [len(part) for part in parts[:-1]] == [75] * (len(parts) - 1)
        assert 0 < len(parts[-1]) <= 75
        assert "\r\n".join(parts).replace("\r\n ", "") == "x" * length


def test_an_independent_parser_reads_back_what_was_written():
    text = icalendar.calendar("Quillstone Nursery", [ENTRY], "2026-09-10T01:00:00.000Z")
    (event,) = reference.Calendar.from_ical(text).walk("VEVENT")
    assert str(event["SUMMARY"]) == ENTRY["summary"]
    assert str(event["DESCRIPTION"]) == ENTRY["description"]
    assert event.decoded("DTSTART").isoformat() == "2026-09-10T21:00:00+00:00"
    (alarm,) = event.walk("VALARM")
    assert alarm.decoded("TRIGGER").total_seconds() == 0


def test_a_cancelled_entry_keeps_its_uid_and_rings_no_more():
    text = icalendar.calendar(
        "n", [{**ENTRY, "cancelled": True, "sequence": 1}], ENTRY["starts_at"]
    )
    (event,) = reference.Calendar.from_ical(text).walk("VEVENT")
    assert event["UID"] == ENTRY["uid"]
    assert event["STATUS"] == "CANCELLED"
    assert not event.walk("VALARM")
