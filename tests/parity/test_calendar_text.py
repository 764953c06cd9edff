"""Calendar text is the same octets on the phone and on the server."""

from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.icalendar import calendar
from tests.parity.twins import called_in_browser

AT = "2026-09-10T21:00:00.000Z"
ENTRY = {"uid": "1@lathhouse", "starts_at": AT, "summary": "Drain; 26-009-K, jar\\2"}
DAY = {"uid": "2@lathhouse", "day": "2026-12-31", "summary": "Shed fridge: é 漢 " + "x" * 200}
ENTRIES: list[dict[str, Any]] = [
    ENTRY,
    {**ENTRY, "alarm": False, "url": "http://localhost/#/lot/1", "description": "a\r\nb\nc"},
    {**ENTRY, "alarm": None, "location": "Bench, north"},
    {**DAY, "alarm": "PT7H0M", "sequence": 3},
    {**DAY, "cancelled": True, "sequence": 4},
    {**DAY, "summary": "x" * 65}, {**DAY, "summary": "x" * 66}, {**DAY, "summary": "x" * 139},
    {**DAY, "summary": "😀" * 40},
]  # fmt: skip


@pytest.mark.parametrize("made_at", [AT, None])
def test_both_sides_write_the_same_octets(core_page: Page, made_at: str | None):
    entries = [{**entry, "changed_at": AT} for entry in ENTRIES]
    ours = calendar("Quillstone, é", entries, made_at)
    theirs = called_in_browser(
        core_page, "icalendar", "calendar", "Quillstone, é", entries, made_at
    )
    assert theirs["value"] == ours
    assert ("METHOD:PUBLISH" in ours) == (made_at is not None)
