"""A weather forecast in this house's own plain form, as JSON or as CSV.

    {"forecast": [{"date": "2026-09-10", "low_c": 2.0, "high_c": 17.5}]}

    date,low_c,high_c
    2026-09-10,2.0,17.5

`low_c` is the low of the night that begins on the evening of that local date, `high_c` the high of
that day, both in °C; either may be missing. Nothing else in the file is read.
"""

import json
import re
from datetime import date
from typing import Any

from lathhouse.domain.amounts import number
from lathhouse.domain.mixing_words import sentence

Data = dict[str, Any]

# A month of days, and more text than that ever takes.
ROWS_MAX = 31
TEXT_MAX = 65_536
TEMP_C_LIMIT = 60.0
KINDS = {"low_c": "forecast_low_c", "high_c": "forecast_high_c"}
DAY_OF = {"low_c": "for_night_of", "high_c": "for_day"}
FIGURE = re.compile(r"[+-]?\d{1,3}(\.\d{1,6})?", re.ASCII)
DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def read_forecast(text: str) -> Data:
    """Return {readings, problems}: the data of a `read` each, and a sentence for each bad row.

    A row with a problem gives no reading; the others do.
    """
    if len(text) > TEXT_MAX:
        return {"readings": [], "problems": [_problem("forecast_long", most=str(TEXT_MAX))]}
    plain = text.removeprefix("\ufeff").strip()
    rows = _json_rows(plain) if plain.startswith("{") else _csv_rows(plain)
    if rows is None:
        return {"readings": [], "problems": [_problem("forecast_form")]}
    if len(rows) > ROWS_MAX:
        return {"readings": [], "problems": [_problem("forecast_rows", most=str(ROWS_MAX))]}
    readings: list[Data] = []
    problems: list[Data] = []
    for row, given in enumerate(rows, 1):
        found = _readings_of(given)
        if found is None:
            problems.append(_problem("forecast_row", row=str(row)))
        else:
            readings += found
    if not readings and not problems:
        problems.append(_problem("forecast_form"))
    return {"readings": readings, "problems": problems}


def _problem(key: str, **values: str) -> Data:
    return sentence(key, **values)


def _json_rows(text: str) -> list[Any] | None:
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        return None
    rows = given.get("forecast") if isinstance(given, dict) else None
    return rows if isinstance(rows, list) else None


def _csv_rows(text: str) -> list[Any] | None:
    lines = [line.strip() for line in re.split(r"\r\n|\n|\r", text) if line.strip()]
    names = [name.strip() for name in lines[0].split(",")] if lines else []
    if "date" not in names or not KINDS.keys() & set(names):
        return None
    rows: list[Any] = []
    for line in lines[1:]:
        cells = [cell.strip() for cell in line.split(",")]
        row = dict(zip(names, cells, strict=False))
        whole = len(cells) == len(names)
        rows.append({**row, **{name: _figure(row[name]) for name in KINDS if name in row}}
                    if whole else None)  # fmt: skip
    return rows


def _figure(cell: str) -> Any:
    return None if cell == "" else float(cell) if FIGURE.fullmatch(cell) else cell


def _readings_of(given: Any) -> list[Data] | None:
    day = given.get("date") if isinstance(given, dict) else None
    if not isinstance(day, str) or not _is_day(day):
        return None
    found = []
    for name, kind in KINDS.items():
        value = given.get(name)
        if value is None:
            continue
        figure = number(value)
        if figure is None or abs(figure) > TEMP_C_LIMIT:
            return None
        found.append({"quantity_kind": kind, "value": value, DAY_OF[name]: day})
    return found or None


def _is_day(text: str) -> bool:
    try:
        return DAY.fullmatch(text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        return False
