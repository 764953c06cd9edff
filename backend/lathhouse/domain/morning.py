"""The morning list: what waits in each place today, in walking order, for a sheet of paper.

It says what the round on the phone says, so that a day without a phone is the same walk. Its twin
is `core/morning.js`; `morning_text.py` writes it as plain text, to send or to keep.
"""

from typing import Any

from lathhouse.domain.bench import SHORT, bench_row
from lathhouse.domain.instants import Offsets, local_date, local_time, to_ms, weekday
from lathhouse.domain.walk import WEIGHT, in_order, is_to_see, not_left, path

Row = dict[str, Any]

# More than a person walks in a morning; beyond it the list says how many are left out.
LOTS_MAX, ALARMS_MAX, RUNNING_MAX = 400, 20, 40
COUNTED = ("cold", "sown", "emerging")


def morning(house: Row, now: str) -> Row:
    """Return what is to be seen today.

    {nursery, day, weekday, made_at, alarms, alarms_left, running, running_left, stops, nothing_due,
    lots_left}; each stop is {place, name, number, says, lots}, each lot {lot, label, crop, level,
    todo, counts}, each thing to do {level, says, next_action, by}, and each running step {lot,
    label, crop, place, kind, since, until}, its times {day, time} of the nursery.

    Args:
        house: {nursery, places, lots, crops, findings, notices}: rows; crops by id; findings by
            `kind:id` and notices by lot id, as the watches gave them.
        now: canonical text.
    """
    nursery = house["nursery"]
    offsets = nursery["offsets"]
    day = local_date(to_ms(now), offsets)
    way = path(house["places"], house["lots"])
    stops = [_stop(house, place, held, offsets, day) for place, held in way]
    walked = [stop for stop in stops if stop["lots"] or stop["says"]]
    for number, stop in enumerate(walked, start=1):
        stop["number"] = number
    left = _bounded(walked)
    alarms, running = _alarms(house), _running(house, offsets)
    return {
        "nursery": nursery.get("name") or "",
        "day": day,
        "weekday": weekday(day),
        "made_at": now,
        "alarms": alarms[:ALARMS_MAX],
        "alarms_left": max(0, len(alarms) - ALARMS_MAX),
        "running": running[:RUNNING_MAX],
        "running_left": max(0, len(running) - RUNNING_MAX),
        "stops": walked,
        "nothing_due": [stop["name"] for stop in stops if stop["number"] is None and stop["name"]],
        "lots_left": left,
    }


def _stop(house: Row, place: Row, held: list[Row], offsets: Offsets, day: str) -> Row:
    own = _told(house["findings"].get(f"place:{place['id']}", []))

    def to_see(lot: Row) -> bool:
        noticed = bool(house["notices"].get(lot["id"]))
        found = _open(house, lot)
        return is_to_see(place, lot, found, noticed=noticed, day=day, offsets=offsets)

    lots = in_order(filter(to_see, held), lambda lot: _open(house, lot))
    return {
        "place": place["id"],
        "name": place["name"],
        "number": None,
        "says": [_thing(finding, place["name"]) for finding in own],
        "lots": [_line(house, lot) for lot in lots],
    }


def _open(house: Row, lot: Row) -> list[Row]:
    """Return a lot's findings that nobody has left until later."""
    return not_left(house["findings"].get(f"lot:{lot['id']}", []))


def _told(findings: list[Row]) -> list[Row]:
    """Return what is said of these findings, the gravest first."""
    told = [one for one in not_left(findings) if not one["hidden_by"]]
    return sorted(told, key=lambda one: (-WEIGHT[one["level"]], one["priority"], one["since"]))


def _line(house: Row, lot: Row) -> Row:
    notices = house["notices"].get(lot["id"], [])
    todo = [_thing(finding, lot["label"]) for finding in _told(_open(house, lot))]
    todo += [{"level": None, "says": one["says"], "next_action": "", "by": None} for one in notices]
    return {
        "lot": lot["id"],
        "label": lot["label"],
        "crop": _crop_name(house, lot),
        "level": todo[0]["level"] if todo else None,
        "todo": todo,
        "counts": lot["stage"] in COUNTED,
    }


def _crop_name(house: Row, lot: Row) -> str:
    name: str = (house["crops"].get(lot["crop"]) or {}).get("botanical") or lot["crop"]
    return name


def _thing(finding: Row, name: str | None) -> Row:
    return {
        "level": finding["level"],
        "says": _without_name(finding["says"], name),
        "next_action": finding["next_action"],
        "by": finding.get("acknowledged_by"),
        "by_said": finding.get("acknowledged_by_said") is True,
    }


def _without_name(says: str, name: str | None) -> str:
    """Return a sentence without the name that stands before its colon, where that is this one."""
    first, colon, rest = says.partition(": ")
    return rest if colon and name and first.startswith(name) else says


def _alarms(house: Row) -> list[Row]:
    """Return every alarm of the nursery in a sentence of its own, the gravest first."""
    found = [one for findings in house["findings"].values() for one in findings]
    places = {place["id"]: place["name"] for place in house["places"]}
    return [
        {**_thing(one, None), "lot": one["lot"], "place": places.get(one["place"])}
        for one in _told(found)
        if one["level"] == "alarm"
    ]


def _running(house: Row, offsets: Offsets) -> list[Row]:
    """Return the soaks, dips and drained seed, what ends first first."""
    places = {place["id"]: place["name"] for place in house["places"]}
    found = []
    for lot in house["lots"]:
        row = bench_row(lot, house["crops"].get(lot["crop"]))
        if row and row["kind"] in SHORT:
            found.append((row["target_at"], lot["label"], lot["id"], lot, row))
    found.sort(key=lambda one: one[:3])
    return [
        {
            "lot": lot["id"],
            "label": lot["label"],
            "crop": _crop_name(house, lot),
            "place": places.get(lot["place"]),
            "kind": row["kind"],
            "since": _moment(row["started_at"], offsets),
            "until": _moment(row["target_at"], offsets),
        }
        for *_, lot, row in found
    ]


def _moment(instant: str, offsets: Offsets) -> Row:
    at = to_ms(instant)
    return {"day": local_date(at, offsets), "time": local_time(at, offsets)}


def _bounded(stops: list[Row]) -> int:
    """Cut the list where it grows beyond a walk; return how many lots are left out."""
    room, left = LOTS_MAX, 0
    for stop in stops:
        left += max(0, len(stop["lots"]) - room)
        stop["lots"] = stop["lots"][:room]
        room -= len(stop["lots"])
    return left
