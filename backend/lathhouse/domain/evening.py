"""The night to come, on paper: its figure, what stands open, what is covered. No clock in it.

Its twin is `core/evening.js`.
"""

from typing import Any

from lathhouse.domain.instants import HOUR_MS, day_before, local_date, to_ms, to_text
from lathhouse.domain.nights import night_range
from lathhouse.domain.tender import NOWHERE, open_stock, tender_outdoors, thin_covers, walking_order
from lathhouse.domain.weather_facts import cover_facts, forecast_day, frost_c_of, night_times

Data = dict[str, Any]
NAMED_MAX = 20
# A list made so long before sunrise is for the coming night: it is walked by daylight. Ours.
ENDING_MS = 2 * HOUR_MS


def evening(nursery: Data, stock: Data, now: str) -> Data | None:
    """Return what the list on paper says of the night, or None where there is nothing to say.

    {of, sunset_at, is_set, low_c, told_at, range_low_c, range_high_c, last, tender_lots, open_lots,
    places, covered, thin}: `is_set` where the sun is down already; figures are None where none is
    known for that night, `last` is that of a night before; `places` are {place, name} of those to
    cover, none on a night that is milder than frost; `covered` are {place, name, since, until,
    off_from} in walking order, `thin` {place, name, for_low_c} of those whose cover was put on for
    a milder night. The place of lots without one is `""`, the last of the walk.
    Shortly before sunrise it is the coming night, but where the figure of the one under way still
    asks for something to be covered.
    """
    day = night_day(nursery, now)
    soon = night_day(nursery, to_text(to_ms(now) + ENDING_MS))
    found = _night(nursery, stock, now, day)
    if soon == day or (
        found and found["low_c"] is not None and (found["open_lots"] or found["thin"])
    ):
        return found
    return _night(nursery, stock, now, soon)


def _night(nursery: Data, stock: Data, now: str, day: str) -> Data | None:
    sunset_at = night_times(nursery, day)["sunset_at"]
    told = figures_of(nursery, day, now)
    figure, last = told["figure"], told["last"]
    low = figure["value"] if figure else None
    covered = _covered(stock, now)
    tender = tender_outdoors(stock, now)
    if not (figure or tender or covered):
        return None
    open_ = open_stock(stock["entries"], stock["places"], sunset_at, None)
    is_frost = low is None or low <= frost_c_of(stock.get("home") or {})
    asked = open_["place_ids"] if is_frost else []
    spread = night_range(low) if low is not None else {"low_c": None, "high_c": None}
    return {
        "of": day,
        "sunset_at": sunset_at,
        "is_set": sunset_at <= now,
        "low_c": low,
        "told_at": figure["at"] if figure else None,
        "range_low_c": spread["low_c"],
        "range_high_c": spread["high_c"],
        "last": {name: last[name] for name in ("value", "at")} if last else None,
        "tender_lots": tender,
        "open_lots": open_["lots"] if asked else 0,
        "places": [_named(stock["places"], place) for place in asked[:NAMED_MAX]],
        "covered": covered,
        "thin": _thin(stock, sunset_at, low) if is_frost else [],
    }


def figures_of(nursery: Data, day: str, now: str) -> Data:
    """Return {figure, last}: the low of the night of a date, and of the latest night before it.

    Each is the forecast as it was told last, or None. What was told of a night to come is never
    the last: it would pass for tonight's.
    """
    offsets = nursery.get("offsets") or []
    lows = [one for one in nursery.get("forecasts") or [] if one["which"] == "low"]
    dated = [(forecast_day(one, offsets) or "", one) for one in lows][::-1]
    before = [(of, one) for of, one in dated if "" < of < day and one["at"] <= now]
    return {
        "figure": next((one for of, one in dated if of == day), None),
        "last": max(before, key=lambda told: told[0], default=("", None))[1],
    }


def night_day(nursery: Data, now: str) -> str:
    """Return the date whose evening begins the night that is under way, or else the coming one."""
    today = local_date(to_ms(now), nursery.get("offsets") or [])
    before = day_before(today)
    return before if night_times(nursery, before)["ends_at"] > now else today


def _covered(stock: Data, now: str) -> list[Data]:
    found = []
    for name in walking_order({*stock["places"], NOWHERE}, stock["places"]):
        entries = [entry for entry in stock["entries"] if (entry["place"] or NOWHERE) == name]
        cover = cover_facts(stock["places"].get(name) or {}, {**stock, "entries": entries})
        if cover:
            spans = (one for one in cover["mornings"] if (one["ends_at"] or "9") > now)
            off_from = next((one["begins_at"] for one in spans if one["begins_at"]), None)
            told = {"since": cover["at"], "until": cover["until"], "off_from": off_from}
            found.append({**_named(stock["places"], name), **told})
    return found[:NAMED_MAX]


def _thin(stock: Data, at: str, low_c: float | None) -> list[Data]:
    found = []
    for place in walking_order({*stock["places"], NOWHERE}, stock["places"]):
        meant = [one["for_low_c"] for one in thin_covers(stock, place, at, low_c)]
        named = _named(stock["places"], place)
        found += [{**named, "for_low_c": max(meant)}] if meant else []
    return found[:NAMED_MAX]


def _named(places: dict[str, Data], place: str) -> Data:
    return {"place": place, "name": str((places.get(place) or {}).get("name") or "?")}
