"""The morning list: what waits in each place today, in walking order, for a sheet of paper.

It says what the round on the phone says, so that a day without a phone is the same walk. Its twin
is `core/morning.js`; both also write it as plain text, to send or to keep.
"""

from typing import Any

from lathhouse.domain.facts import is_live
from lathhouse.domain.instants import Offsets, local_date, to_ms, weekday

Row = dict[str, Any]
Words = dict[str, str]

WEIGHT = {"due": 1, "late": 2, "alarm": 3}
# Lots that stand nowhere on record are walked last.
LOOSE = "-"
NO_ORDER = 10**9
# More than a person walks in a morning; beyond it the list says how many are left out.
LOTS_MAX, ALARMS_MAX = 400, 20
COUNTED = ("cold", "sown", "emerging")


def morning(house: Row, now: str) -> Row:
    """Return what is to be seen today.

    {nursery, day, weekday, made_at, alarms, alarms_left, stops, nothing_due, lots_left}; each stop
    is {place, name, number, says, lots}, each lot {lot, label, crop, level, todo, counts}, and each
    thing to do {level, says, next_action, by}.

    Args:
        house: {nursery, places, lots, crops, findings, notices}: rows; crops by id; findings by
            `kind:id` and notices by lot id, as the watches gave them.
        now: canonical text.
    """
    nursery = house["nursery"]
    offsets = nursery["offsets"]
    day = local_date(to_ms(now), offsets)
    stops = [_stop(house, place, held, offsets, day) for place, held in _path(house)]
    walked = [stop for stop in stops if stop["lots"] or stop["says"]]
    for number, stop in enumerate(walked, start=1):
        stop["number"] = number
    left = _bounded(walked)
    alarms = _alarms(house)
    return {
        "nursery": nursery.get("name") or "",
        "day": day,
        "weekday": weekday(day),
        "made_at": now,
        "alarms": alarms[:ALARMS_MAX],
        "alarms_left": max(0, len(alarms) - ALARMS_MAX),
        "stops": walked,
        "nothing_due": [stop["name"] for stop in stops if stop["number"] is None and stop["name"]],
        "lots_left": left,
    }


def _path(house: Row) -> list[tuple[Row, list[Row]]]:
    """Return (place, live lots in it) in walking order; loose lots come last."""
    places = sorted(house["places"], key=_walking_order)
    by_place: dict[str, list[Row]] = {place["id"]: [] for place in places}
    loose: list[Row] = []
    for lot in house["lots"]:
        if is_live(lot):
            by_place.get(lot["place"] or LOOSE, loose).append(lot)
    found = [(place, by_place[place["id"]]) for place in places]
    return [*found, ({"id": LOOSE, "name": None, "daily": False}, loose)] if loose else found


def _walking_order(place: Row) -> tuple[float, str, str]:
    order = place.get("order")
    return NO_ORDER if order is None else order, place.get("name") or "", place["id"]


def _stop(house: Row, place: Row, held: list[Row], offsets: Offsets, day: str) -> Row:
    own = _told(house["findings"].get(f"place:{place['id']}", []))
    lots = [lot for lot in held if _is_to_see(house, place, lot, offsets, day)]
    lots.sort(key=lambda lot: (-_weight(house, lot), lot["label"], lot["id"]))
    return {
        "place": place["id"],
        "name": place["name"],
        "number": None,
        "says": [_thing(finding, place["name"]) for finding in own],
        "lots": [_line(house, lot) for lot in lots],
    }


def _is_to_see(house: Row, place: Row, lot: Row, offsets: Offsets, day: str) -> bool:
    """Say whether a lot is on today's walk: the rule of the round on the phone."""
    found = _open(house, lot)
    seen = lot["seen_at"]
    seen_today = seen is not None and local_date(to_ms(seen), offsets) == day
    if seen_today and not any(finding["level"] == "alarm" for finding in found):
        return False
    return place.get("daily") is True or bool(found) or bool(house["notices"].get(lot["id"]))


def _open(house: Row, lot: Row) -> list[Row]:
    """Return a lot's findings that nobody has left until later."""
    found: list[Row] = house["findings"].get(f"lot:{lot['id']}", [])
    return [finding for finding in found if finding["state"] != "shelved"]


def _weight(house: Row, lot: Row) -> int:
    return max((WEIGHT[finding["level"]] for finding in _open(house, lot)), default=0)


def _told(findings: list[Row]) -> list[Row]:
    """Return what is said of these findings, the gravest first."""
    told = [one for one in findings if one["state"] != "shelved" and not one["hidden_by"]]
    return sorted(told, key=lambda one: (-WEIGHT[one["level"]], one["priority"], one["since"]))


