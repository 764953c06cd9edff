"""The morning list as plain text, with boxes to tick and blanks to fill in by hand.

Its twin is `core/morning_text.js`.
"""

from typing import Any

Row = dict[str, Any]
Words = dict[str, str]


def text(found: Row, words: Words, people: dict[str, str]) -> str:
    """Return the list as plain text, with boxes to tick and blanks to fill in by hand.

    Args:
        found: what `domain.morning.morning` returned.
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
    if found["running"]:
        lines += [words["running"]]
        lines += [f"[ ] {running_line(one, words, found['day'])}" for one in found["running"]]
        lines += [filled(words["more"], n=found["running_left"])] if found["running_left"] else []
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


def running_line(step: Row, words: Words, day: str) -> str:
    """Return a running step in one line: "26-033-H Magnolia kobus: drained since 07:00, …"."""
    times = {name: _moment(step[name], words, day) for name in ("since", "until")}
    where = f" ({step['place']})" if step["place"] else ""
    said = filled(words[f"run_{step['kind']}"], **times)
    return f"{step['label']} {step['crop']}: {said}{where}"


def _moment(at: Row, words: Words, day: str) -> str:
    """Return "07:00", with its day where that is not the sheet's: "07:00 on 9 September"."""
    if at["day"] == day:
        return str(at["time"])
    _, month, number = at["day"].split("-")
    name = words[f"month_{int(month)}"]
    return filled(words["on_day"], time=at["time"], day=int(number), month=name)


def sentence(thing: Row, words: Words, people: dict[str, str]) -> str:
    """Return what is wrong, what to do and who has it, in one line."""
    line = f"{thing['says']}. {thing['next_action']}." if thing["next_action"] else thing["says"]
    level = words[f"level_{thing['level']}"] if thing["level"] else ""
    having = words["had_by_said" if thing.get("by_said") else "had_by"]
    had = filled(having, who=people.get(thing["by"]) or "?") if thing["by"] else ""
    return f"{level}: {line}{had}" if level else f"{line}{had}"


def filled(sentence: str, **gaps: Any) -> str:
    """Return a sentence with its gaps, such as {n}, filled in."""
    for name, value in gaps.items():
        sentence = sentence.replace(f"{{{name}}}", str(value))
    return sentence
