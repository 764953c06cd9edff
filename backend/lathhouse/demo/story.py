"""Telling a nursery's past as events: who did what, on which phone, how many days ago."""

import hashlib
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import parse_instant

Data = dict[str, Any]
ZONE = "Australia/Sydney"
# For two days in winter the shed phone's clock was three hours fast; it measured so at each sync.
FAST_DAYS, FAST_HOURS = (70, 71), 3
NAMES = uuid.UUID("6f1d4c0e-52a9-4d17-9a57-3f0e7a1c2b4d")


def name_id(name: str) -> str:
    """Return the id of a named thing: the same name always has the same one."""
    return str(uuid.uuid5(NAMES, name))


def fast(at: str) -> Data:
    """Return what a phone whose clock is fast writes instead of a time, and what it knows of it."""
    written = datetime.fromisoformat(at) + timedelta(hours=FAST_HOURS)
    skew_ms = -FAST_HOURS * 3_600_000
    return {"observed_at": written.isoformat(), "clock": {"run": "fast", "skew_ms": skew_ms}}


class Story:
    """Collects events, placed by days before now at believable local hours."""

    def __init__(self, now_ms: int) -> None:
        self.now_ms = now_ms
        self.now = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(ZoneInfo(ZONE))
        self.told: list[Data] = []

    def at(self, days_ago: int, clock: str) -> str:
        """Return a local time that many days ago, with the offset that held then."""
        day = (self.now - timedelta(days=days_ago)).date()
        hour, minute = (int(part) for part in clock.split(":"))
        naive = datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo(ZONE))
        return naive.isoformat()

    def is_working_day(self, days_ago: int) -> bool:
        """Say whether that day was Monday to Saturday."""
        return (self.now - timedelta(days=days_ago)).isoweekday() <= 6

    def tell(
        self,
        days_ago: int,
        clock: str,
        kind: str,
        lot: str | None = None,
        data: Data | None = None,
        *,
        by: str = "Dev",
        phone: str = "shed",
        **more: Any,
    ) -> Data | None:
        """Add an event; what would lie ahead of now has not happened yet."""
        at = self.at(days_ago, clock)
        if parse_instant(at) > self.now_ms:
            return None
        event: Data = {"kind": kind, "lot": lot, "observed_at": at, "data": data or {}, **more}
        if phone == "shed" and days_ago in FAST_DAYS:
            event |= fast(at)
        event |= {"by": name_id(by) if by else None, "phone": phone}
        event["id"] = self._id(event)
        self.told.append(event)
        return event

    def _id(self, event: Data) -> str:
        text = f"{event['phone']} {event['observed_at']} {event['kind']} {event['lot']}"
        text += f" {event['data']} {len(self.told)}"
        ms = parse_instant(event["observed_at"])
        return uuid7(ms, hashlib.sha256(text.encode()).digest()[:10])

    def by_phone(self) -> dict[str, list[Data]]:
        """Return each phone's events in order of time, numbered from 1."""
        phones: dict[str, list[Data]] = {}
        for event in sorted(self.told, key=lambda told: parse_instant(told["observed_at"])):
            phones.setdefault(event["phone"], []).append(event)
        for events in phones.values():
            for seq, event in enumerate(events, 1):
                event["seq"] = seq
                del event["phone"]
        return phones