def _line(house: Row, lot: Row) -> Row:
    crop = house["crops"].get(lot["crop"]) or {}
    notices = house["notices"].get(lot["id"], [])
    todo = [_thing(finding, lot["label"]) for finding in _told(_open(house, lot))]
    todo += [{"level": None, "says": one["says"], "next_action": "", "by": None} for one in notices]
    return {
        "lot": lot["id"],
        "label": lot["label"],
        "crop": crop.get("botanical") or lot["crop"],
        "level": todo[0]["level"] if todo else None,
        "todo": todo,
        "counts": lot["stage"] in COUNTED,
    }


def _thing(finding: Row, name: str | None) -> Row:
    return {
        "level": finding["level"],
        "says": _without_name(finding["says"], name),
        "next_action": finding["next_action"],
        "by": finding.get("acknowledged_by"),
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


def _bounded(stops: list[Row]) -> int:
    """Cut the list where it grows beyond a walk; return how many lots are left out."""
    room, left = LOTS_MAX, 0
    for stop in stops:
        left += max(0, len(stop["lots"]) - room)
        stop["lots"] = stop["lots"][:room]
        room -= len(stop["lots"])
    return left


def text(found: Row, words: Words, people: dict[str, str]) -> str:
    """Return the list as plain text, with boxes to tick and blanks to fill in by hand.

    Args:
        found: what `morning` returned.
        words: the sentences, as `domain.morning_words` holds them.
        people: names by id, for who has taken an alarm on.
    """
    lines = [title(found, words), words["walker"], words["legend"], ""]
    if found["alarms"]:
        lines += [
            words["alarms"],
            *(f"! {alarm_line(one, words, people)}" for one in found["alarms"]),
        ]
        lines += [filled(words["more"], n=found["alarms_left"])] if found["alarms_left"] else []
        lines += [""]
    for stop in found["stops"]:
        lines += [*_stop_lines(stop, words, people), ""]
    if not found["stops"]:
        lines += [words["none"], ""]
    if found["lots_left"]:
        lines += [filled(words["more"], n=found["lots_left"]), ""]
    if found["nothing_due"]:
        lines += [filled(words["nothing_in"], places=", ".join(found["nothing_due"])), ""]
    return "\n".join([*lines, words["notes"], ""])


def title(found: Row, words: Words) -> str:
    """Return "Quillstone Nursery: morning sheet, Thursday 10 September 2026"."""
    name = found["nursery"] or words["no_name"]
    return filled(words["title"], nursery=name, date=long_date(found, words))


def long_date(found: Row, words: Words) -> str:
    """Return "Thursday 10 September 2026"."""
    year, month, day = found["day"].split("-")
    named = {"weekday": words[f"day_{found['weekday']}"], "month": words[f"month_{int(month)}"]}
    return filled(words["date"], day=int(day), year=year, **named)


def _stop_lines(stop: Row, words: Words, people: dict[str, str]) -> list[str]:
    name = stop["name"] or words["loose"]
    lines = [filled(words["place"], n=stop["number"], place=name)]
    lines += [f"  ! {sentence(one, words, people)}" for one in stop["says"]]
    for lot in stop["lots"]:
        lines.append(f"[ ] {lot['label']} {lot['crop']}")
        lines += [f"    {sentence(one, words, people)}" for one in lot["todo"]]
        lines += [] if lot["todo"] else [f"    {words['look']}"]
        lines.append(f"    {words['count_blanks' if lot['counts'] else 'blanks']}")
    return lines


def alarm_line(alarm: Row, words: Words, people: dict[str, str]) -> str:
    """Return an alarm in one line, with the place where its lot stands."""
    where = f" ({alarm['place']})" if alarm["lot"] and alarm["place"] else ""
    return f"{sentence(alarm, words, people)}{where}"


def sentence(thing: Row, words: Words, people: dict[str, str]) -> str:
    """Return what is wrong, what to do and who has it, in one line."""
    line = f"{thing['says']}. {thing['next_action']}." if thing["next_action"] else thing["says"]
    level = words[f"level_{thing['level']}"] if thing["level"] else ""
    had = filled(words["had_by"], who=people.get(thing["by"]) or "?") if thing["by"] else ""
    return f"{level}: {line}{had}" if level else f"{line}{had}"


def filled(sentence: str, **gaps: Any) -> str:
    """Return a sentence with its gaps, such as {n}, filled in."""
    for name, value in gaps.items():
        sentence = sentence.replace(f"{{{name}}}", str(value))
    return sentence
