"""The morning list: what waits in each place today, in walking order, for a sheet of paper.

It says what the round on the phone says, so that a day without a phone is the same walk. Its twin
is `core/morning.js`; `morning_text.py` writes it as plain text, to send or to keep.
"""

from typing import Any

from lathhouse.domain.bench import SHORT, bench_row
from lathhouse.domain.evening import evening
from lathhouse.domain.grouping import group
from lathhouse.domain.instants import Offsets, local_date, local_time, next_day, to_ms, weekday
from lathhouse.domain.walk import WEIGHT, in_order, is_to_see, not_left, path
from lathhouse.domain.weather_facts import NO_STOCK

Row = dict[str, Any]

# More than a person walks in a morning; beyond it the list says how many are left out.
LOTS_MAX, ALARMS_MAX, RUNNING_MAX = 400, 20, 40
# What is no place's and no lot's, and what somebody left until later. Ours.
WIDE_MAX, SHELVED_MAX = 20, 20
WIDE = ("nursery", "phone", "solution")
COUNTED = ("cold", "sown", "emerging")


def morning(house: Row, now: str) -> Row:
    """Return what is to be seen today.

    {nursery, day, weekday, made_at, made, alarms, alarms_left, running, running_left, wide,
    evening, stops, nothing_due, lots_left, shelved, shelved_left}; each stop is {place, name,
    number, says, lots}, its number that of the round, each lot {lot, label, crop, level, todo,
    counts}, each thing to do {level, says, next_action, by}, each running step {lot, label, crop,
    place, kind, since, until}, and what was left until later {says, more, until, why}; times are
    {day, time} of the nursery. `wide` is what is due of the nursery, its phones and its buckets;
    `evening` is None or {low_c, told, range_low_c, range_high_c, last, sunset, is_set, lots,
    places, thin, covered}, `comes_off` saying of each cover whether it is asked for by the morning
    after the list's day.

    Args:
        house: {nursery, places, lots, crops, findings, notices, stock}: rows; crops by id; findings
            by `kind:id` and notices by lot id, as the watches gave them; what frost asks of the
            lots (`weather_facts.py`), which may be missing.
        now: canonical text.
    """
    nursery = house["nursery"]
    offsets = nursery["offsets"]
    day = local_date(to_ms(now), offsets)
    way = path(house["places"], house["lots"])
    stops = [_stop(house, place, held, offsets, day) for place, held in way]
    for number, stop in enumerate(stops, start=1):
        stop["number"] = number
    walked = [stop for stop in stops if stop["lots"] or stop["says"]]
    rest = [stop for stop in stops if not (stop["lots"] or stop["says"]) and stop["name"]]
    left = _bounded(walked)
    alarms, running, shelved = _alarms(house), _running(house, offsets), _shelved(house, offsets)
    return {
        "nursery": nursery.get("name") or "",
        "day": day,
        "weekday": weekday(day),
        "made_at": now,
        "made": _moment(now, offsets),
        "alarms": alarms[:ALARMS_MAX],
        "alarms_left": max(0, len(alarms) - ALARMS_MAX),
        "running": running[:RUNNING_MAX],
        "running_left": max(0, len(running) - RUNNING_MAX),
        "wide": _wide(house)[:WIDE_MAX],
        "evening": _evening(house, now, day),
        "stops": walked,
        "nothing_due": [f"{stop['number']}. {stop['name']}" for stop in rest],
        "lots_left": left,
        "shelved": shelved[:SHELVED_MAX],
        "shelved_left": max(0, len(shelved) - SHELVED_MAX),
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


def _wide(house: Row) -> list[Row]:
    """Return what is due of the nursery as a whole, of its phones and its buckets; no alarms."""
    found = [one for key, held in house["findings"].items() if key.split(":")[0] in WIDE
             for one in held]  # fmt: skip
    return [_thing(one, None) for one in _told(found) if one["level"] != "alarm"]


def _shelved(house: Row, offsets: Offsets) -> list[Row]:
    """Return what somebody left until later, a line for each entry, the next first."""
    groups = group([one for findings in house["findings"].values() for one in findings])
    left = [one for one in groups if one["state"] == "shelved"]
    found = [
        {
            "says": one["findings"][0]["says"],
            "more": len(one["findings"]) + len(one["folded"]) - 1,
            "until": min(held["shelved_until"] for held in one["findings"]),
            "why": one["findings"][0].get("shelved_why"),
        }
        for one in left
    ]
    found.sort(key=lambda one: (one["until"], one["says"]))
    return [{**one, "until": _moment(one["until"], offsets)} for one in found]


def _evening(house: Row, now: str, day: str) -> Row | None:
    """Return the night to come, its times as the nursery has them."""
    found = evening(house["nursery"], house.get("stock") or NO_STOCK, now)
    if found is None:
        return None
    offsets = house["nursery"]["offsets"]

    def moment(instant: str | None) -> Row | None:
        return _moment(instant, offsets) if instant else None

    last, figures = found["last"], ("low_c", "range_low_c", "range_high_c")
    return {
        **{name: found[name] for name in figures},
        "told": moment(found["told_at"]),
        "last": {"low_c": last["value"], "told": moment(last["at"])} if last else None,
        "sunset": moment(found["sunset_at"]),
        "is_set": found["is_set"],
        "lots": found["open_lots"],
        "thin": found["thin"],
        "places": found["places"],
        "covered": [
            {
                **{name: one[name] for name in ("place", "name")},
                "since": moment(one["since"]),
                "until": off if one["until"] else None,
                "off_from": off,
                # What stays on for longer has no box on this list.
                "comes_off": off is not None and off["day"] <= next_day(day),
            }
            for one in found["covered"]
            for off in [moment(one["off_from"])]
        ],
    }


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
