"""The agenda: what is due, and what will be when nothing is done, as entries of a calendar.

A day's looks at a place are one entry, and what is overdue is carried over to today without ringing
again. What has its hour (a soak, a dip, seed that dries) has an entry of its own at that time, but
never in quiet hours.
"""

from typing import Any

from lathhouse.domain.ids import alert_id
from lathhouse.domain.instants import (
    DAY_MS,
    local_date,
    local_instant,
    local_time,
    next_day,
    next_working_day,
    to_ms,
    to_text,
    weekday,
)
from lathhouse.domain.watches import as_it_stands, evaluate, fill, worst_of_each

Row = dict[str, Any]
Rules = list[Row]

# Ours, as are all bounds here: two months hold the next look at anything, and a plan for weeks.
AHEAD_DAYS = 60
ENTRIES_MAX, LINES_MAX, LABELS_SHOWN = 1000, 40, 6
# A rule's first level lies a few of its deadlines ahead at most.
STEPS_MAX = 12
# They tell that nobody came, wrote or sent: as long as people do, they never come.
SILENCES = ("round-missing", "chamber-silent", "phone-silent", "record-gap", "backup-old")
# They say what may not be done, and ask for nothing.
HOLDS = ("re-entry", "sale-hold")
# What runs by the hour besides the rules of the first priority.
HOURLY = ("soak-still-water", "drained-left", "solution-old")
URGENT = 1
WEIGHT = {"due": 1, "late": 2, "alarm": 3}
# The nursery's own hours where it has set some; these are ours.
HOURS = {"work_from": "07:00", "work_to": "16:00", "quiet_from": "20:00", "quiet_to": "06:00"}


def ahead(rules: Rules, kind: str, facts: Row, now: str, site: Row) -> list[Row]:
    """Return {finding, at} of each rule that holds now or first will within `AHEAD_DAYS`.

    `at` is when it does if nothing is done: each rule is looked at again at its next deadline.
    What somebody has put off comes when that ends; what another one hides by then is left out.
    """
    until = to_text(to_ms(now) + AHEAD_DAYS * DAY_MS)
    found: dict[str, Row] = {}
    for rule in rules:
        asked = kind in rule["subjects"] and rule.get("enabled") is not False
        if asked and rule["id"] not in HOLDS:
            first = _first(rule, kind, facts, now, until, site)
            if first and (first["at"] == now or rule["id"] not in SILENCES):
                found[rule["id"]] = first
    hiders: dict[str, list[str]] = {}
    for rule in rules:
        for hidden in rule.get("hides", []):
            hiders.setdefault(hidden, []).append(rule["id"])
    return [
        one
        for name, one in found.items()
        if not any(by in found and found[by]["at"] <= one["at"] for by in hiders.get(name, []))
    ]


def _first(rule: Row, kind: str, facts: Row, now: str, until: str, site: Row) -> Row | None:
    # Most rules have nothing to say of most lots: that is seen without weighing their answers.
    stands = as_it_stands(rule, facts)
    known = {**facts, "given": stands["given"]} if "given" in stands else facts
    case, _, coming = worst_of_each(stands, known, to_ms(now), site)
    later = [ms for ms in coming if ms > to_ms(now)]
    if case is None and not later:
        return None
    at = now if case is not None else to_text(min(later))
    for _ in range(STEPS_MAX):
        if at > until:
            break
        looked = evaluate([rule], kind, facts, at, site)
        for finding in looked["findings"]:
            left = finding.get("shelved_until")
            if left and left <= until:
                return {"finding": {**finding, "state": "open"}, "at": left}
            return None if left else {"finding": finding, "at": at}
        if looked["next_deadline"] is None:
            break
        at = looked["next_deadline"]
    return None


def agenda(found: list[Row], now: str, house: Row) -> list[Row]:
    """Return the entries of what is due and will be, the nearest first.

    Args:
        found: {finding, at} of every subject, as `ahead` gives them.
        house: {nursery: its row, places: {id: name}, lots: {id: {label, crop}}}.

    An entry is {uid, day or starts_at, alarm, summary, description, location, route}.
    """
    nursery = house["nursery"]
    hours = {name: nursery.get(name) or usual for name, usual in HOURS.items()}
    clock = {**hours, "offsets": nursery["offsets"], "working_days": nursery["working_days"]}
    days: dict[tuple[str, str], list[Row]] = {}
    entries: list[Row] = []
    for one in found:
        finding = one["finding"]
        if finding["priority"] == URGENT or finding["watch"] in HOURLY:
            entries.append(_hourly(one, now, house, clock))
        else:
            at = finding["since"] if one["at"] == now else one["at"]
            key = (_whose(finding, house), day_of(at, now, clock))
            days.setdefault(key, []).append(one)
    entries += [_daily(whose, day, held, house, clock) for (whose, day), held in days.items()]
    entries.sort(key=lambda entry: (entry.get("starts_at") or entry["day"], entry["uid"]))
    return entries[:ENTRIES_MAX]


