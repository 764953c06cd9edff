"""What a message says: lot, place, what is wrong, since when, what to do, and where to look.

Written on the server, since a push is shown while the app is closed.
"""

from typing import Any

from lathhouse.domain.instants import local_date, local_time, to_ms
from lathhouse.domain.reaching import LEVELS, Alert
from lathhouse.domain.watches import MONTHS

Message = dict[str, Any]
# A phone shows a few lines of a notification; the rest is one touch away.
LINES_MAX = 4
LINE_MAX = 400
COUNTED = {"due": "{n} due", "late": "{n} late", "alarm": "{n} alarm"}
KINDS = {
    "next": "Nobody has said that they have it; you are next.",
    "holder": "You have taken this on, and it has got worse.",
    "given": "Somebody else said that you have this.",
}


def message_of(
    rows: list[Message], alerts: list[Alert], places: dict[str, Any], offsets: list[Any]
) -> Message:
    """Return {title, intro, lines, url, priority} of the alerts that are told together."""
    worst = sorted(alerts, key=lambda one: (one["priority"], -LEVELS.index(one["level"])))
    kinds = {row["kind"] for row in rows}
    intro = next((KINDS[kind] for kind in KINDS if kind in kinds), "")
    return {
        "title": f"{where_of(worst, places)}: {counts(worst)}",
        "intro": intro,
        "lines": [line_of(alert, places, offsets) for alert in worst],
        "url": url_of(worst, places),
        "priority": worst[0]["priority"],
    }


def where_of(alerts: list[Alert], places: dict[str, Any]) -> str:
    """Return where it is: the one place of them all, or how many there are."""
    names = {(places.get(alert.get("place") or "") or {}).get("name") for alert in alerts}
    if len(names) > 1:
        return f"{len(names)} places"
    return next(iter(names)) or "Nursery"


def counts(alerts: list[Alert]) -> str:
    """Return how many there are of each level, the gravest first."""
    found = {level: sum(one["level"] == level for one in alerts) for level in reversed(LEVELS)}
    return ", ".join(COUNTED[level].format(n=n) for level, n in found.items() if n)


def line_of(alert: Alert, places: dict[str, Any], offsets: list[Any]) -> Message:
    """Return {says, where, since, next_action, url} of one alert."""
    place = places.get(alert.get("place") or "") or {}
    at = to_ms(alert["since"])
    _, month, day = local_date(at, offsets).split("-")
    return {
        "says": alert["says"][:LINE_MAX],
        "where": place.get("name") or "",
        "since": f"{int(day)} {MONTHS.split()[int(month) - 1]}, {local_time(at, offsets)}",
        "next_action": alert["next_action"][:LINE_MAX],
        "level": alert["level"],
        "url": url_of([alert], places),
    }


def url_of(alerts: list[Alert], places: dict[str, Any]) -> str:
    """Return the screen that shows it: of a lot, a place, a fridge, a bucket, or the alerts."""
    if any(alert["watch"].startswith(("frost", "cover-")) for alert in alerts):
        return "/#/frost"
    subjects = {(alert["subject"]["kind"], alert["subject"]["id"]) for alert in alerts}
    where = {alert.get("place") for alert in alerts}
    if len(subjects) > 1:
        place = next(iter(where)) if len(where) == 1 else None
        return f"/#/walk/{place}" if place else "/#/alerts"
    kind, name = next(iter(subjects))
    if kind == "place" and (places.get(name) or {}).get("kind") == "chamber":
        return f"/#/fridge/{name}"
    ways = {"lot": "lot", "place": "walk", "solution": "tag"}
    return f"/#/{ways[kind]}/{name}" if kind in ways else "/#/alerts"


def _with_place(line: Message) -> str:
    where, says = line["where"], line["says"]
    return says if not where or says.startswith(where) else f"{where}: {says}"


def push_text(message: Message) -> str:
    """Return the lines that a phone shows under the title."""
    shown = [
        f"{_with_place(one)}. Since {one['since']}. {one['next_action']}."
        for one in message["lines"][:LINES_MAX]
    ]
    more = len(message["lines"]) - len(shown)
    shown += [f"And {more} more."] if more else []
    return "\n".join([message["intro"], *shown] if message["intro"] else shown)


def morning_of(alerts: list[Alert], places: dict[str, Any], offsets: list[Any]) -> Message:
    """Return the morning list: everything that stands, in walking order, the gravest first."""

    def place(alert: Alert) -> tuple[float, int, int]:
        order = (places.get(alert.get("place") or "") or {}).get("order")
        far = float("inf") if order is None else float(order)
        return far, alert["priority"], -LEVELS.index(alert["level"])

    lines = [line_of(alert, places, offsets) for alert in sorted(alerts, key=place)]
    title = f"Morning list: {counts(alerts)}"
    return {
        "title": title,
        "intro": "In walking order.",
        "lines": lines,
        "url": "/#/",
        "priority": 3,
    }


def test_message() -> Message:
    """Return the message that somebody asked for to see that one comes."""
    return {
        "title": "Lathhouse: a test",
        "intro": "Messages reach you here.",
        "lines": [],
        "url": "/#/reminders",
        "priority": 1,
    }
