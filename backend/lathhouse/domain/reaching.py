"""Who is told of an alert, when, and who next: pure rules of what may ring.

After the ideas of ISA-18.2 and IEC 62682 in our own words: what nobody needs to act on never rings,
quiet hours hold back messages and not states, and what nobody has taken on goes to the next person.
Which levels ring, and the times, are our own choices.
"""

from typing import Any

from lathhouse.domain.instants import DAY_MS, MINUTE_MS, local_date, to_ms, to_text, weekday
from lathhouse.domain.watches import load_rules
from lathhouse.domain.working_time import (
    Hours,
    after_work_of,
    end_of_work,
    hours_of,
    is_at_work,
    is_quiet,
    quiet_begins,
    start_of_work,
)

Alert = dict[str, Any]
Person = dict[str, Any]

LEVELS = ("due", "late", "alarm")
# By priority: the levels that ring. The rest is a list entry on the round and in the morning list.
RINGS: dict[int, tuple[str, ...]] = {1: LEVELS, 2: ("late", "alarm"), 3: ("alarm",)}
# What is told at once, and not only with the next day's work.
URGENT_MAX = 2
# A P1 that nobody has taken on goes to the next person after this, within working hours.
NEXT_AFTER_MS = 30 * MINUTE_MS
# So many people are told of one matter, at most; past them a telephone is better.
PEOPLE_MAX = 5
# Alerts of one place come in one breath: they wait for each other, so as to be one message.
COLLECT_MS = 20_000
# What was due in working hours may still go so long after them: it was due at their very end, or
# the sender had much to send.
GRACE_MS = 15 * MINUTE_MS
GIVEN = "given"
FROST_NOW, BAND = "frost-now", "chamber-band"
# Messages of a day's lesser matters go in one; of one moment, the others go before them.
DAY = "day:"


def rings(alert: Alert) -> bool:
    """Say whether an alert, as it is now, may ring at all."""
    if alert.get("rings") is False or alert.get("hidden_by"):
        return False
    return alert["level"] in RINGS.get(alert["priority"], ())


def wakes(alert: Alert) -> bool:
    """Say whether an alert may wake those who agreed to it: seed that freezes, frost on plants.

    A chamber rings with priority 1 only below its hard lower limit, which is 0 °C unless set.
    """
    watch, priority = str(alert["watch"]), int(alert["priority"])
    return watch == FROST_NOW or (watch == BAND and priority == 1)


def rose(alert: Alert, now: str) -> bool:
    """Say whether an alert was raised now, or is now higher or more urgent than ever before."""
    history = alert["history"]
    new = [step for step in history if step["at"] == now and step["level"]]
    before = [step for step in history if step["at"] != now and step["level"]]
    if not new:
        return False
    if any(step["what"] == "raised" for step in new):
        return True
    usual = usual_priority(alert)
    urgent = min((step.get("priority", usual) for step in before), default=alert["priority"])
    highest = max((LEVELS.index(step["level"]) for step in before), default=-1)
    return LEVELS.index(alert["level"]) > highest or int(alert["priority"]) < urgent


def usual_priority(alert: Alert) -> int:
    """Return the priority of an alert's watch; a case of it may be more urgent (seed freezes)."""
    own = (rule["priority"] for rule in load_rules() if rule["id"] == alert["watch"])
    return int(next(own, alert["priority"]))


def in_line(
    alert: Alert, people: list[Person], at_ms: int, nursery: dict[str, Any]
) -> list[Person]:
    """Return who is told, first to last: at night who agreed to be woken, then who works that day,
    then by their order, then by name.

    A viewer cannot take it on, and stands in line only where nobody else can be told at all.
    """

    def place(person: Person) -> tuple[bool, bool, float, str]:
        hours = hours_of(nursery, person)
        asleep = is_quiet(at_ms, hours)
        not_woken = asleep and wakes(alert) and not person.get("agreed_to_wake")
        day = local_date(at_ms, hours["offsets"])
        order = person.get("order")
        last = float("inf") if order is None else order
        return not_woken, weekday(day) not in hours["working_days"], last, person["name"] or ""

    able = [one for one in people if one.get("role") != "viewer"]
    return sorted(able or people, key=place)


def tell_at(alert: Alert, person: Person, at_ms: int, nursery: dict[str, Any]) -> int:
    """Return when a person is told of what rings from `at_ms` on.

    Priority 1 at once, but out of quiet hours only at the next start of work (any day: seed does
    not know Sundays), unless it may wake and the person agreed. Priority 2 within that person's
    work, else at its next start. Priority 3 at a start of work.
    """
    hours = hours_of(nursery, person)
    if alert["priority"] == 1:
        return heard_at(alert, person, at_ms, hours)
    if alert["priority"] == URGENT_MAX and is_at_work(at_ms, hours) and not is_quiet(at_ms, hours):
        return at_ms
    return start_of_work(at_ms, hours)


