"""What a reading or a forecast leaves on the row of a place or of the nursery. Pure.

Runs have two limits, one to begin and one to end, so that nothing chatters around one figure.
"""

from typing import Any

from lathhouse.domain.heat import heat_index_f, to_f
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.rule_terms import is_number, round_half_up

Row = dict[str, Any]

FORECASTS = {"forecast_low_c": "low", "forecast_high_c": "high"}
FORECAST_KEPT_DAYS = 3
# A forecast for a day further ahead is a slip. A file's 31 days begin with the local day, which may
# be the next one in UTC.
FORECAST_AHEAD_DAYS = 31
# A low and a high for each of those days. Ours.
FORECASTS_MAX = 2 * (FORECAST_KEPT_DAYS + 1 + FORECAST_AHEAD_DAYS)
# A cold run is one of readings up to 3 °C: it goes on until one is above. The limit that rings (2
# °C) must not be set higher. Ours.
NEAR_FROST_C = 3.0
# A warm run goes on down to 1 °C below the 15.6 °C (60 °F) at which a cover must come off. Ours.
WARM_C = 14.6
# The heat index rings at 91 °F; the run goes on down to 89 °F. Ours.
HOT_F = 89.0
# Temperature and humidity make a heat index together if read within the hour. Ours.
PAIR_MS = 60 * MINUTE_MS
# A reading tells of the hours after it, not of the next day. Ours.
READING_STANDS_MS = 3 * HOUR_MS


def with_weather(row: Row, at: str, by: str | None, data: dict[str, Any]) -> Row:
    """Return a row after a `read`, its `last_read` being brought up to date already."""
    kind, value = data["quantity_kind"], data["value"]
    if kind in FORECASTS:
        return {**row, "forecasts": _forecasts(row, at, by, data)}
    if row.get("kind") == "chamber" or kind not in ("temp_c", "humidity_percent"):
        return row
    row = {**row, "heat": _heat(row)}
    if kind != "temp_c":
        return row
    cold = _run(_still(row.get("cold"), at), at, value, value <= NEAR_FROST_C, min)
    return {**row, "cold": cold, "warm": _run(row.get("warm"), at, value, value >= WARM_C, max)}


def _forecasts(row: Row, at: str, by: str | None, data: dict[str, Any]) -> list[Row]:
    """Keep the newest figure of each night and day, of the last days and those ahead."""
    which = FORECASTS[data["quantity_kind"]]
    day = data.get("for_night_of") or data.get("for_day")
    new = {"which": which, "day": day if isinstance(day, str) else None, "value": data["value"]}
    new |= {"at": at, "by": by, "sensor": data.get("by_sensor")}
    oldest = to_text(to_ms(at) - FORECAST_KEPT_DAYS * DAY_MS)
    newest = to_text(to_ms(at) + FORECAST_AHEAD_DAYS * DAY_MS)
    if not oldest[:10] <= (new["day"] or at) <= newest:
        return list(row.get("forecasts") or [])
    kept = [
        one
        for one in row.get("forecasts") or []
        if (one["day"] or one["at"]) >= oldest[:10]
        and (one["which"] != which or one["day"] is None or one["day"] != new["day"])
    ]
    return _nearest([*kept, new], at)


def _nearest(forecasts: list[Row], at: str) -> list[Row]:
    """Leave out, where one is too many, the furthest day ahead: tonight's low is never it.

    Where no day is ahead there are many without a date, and the oldest of them goes.
    """
    if len(forecasts) <= FORECASTS_MAX:
        return forecasts
    tomorrow = to_text(to_ms(at) + DAY_MS)
    ahead = [one for one in forecasts if (one["day"] or "") > tomorrow]
    undated = [one for one in forecasts if one["day"] is None]
    gone = max(ahead, key=lambda one: str(one["day"])) if ahead else [*undated, *forecasts][0]
    return [one for one in forecasts if one is not gone]


def _still(run: Row | None, at: str) -> Row | None:
    """Return a run that a reading goes on with: none that ended as its last reading told no more.

    Or yesterday's frost would ring again at a morning that is only near it.
    """
    return run if run and to_ms(at) - to_ms(run["at"]) <= READING_STANDS_MS else None


def _run(run: Row | None, at: str, value: float, goes_on: bool, worse: Any) -> Row | None:
    if not goes_on:
        return None
    if not run:
        return {"since": at, "at": at, "temp_c": value, "peak_c": value}
    return {"since": run["since"], "at": at, "temp_c": value, "peak_c": worse(run["peak_c"], value)}


def _heat(row: Row) -> Row | None:
    """Return the run of hot air, from the last temperature and humidity that were read together."""
    read = row.get("last_read") or {}
    pair: list[Any] = [read.get(name) for name in ("temp_c", "humidity_percent")]
    if not all(pair):
        return None
    times = [to_ms(one["at"]) for one in pair]
    run: Row | None = row.get("heat")
    if abs(times[0] - times[1]) > PAIR_MS:
        return run
    if not all(is_number(one["value"]) for one in pair):
        return run
    index = round_half_up(heat_index_f(to_f(pair[0]["value"]), pair[1]["value"]) * 10) / 10
    if index < HOT_F:
        return None
    at = max(one["at"] for one in pair)
    run = _still(run, at)
    since = run["since"] if run else at
    return {"since": since, "at": at, "index_f": index, "peak_f": max(index, run["peak_f"]) if run
            else index}  # fmt: skip
