"""Random days of weather: frost forecast, cold and hot readings, covers put on and left on."""

import random
from typing import Any

from lathhouse.domain import rows
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, local_date, to_text
from tests.parity.logs import START

Row = dict[str, Any]
History = list[tuple[int, Row]]

OFFSETS = [["2025-07-01T00:00:00.000Z", 600], ["2025-10-04T16:00:00.000Z", 660]]
FOREVER = "9999-12-31T23:59:59.999Z"


def weather_history(pick: random.Random, kind: str) -> History:
    """Return some days of the nursery or of a place, as their rows' own events leave them."""
    row: Row = {
        "id": "n1" if kind == "nursery" else "p1",
        "name": pick.choice(["Frost corner", None]),
        "kind": pick.choice(["bed", "house", None, "shelf"]),
        "order": pick.choice([1, 7, None]),
        "latitude_deg": pick.choice([-33.6, -33.6, 52, 70, None]),
        "longitude_deg": pick.choice([149.7, 0, None]),
        "offsets": OFFSETS,
    }
    entries = [entry(pick, number) for number in range(pick.randint(1, 4))]
    history: History = []
    at = START
    for seq in range(pick.randint(6, 9)):
        at += pick.choice([1, 2, 3, 5, 8, 13, 20]) * HOUR_MS + pick.randint(0, 3) * MINUTE_MS
        row = rows.go_on(row, told(pick, at, seq))
        if pick.random() < 0.4:
            entries = [changed(pick, one, at) for one in entries]
        others = {"p1": {"id": "p1", "name": "Corner", "order": 2, "covered": row.get("covered")},
                  "p2": {"id": "p2", "name": "Tunnel", "kind": "house"}}  # fmt: skip
        places = others if kind == "nursery" else {"p1": row}
        seen = to_text(at - pick.choice([0, 1, 9, 30]) * HOUR_MS)
        houses = {"p2": {"live_lots": 1, "oldest_seen_at": seen, "newest_seen_at": seen}}
        stock = {"entries": entries, "places": places, "offsets": OFFSETS,
                 "houses": houses if kind == "nursery" else {}}  # fmt: skip
        if pick.random() < 0.9:
            stock["home"] = {**row, "forecasts": row.get("forecasts") or nights_told(pick, at)}
        history.append((at, {kind: row, "lots": [], "stock": stock}))
    return history


def nights_told(pick: random.Random, at: int) -> list[Row]:
    """Return what was forecast of the nights around an instant."""
    found = []
    for days in pick.sample([-1, 0, 1, 2], pick.randint(0, 3)):
        low = {"which": "low", "value": pick.choice([-3, 3, 3.1, 8]), "by": None, "sensor": None}
        found.append({**low, "day": local_date(at + days * DAY_MS, OFFSETS), "at": to_text(at)})
    return found


def entry(pick: random.Random, number: int) -> Row:
    """Return what a lot asks of the weather."""
    until = pick.choice([FOREVER, FOREVER, FOREVER, to_text(START + 2 * DAY_MS), None])
    return {
        "id": f"lot{number}", "place": pick.choice(["p1", "p1", "p2", None]), "until": until,
        "why": "tender", "known": pick.random() < 0.7, "cover": None, "small": pick.random() < 0.5,
        "bared_at": to_text(START), "seen_at": pick.choice([to_text(START), None]),
    }  # fmt: skip


def changed(pick: random.Random, one: Row, at: int) -> Row:
    """Return an entry after a look, a cover, an uncovering or a move."""
    cover = {"at": to_text(at), "by": None, "until": pick.choice([None, to_text(at + DAY_MS)])}
    cover["for_low_c"] = pick.choice([None, 1, -3])
    change = pick.choice(["look", "cover", "bare", "move"])
    if change == "look":
        return {**one, "seen_at": to_text(at)}
    if change == "cover":
        return {**one, "cover": cover}
    place = pick.choice(["p1", "p2"]) if change == "move" else one["place"]
    return {**one, "cover": None, "bared_at": to_text(at), "place": place}


def told(pick: random.Random, at: int, seq: int) -> list[Row]:
    """Return what somebody or a sensor records at an instant."""
    day = local_date(at, OFFSETS)
    ahead = local_date(at + DAY_MS, OFFSETS)
    drafts: list[tuple[str, Row]] = [
        ("read", {"quantity_kind": "forecast_low_c", "value": pick.choice([-3, 0, 2, 3, 3.1]),
                  "for_night_of": pick.choice([day, ahead, None])}),
        ("read", {"quantity_kind": "forecast_high_c", "value": pick.choice([20, 31.9, 32, 38]),
                  "for_day": pick.choice([day, ahead, None])}),
        ("read", {"quantity_kind": "temp_c",
                  "value": pick.choice([-1, 1.5, 2, 2.1, 3, 3.2, 14, 15.6, 17])}),
        ("read", {"quantity_kind": "temp_c", "value": pick.choice([31, 34, 37, 40])}),
        ("covered", {"until": pick.choice([None, None, ahead]), "for_low_c": None}),
        ("covered", {"until": None, "for_low_c": 2}),
        # Twice: covers that are left on are late for an hour and a half of a morning only.
        ("covered", {"until": None, "for_low_c": 2}),
        ("uncovered", {}),
    ]  # fmt: skip
    chosen = pick.sample(drafts, pick.randint(1, 2))
    if any(data.get("value", 0) >= 31 for _, data in chosen):
        damp = {"quantity_kind": "humidity_percent", "value": pick.choice([30, 45, 60, 70])}
        chosen.append(("read", damp))
    plain = {"device": "a", "seq": seq, "lot": None, "by": "jo", "at": to_text(at)}
    return [{**plain, "kind": kind, "data": data} for kind, data in chosen]