def heard_at(alert: Alert, person: Person, at_ms: int, hours: Hours) -> int:
    """Return this instant, or in quiet hours the next start of work: on any day for priority 1."""
    if not is_quiet(at_ms, hours) or (wakes(alert) and person.get("agreed_to_wake")):
        return at_ms
    return start_of_work(at_ms, hours, any_day=alert["priority"] == 1)


def goes_at(kind: str, alert: Alert, person: Person, now_ms: int, nursery: dict[str, Any]) -> int:
    """Return when a message that is due now may go: now, or when that person next hears of such.

    It may be late (a server that was off, a service that was busy), and quiet hours have begun, or
    the day of work is over. What goes to the `next` person goes on any day on which somebody works.
    """
    hours = hours_of(nursery, person)
    if alert["priority"] == 1:
        return heard_at(alert, person, now_ms, hours)
    hours |= {"working_days": nursery["working_days"]} if kind == "next" else {}
    lately = now_ms - GRACE_MS
    begun = is_at_work(now_ms, hours) or is_at_work(lately, hours)
    # Where quiet hours reach into work, or work has no length, its start alone is the time.
    begun = begun or lately <= start_of_work(now_ms - DAY_MS, hours) <= now_ms
    return now_ms if begun and not is_quiet(now_ms, hours) else start_of_work(now_ms, hours)


def kept_until(
    alerts: list[Alert], person: Person, now_ms: int, nursery: dict[str, Any]
) -> int | None:
    """Return until when a message that leaves now may still come to a phone that was off.

    Until that person's quiet hours begin; None where one of its alerts may wake them, or where they
    have no quiet hours. What is held back from the night here must not come in it from elsewhere.
    """
    if person.get("agreed_to_wake") and any(wakes(alert) for alert in alerts):
        return None
    return quiet_begins(now_ms, hours_of(nursery, person))


def handed_on(alert: Alert, told_ms: int, turn: int, hours: Hours) -> int | None:
    """Return when the matter goes to the `turn`-th next person, or None where it never does.

    At night the half hour of what may wake is a half hour, not one of work.
    """
    if alert["priority"] == 1:
        if wakes(alert):
            return told_ms + turn * NEXT_AFTER_MS
        return after_work_of(told_ms, turn * NEXT_AFTER_MS, hours)
    return end_of_work(told_ms, turn, hours) if alert["priority"] == URGENT_MAX else None


def must_plan(alert: Alert, before: Alert | None, now: str) -> bool:
    """Say whether an alert row that is written now brings a state that somebody is to be told.

    Args:
        before: the same alert as it was stored until now, standing or cleared; None for a new one.
    """
    if not rings(alert):
        return False
    return alert["state"] == "shelved" or rose(alert, now) or came_back(alert, before, now)


def came_back(alert: Alert, before: Alert | None, now: str) -> bool:
    """Say whether an alert is anybody's to act on again after it was not.

    Somebody's "I have it", or what was left until later, was undone; what stood for it is over; or
    its level had been lower for a time. A state that was told already is not told again: the queue
    knows. What was left until now is no such thing: it has a message for that time.
    """
    if before is None or before["state"] == "cleared" or alert["state"] != "open":
        return False
    # Taken on and given back within one push, it was never seen to be with anybody.
    given = alert.get("given_back_at") != before.get("given_back_at")
    higher = LEVELS.index(alert["level"]) > LEVELS.index(before["level"])
    urgent = int(alert["priority"]) < int(before["priority"])
    undone = before["state"] == "acknowledged" or left_no_more(alert, before, now)
    return undone or given or bool(before.get("hidden_by")) or higher or urgent


def left_no_more(alert: Alert, before: Alert, now: str) -> bool:
    """Say whether what was left until a time to come is now left until another, or no more."""
    until = str(before["shelved_until"]) if before["state"] == "shelved" else ""
    return until > now and alert.get("shelved_until") != until


def is_given(alert: Alert, answers: set[tuple[str, str]]) -> bool:
    """Say whether somebody else said just now that a person has this; it may ring, so they hear it.

    Args:
        answers: (when, who has it) of what was said now on phones that are not that person's.
    """
    said = (alert.get("acknowledged_at"), alert.get("acknowledged_by"))
    return alert["state"] == "acknowledged" and said in answers and rings(alert)


