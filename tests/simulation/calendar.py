"""Local days and hours of the simulated nursery."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from lathhouse.demo.story import ZONE

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
WORKING_DAYS = (1, 2, 3, 4, 5, 6)
STARTS, ENDS = "07:00", "16:00"
HERE = ZoneInfo(ZONE)


class Calendar:
    """Days counted from the demo's own morning, which is day 0."""

    def __init__(self, start_ms: int) -> None:
        self.start_ms = start_ms
        self.first = local(start_ms).date()

    def at(self, day: int, clock: str, minutes: float = 0) -> int:
        """Return the instant of a local time on a day, moved by some minutes."""
        date = self.first + timedelta(days=day)
        hour, minute = (int(part) for part in clock.split(":"))
        local_time = datetime(date.year, date.month, date.day, hour, minute, tzinfo=HERE)
        return round(local_time.timestamp() * 1000 + minutes * MINUTE_MS)

    def day_of(self, ms: int) -> int:
        """Return the day that an instant falls on."""
        return (local(ms).date() - self.first).days

    def weekday(self, day: int) -> int:
        """Return 1 for Monday to 7 for Sunday."""
        return (self.first + timedelta(days=day)).isoweekday()

    def is_working(self, day: int) -> bool:
        """Say whether anybody works on a day."""
        return self.weekday(day) in WORKING_DAYS

    def next_working(self, day: int) -> int:
        """Return the first working day after a day."""
        return next(later for later in range(day + 1, day + 9) if self.is_working(later))

    def after_working_days(
        self, start_ms: int, length_ms: int, weekdays: tuple[int, ...] | None = None
    ) -> int:
        """Return when that much of working days (each from midnight to midnight) has passed."""
        at, left, day = start_ms, length_ms, self.day_of(start_ms)
        while True:
            end = self.at(day + 1, "00:00")
            if self.weekday(day) in (weekdays or WORKING_DAYS):
                if at + left <= end:
                    return at + left
                left -= end - at
            at, day = end, day + 1


def local(ms: int) -> datetime:
    """Return an instant as local time."""
    return datetime.fromtimestamp(ms / 1000, UTC).astimezone(HERE)


def written(ms: int) -> str:
    """Return an instant as a phone writes it."""
    return local(ms).isoformat(timespec="milliseconds")