def _whose(finding: Row, house: Row) -> str:
    """Return the place whose day's work this belongs to, else what it is about."""
    subject = finding["subject"]
    if finding["place"] in house["places"]:
        return str(finding["place"])
    return "-" if subject["kind"] == "lot" else str(subject["id"])


def day_of(at: str, now: str, clock: Row) -> str:
    """Return the day on which a day's work is done: never before today."""
    today = _working(local_date(to_ms(now), clock["offsets"]), clock)
    return max(work_day(at, clock), today)


def work_day(at: str, clock: Row) -> str:
    """Return the day of work of an instant: after hours, or on a day off, it is the next one."""
    day = local_date(to_ms(at), clock["offsets"])
    late = local_time(to_ms(at), clock["offsets"]) >= clock["work_to"]
    return _working(next_day(day) if late else day, clock)


def _working(day: str, clock: Row) -> str:
    if weekday(day) in clock["working_days"]:
        return day
    return next_working_day(day, clock["working_days"]) or day


def waking(at: str, clock: Row) -> str:
    """Return this instant, or where it lies in quiet hours the start of work after them."""
    ms = to_ms(at)
    time, begin, end = local_time(ms, clock["offsets"]), clock["quiet_from"], clock["quiet_to"]
    quiet = begin <= time < end if begin <= end else time >= begin or time < end
    if not quiet:
        return at
    day = local_date(ms, clock["offsets"])
    start = local_instant(day, clock["work_from"], clock["offsets"])
    if start < ms:
        start = local_instant(next_day(day), clock["work_from"], clock["offsets"])
    return to_text(start)


def _hourly(one: Row, now: str, house: Row, clock: Row) -> Row:
    finding = one["finding"]
    since = finding["since"] if one["at"] == now else one["at"]
    name = alert_id(finding["subject"]["id"], finding["watch"], finding["since"])
    return {
        "uid": f"{name}@lathhouse",
        # To the minute: lots that were started with one tap differ by milliseconds.
        "starts_at": f"{waking(since, clock)[:16]}:00.000Z",
        "alarm": "PT0S",
        "summary": f"{_name(finding, house)}: {finding['next_action']}",
        "description": _line(finding, house["nursery"]),
        "location": house["places"].get(finding["place"]),
        "route": _route(finding),
    }


def _daily(whose: str, day: str, held: list[Row], house: Row, clock: Row) -> Row:
    """Return the entry of a day's work at a place; it rings if anything in it is new that day."""
    held = sorted(held, key=lambda one: (-WEIGHT[one["finding"]["level"]], _order(one)))
    findings = [one["finding"] for one in held]
    lots = list(dict.fromkeys(one["lot"] for one in findings if one["lot"]))
    place = house["places"].get(whose)
    if len(lots) > 1:
        labels = [house["lots"][lot]["label"] for lot in lots if lot in house["lots"]]
        more = f" and {len(labels) - LABELS_SHOWN} more" if len(labels) > LABELS_SHOWN else ""
        where = place or house["nursery"].get("name") or "Lots without a place"
        summary = f"{where}: {len(lots)} lots, {', '.join(labels[:LABELS_SHOWN])}{more}"
        route = f"#/walk/{whose}"
    else:
        summary = f"{_name(findings[0], house)}: {findings[0]['next_action']}"
        route = _route(findings[0])
    lines = [_line(finding, house["nursery"]) for finding in findings[:LINES_MAX]]
    lines += [f"and {len(findings) - LINES_MAX} more"] if len(findings) > LINES_MAX else []
    new = any(work_day(finding["level_since"], clock) == day for finding in findings)
    name = alert_id(whose if whose != "-" else house["nursery"]["id"], "day's work", day)
    return {
        "uid": f"{name}@lathhouse",
        "day": day,
        "alarm": _after_midnight(clock["work_from"]) if new else None,
        "summary": summary,
        "description": "\n".join(lines),
        "location": place,
        "route": route,
    }


def _order(one: Row) -> tuple[int, str, str]:
    finding = one["finding"]
    return finding["priority"], finding["since"], finding["says"]


def _name(finding: Row, house: Row) -> str:
    lot = house["lots"].get(finding["lot"])
    if lot:
        return f"{lot['label']} {lot['crop']}"
    return str(house["places"].get(finding["place"]) or house["nursery"].get("name") or "Nursery")


def _after_midnight(time: str) -> str:
    """Return a time of day as the length of time since midnight (RFC 5545 section 3.3.6)."""
    return f"PT{int(time[:2])}H{int(time[3:])}M"


def _line(finding: Row, nursery: Row) -> str:
    site = {"offsets": nursery["offsets"]}
    since = fill("{since|date} {since|time}", {"since": finding["since"]}, site)
    return f"{finding['says']}. {finding['next_action']}. [{finding['level']}, {since}]"


def _route(finding: Row) -> str:
    if finding["lot"]:
        return f"#/lot/{finding['lot']}"
    if finding["watch"].startswith("chamber"):
        return f"#/fridge/{finding['place']}"
    return f"#/walk/{finding['place']}" if finding["subject"]["kind"] == "place" else "#/alerts"