def step_of(alert: Alert, kind: str = "first") -> str:
    """Return the state that a message is about; one state is never told twice to one person."""
    until, priority = alert.get("shelved_until"), int(alert["priority"])
    step = str(alert["level"])
    step += f"/{priority}" if priority != usual_priority(alert) else ""
    # Nobody has any longer what everybody was told somebody has: that is a state of its own.
    given = alert.get("given_back_at")
    step += f"~{given}" if given else ""
    step += f"+{alert['acknowledged_at']}" if kind == GIVEN else ""
    return f"{step}@{until}" if alert["state"] == "shelved" else step


def plan(
    alert: Alert, people: list[Person], nursery: dict[str, Any], now_ms: int
) -> list[dict[str, Any]]:
    """Return `{person, kind, at_ms}` for each who is to be told of an alert's new state.

    `kind` is `first`, `next` (told only if nobody has it by then), `holder` (who has it already
    hears of a higher level, and nobody else) or `given` (another said that they have it). What is
    left until a time is told at that time.
    """
    if not rings(alert) or not people:
        return []
    start = now_ms
    if alert["state"] == "shelved":
        start = max(now_ms, to_ms(alert["shelved_until"]))
    site = hours_of(nursery)
    line = in_line(alert, people, start, nursery)
    if alert.get("given_back_at"):
        line = [one for one in line if one["id"] != alert["given_back_by"]] or line
    if alert["state"] == "acknowledged" and not rose(alert, to_text(now_ms)):
        given = [one for one in line if one["id"] == alert["acknowledged_by"]]
        return [
            {"person": one, "kind": GIVEN, "at_ms": tell_at(alert, one, start, nursery)}
            for one in given
        ]
    if alert["state"] == "acknowledged":
        holder = next((p for p in line if p["id"] == alert.get("acknowledged_by")), line[0])
        at = tell_at(alert, holder, start, nursery)
        return [{"person": holder, "kind": "holder", "at_ms": at}]
    told = tell_at(alert, line[0], start, nursery)
    found = [{"person": line[0], "kind": "first", "at_ms": told}]
    for turn, person in enumerate(line[1:PEOPLE_MAX], 1):
        handed = handed_on(alert, told, turn, site)
        if handed is None:
            break
        at = heard_at(alert, person, handed, hours_of(nursery, person))
        found.append({"person": person, "kind": "next", "at_ms": at})
    return found


def still_due(row: dict[str, Any], alert: Alert | None, now: str) -> str | None:
    """Return why a planned message is not sent after all, or None where it is.

    Args:
        row: `kind` and `step` of the message as planned.
        alert: the alert as it is now.
        now: canonical text; what was left until now is told, though the clock has yet to say so.
    """
    if alert is None or alert["state"] == "cleared":
        return "cleared"
    if alert["state"] == "shelved" and alert["shelved_until"] > now:
        return "shelved"
    if alert["state"] == "acknowledged" and row["kind"] not in ("holder", GIVEN):
        return "acknowledged"
    if not rings(alert):
        return "hidden"
    step, _, until = row["step"].partition("@")
    step, _, taken = step.partition("+")
    if row["kind"] == GIVEN and taken != alert.get("acknowledged_at"):
        return "superseded"
    step, _, given = step.partition("~")
    level, _, priority = step.partition("/")
    if given != (alert.get("given_back_at") or ""):
        return "superseded"
    # More urgent than it was, it has a message of its own; less so, this is the only one.
    urgent = int(alert["priority"]) < int(priority or usual_priority(alert))
    if until:
        # Where leaving it ended as it got worse, the worse level has a message of its own.
        worse = LEVELS.index(alert["level"]) > LEVELS.index(level)
        return "superseded" if worse or now >= (alert.get("rises_at") or "never") else None
    return None if level == alert["level"] and not urgent else "superseded"


def group_of(alert: Alert, at_ms: int, hours: Hours) -> str:
    """Return what is told in one message: priority 1 by its place, the rest all together.

    So priority 1 is not lost in a list, and five places that nobody has walked by two o'clock are
    one message and not five. Only what is due at one time goes together.
    """
    if alert["priority"] != 1:
        return f"{DAY}{local_date(at_ms, hours['offsets'])}"
    if alert.get("place"):
        return f"place:{alert['place']}"
    return f"{alert['subject']['kind']}:{alert['subject']['id']}"


def collected(at_ms: int, now_ms: int) -> str:
    """Return when a message goes to the sender: a few seconds late where it would go at once."""
    return to_text(at_ms + COLLECT_MS if at_ms <= now_ms else at_ms)
