"""The morning list as plain text, with boxes to tick and blanks to fill in by hand.

Its twin is `core/morning_text.js`.
"""

from typing import Any

from lathhouse.domain.rule_terms import round_half_up

Row = dict[str, Any]
Words = dict[str, str]


def text(found: Row, words: Words, people: dict[str, str]) -> str:
    """Return the list as plain text, with boxes to tick and blanks to fill in by hand.

    Args:
        found: what `domain.morning.morning` returned.
        words: the sentences, as `domain.morning_words` holds them.
        people: names by id, for who has taken an alarm on.
    """
    made = filled(words["made"], time=found["made"]["time"])
    lines = [title(found, words), made, words["walker"], words["legend"], ""]
    if found["alarms"]:
        lines += [
            words["alarms"],
            *(f"! {alarm_line(one, words, people)}" for one in found["alarms"]),
        ]
        lines += [filled(words["more"], n=found["alarms_left"])] if found["alarms_left"] else []
        lines += [""]
    if found["running"]:
        lines += [words["running"]]
        lines += [
            f"[ ] {running_line(one, words, found['day'])}    {running_blank(one, words)}"
            for one in found["running"]
        ]
        lines += [filled(words["more"], n=found["running_left"])] if found["running_left"] else []
        lines += [""]
    for head, told in above(found, words, people):
        lines += [words[head], *told, ""]
    for stop in found["stops"]:
        lines += [*_stop_lines(stop, words, people), ""]
    if not found["stops"]:
        lines += [words["none"], ""]
    if found["lots_left"]:
        lines += [filled(words["more"], n=found["lots_left"]), ""]
    if found["nothing_due"]:
        lines += [filled(words["nothing_in"], places=", ".join(found["nothing_due"])), ""]
    for head, told in below(found, words):
        lines += [words[head], *told, ""]
    return "\n".join([*lines, words["notes"], ""])


def above(found: Row, words: Words, people: dict[str, str]) -> list[tuple[str, list[str]]]:
    """Return (the key of its heading, its lines) of each part that stands above the places."""
    wide = [f"- {sentence(one, words, people)}" for one in found["wide"]]
    parts = [("wide", wide), ("evening", _evening_lines(found["evening"], words, found["day"]))]
    return [part for part in parts if part[1]]


def below(found: Row, words: Words) -> list[tuple[str, list[str]]]:
    """Return the same of what stands below them: what somebody left until later."""
    lines = []
    for one in found["shelved"]:
        more = filled(words["left_more"], n=one["more"]) if one["more"] else ""
        why = f" ({one['why']})" if one["why"] else ""
        until = _moment(one["until"], words, found["day"])
        lines.append(f"- {filled(words['left_line'], until=until, what=one['says'])}{more}{why}")
    lines += [filled(words["more"], n=found["shelved_left"])] if found["shelved_left"] else []
    return [("left", lines)] if lines else []


def _evening_lines(evening: Row | None, words: Words, day: str) -> list[str]:
    if evening is None:
        return []
    lines = [f"- {_figure_line(evening, words, day)}"]
    if evening["lots"]:
        at = _moment(evening["sunset"], words, day)
        key = "cover_now" if evening["is_set"] else "to_cover"
        lines.append(f"- {filled(words[key], n=evening['lots'], sunset=at)}")
        lines += [_box(_place_name(one, words), words) for one in evening["places"]]
    for one in evening["thin"]:
        lines.append(_box(_thin_line(evening, one, words, day), words))
    for one in evening["covered"]:
        kept = one["until"] or one["off_from"]
        key = "covered_until" if one["until"] else "covered" if kept else "covered_on"
        times = {"since": _moment(one["since"], words, day)}
        times |= {"at": _moment(kept, words, day)} if kept else {}
        said = filled(words[key], **times, place=_place_name(one, words))
        lines.append(_box(said, words) if one["comes_off"] else f"- {said}")
    return lines


def _box(said: str, words: Words) -> str:
    """Return a line with a box to tick and a blank for when."""
    return f"[ ] {said}    {words['at']}"


def _thin_line(evening: Row, thin: Row, words: Words, day: str) -> str:
    figures = {"meant": _degrees(thin["for_low_c"]), "low_c": _degrees(evening["low_c"])}
    sunset = _moment(evening["sunset"], words, day)
    key = "thin_now" if evening["is_set"] else "thin"
    return filled(words[key], **figures, sunset=sunset, place=_place_name(thin, words))


def _place_name(one: Row, words: Words) -> str:
    return str(one["name"]) if one["place"] else words["loose"]


def _figure_line(evening: Row, words: Words, day: str) -> str:
    if evening["low_c"] is not None:
        figures = {name: _degrees(evening[name]) for name in ("low_c", "range_low_c")}
        told = _moment(evening["told"], words, day)
        return filled(words["tonight"], **figures, told=told)
    last = evening["last"]
    if last is None:
        return words["no_figure"]
    told = _moment(last["told"], words, day)
    return filled(words["no_figure_last"], low_c=_degrees(last["low_c"]), told=told)


def _degrees(value: float) -> str:
    """Return a figure to a tenth, with a minus that is read as one."""
    tenths = round_half_up(value * 10) / 10
    return str(int(tenths) if tenths == int(tenths) else tenths).replace("-", "−")


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


def running_blank(step: Row, words: Words) -> str:
    """Return the blank of a running step; drained seed goes on to one thing or another."""
    return words["onward_at" if step["kind"] == "drained" else "at"]


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
