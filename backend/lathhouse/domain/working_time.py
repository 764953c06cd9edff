"""Working hours and quiet hours at the site's own clock: when somebody is at work, when asleep."""

from typing import Any

from lathhouse.domain.instants import (
    local_date,
    local_instant,
    local_time,
    next_day,
    weekday,
)

Hours = dict[str, Any]

# The demo nursery's own hours serve as defaults; a nursery and each person set their own.
USUAL = {"work_from": "07:00", "work_to": "16:00", "quiet_from": "20:00", "quiet_to": "06:00"}
# A walk over days ends here, so that odd hours (nobody ever works) end too.
DAYS_MAX = 400


def hours_of(nursery: dict[str, Any], person: dict[str, Any] | None = None) -> Hours:
    """Return the hours that hold for a person, or for the nursery as a whole.

    A person's own days of work and quiet hours come before the nursery's.
    """
    own = person or {}
    found: Hours = {name: nursery.get(name) or usual for name, usual in USUAL.items()}
    for name in ("quiet_from", "quiet_to"):
        found[name] = own.get(name) or found[name]
    found["working_days"] = own.get("works") or nursery["working_days"]
    return {**found, "offsets": nursery["offsets"]}


def is_quiet(at_ms: int, hours: Hours) -> bool:
    """Say whether quiet hours hold; from and to alike means that there are none."""
    clock, begin, end = local_time(at_ms, hours["offsets"]), hours["quiet_from"], hours["quiet_to"]
    if begin <= end:
        return bool(begin <= clock < end)
    return bool(clock >= begin or clock < end)


def is_at_work(at_ms: int, hours: Hours) -> bool:
    """Say whether it is a day of work, within its hours."""
    works = weekday(local_date(at_ms, hours["offsets"])) in hours["working_days"]
    return works and hours["work_from"] <= local_time(at_ms, hours["offsets"]) < hours["work_to"]


def after_quiet(at_ms: int, hours: Hours) -> int:
    """Return this instant, or the end of the quiet hours that it lies in."""
    return next_clock(at_ms, hours["quiet_to"], hours) if is_quiet(at_ms, hours) else at_ms


def quiet_begins(at_ms: int, hours: Hours) -> int | None:
    """Return when quiet hours next begin: now within them, None where there are none."""
    if hours["quiet_from"] == hours["quiet_to"]:
        return None
    return at_ms if is_quiet(at_ms, hours) else next_clock(at_ms, hours["quiet_from"], hours)


def next_clock(at_ms: int, clock: str, hours: Hours) -> int:
    """Return the first instant from now on at which the site's clocks show a time."""
    today = local_date(at_ms, hours["offsets"])
    at = local_instant(today, clock, hours["offsets"])
    return at if at >= at_ms else local_instant(next_day(today), clock, hours["offsets"])


def start_of_work(at_ms: int, hours: Hours, *, any_day: bool = False) -> int:
    """Return when work next starts, at the earliest now; `any_day` counts days off too."""
    at = next_clock(at_ms, hours["work_from"], hours)
    for _ in range(7):
        if any_day or weekday(local_date(at, hours["offsets"])) in hours["working_days"]:
            break
        day = next_day(local_date(at, hours["offsets"]))
        at = local_instant(day, hours["work_from"], hours["offsets"])
    return after_quiet(at, hours)


def after_work_of(start_ms: int, length_ms: int, hours: Hours) -> int | None:
    """Return when so much time within working hours has passed, or None where nobody works."""
    day, left = local_date(start_ms, hours["offsets"]), length_ms
    for _ in range(DAYS_MAX):
        begin = max(start_ms, local_instant(day, hours["work_from"], hours["offsets"]))
        end = local_instant(day, hours["work_to"], hours["offsets"])
        if weekday(day) in hours["working_days"] and begin < end:
            if begin + left <= end:
                return begin + left
            left -= end - begin
        day = next_day(day)
    return None


def end_of_work(start_ms: int, count: int, hours: Hours) -> int | None:
    """Return the end of the `count`-th day of work that ends after an instant."""
    day = local_date(start_ms, hours["offsets"])
    for _ in range(DAYS_MAX):
        end = local_instant(day, hours["work_to"], hours["offsets"])
        if weekday(day) in hours["working_days"] and end > start_ms:
            count -= 1
            if count == 0:
                return end
        day = next_day(day)
    return None
