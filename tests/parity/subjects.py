"""Random histories of what is watched besides lots: places, their chambers, the nursery, phones.

A history is a list of rows as they stood one after another, and the instants at which they changed.
"""

import random
from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_text
from lathhouse.domain.treatments import with_treatment
from tests.parity.logs import START
from tests.parity.weather import weather_history

Row = dict[str, Any]
History = list[tuple[int, Row]]


def answers(pick: random.Random, at: int) -> dict[str, Any]:
    """Return what somebody said about a watch, or mostly nothing."""
    if pick.random() < 0.8:
        return {}
    watch = pick.choice(
        ["round-missing", "chamber-band", "chamber-silent", "phone-silent", "re-entry"]
    )
    said = {"at": to_text(at), "by": "jo", "until": to_text(at + 2 * DAY_MS), "why": "fair day"}
    return {watch: {pick.choice(["acknowledged", "shelved", "deferred"]): said}}


def place_history(pick: random.Random, kind: str) -> History:
    """Return the days of a place, or of the nursery: seen, closed, forgotten."""
    lots = [
        {"closed_at": None, "quantity": pick.choice([0, 40, None]), "seen_at": to_text(START)}
        for _ in range(pick.randint(1, 4))
    ]
    row: Row = {
        "id": "p1",
        "name": pick.choice(["Bench by the door", None]),
        "kind": "bench",
        "daily": pick.random() < 0.9,
        "closed_at": None,
    }
    history, at = [(START, {kind: row, "lots": lots})], START
    for _ in range(4):
        if pick.random() < 0.4:
            row = later_row(pick, row, at)
        at += pick.choice([3, 8, 20, 25, 30, 31, 32, 33, 50, 100]) * HOUR_MS
        at += pick.randint(0, 2) * MINUTE_MS
        if pick.random() < 0.3:
            row = {**row, "closed_at": to_text(at)}
        else:
            lots = [{**lot, "seen_at": to_text(at)} for lot in lots]
        if pick.random() < 0.1:
            lots = [{**lot, "closed_at": to_text(at)} for lot in lots]
        left_at = to_text(at) if pick.random() < 0.1 else None
        told = {kind: {**row, "answers": answers(pick, at)}, "lots": lots, "left_at": left_at}
        history.append((at, told))
    return history


def later_row(pick: random.Random, row: Row, at: int) -> Row:
    """Return the place after it was treated, or the nursery after a backup."""
    ended = at - pick.choice([0, 0, 1, 7]) * HOUR_MS
    rei = {"rei_hours": pick.choice([4, 12, 24, 48, None]), "product": "soap"}
    data = {**rei, "ended_at": pick.choice([to_text(ended), to_text(ended), None])}
    event = {"id": f"t{at}", "at": to_text(at), "lot": None, "data": data}
    return {**with_treatment(row, event), "last_backup_at": to_text(at), "entered_at": None}


def chamber_history(pick: random.Random) -> History:
    """Return the hours of a fridge: in its band, out of it, well back in it, silent."""
    by_hand = pick.random() < 0.3
    own = {"by_hand": by_hand}
    chamber = pick.choice([None, own, {**own, "interval_minutes": 60}])
    row = {"id": "p2", "name": "Shed fridge", "kind": "chamber", "daily": False, "chamber": chamber}
    seen = {"closed_at": None, "quantity": 40, "seen_at": to_text(START)}
    lots = [seen] if pick.random() < 0.9 else []
    history: History = []
    readings: list[list[Any]] = []
    at = START
    for _ in range(5):
        temp_c = pick.choice([4, 4, 3.5, 6, 6.5, 9, -0.5, 5, 4.5, 4.75])
        for _ in range(pick.choice([1, 2, 5, 10])):
            at += pick.choice([15, 15, 30, 45, 60]) * MINUTE_MS
            readings = [*readings, [to_text(at), temp_c]]
        history.append((at, {"place": row, "lots": lots, "readings": readings}))
        at += pick.choice([0, 0, 2, 7, 13]) * HOUR_MS
        at += pick.choice([0, 0, 1, 3, 8]) * DAY_MS if chamber and chamber["by_hand"] else 0
    return history


def phone_history(pick: random.Random) -> History:
    """Return the days of a phone: it syncs, is silent, leaves gaps, has records refused."""
    phone: Row = {
        "id": "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e",
        "name": pick.choice(["Mele's phone", None]),
        "last_sync_at": pick.choice([None, to_text(START), to_text(START)]),
        "silent_ok": pick.random() < 0.1,
    }
    history, at = [(START, {"phone": phone})], START
    for _ in range(4):
        at += pick.choice([5, 12, 13, 25, 30, 50, 80]) * HOUR_MS + pick.randint(0, 3) * MINUTE_MS
        before = to_text(at - pick.choice([0, 1, 23, 24, 30]) * HOUR_MS)
        phone = {
            **phone,
            "last_sync_at": to_text(at) if pick.random() < 0.7 else phone["last_sync_at"],
            "gap_since": pick.choice([None, None, before]),
            "refused_since": pick.choice([None, None, None, before]),
            "cut_off_at": to_text(at) if pick.random() < 0.05 else None,
            "answers": answers(pick, at),
        }
        history.append((at, {"phone": phone}))
    return history


def solution_history(pick: random.Random) -> History:
    """Return the days of a bucket: mixed, used, thrown away, forgotten; or only named."""
    row: Row = {
        "id": "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6f",
        "ppm": pick.choice([6000, None]),
        "mixed_at": pick.choice([to_text(START), to_text(START), to_text(START), None]),
        "discarded_at": None,
        "used_for": [],
    }
    history, at = [(START, {"solution": row})], START
    for _ in range(4):
        at += pick.choice([1, 9, 23, 24, 25, 47, 48, 72, 73]) * HOUR_MS
        row = {**row, "discarded_at": to_text(at) if pick.random() < 0.3 else row["discarded_at"]}
        row = {**row, "used_for": ["lot"], "answers": solution_answers(pick, at)}
        history.append((at, {"solution": row}))
    return history


def solution_answers(pick: random.Random, at: int) -> dict[str, Any]:
    """Return what somebody said about an old bucket, or mostly nothing."""
    if pick.random() < 0.8:
        return {}
    said = {"at": to_text(at), "by": "jo", "until": to_text(at + 2 * HOUR_MS), "why": "for pots"}
    return {"solution-old": {pick.choice(["acknowledged", "shelved", "deferred"]): said}}


def random_history(seed: int) -> tuple[str, History]:
    """Return (kind of subject, its history)."""
    pick = random.Random(f"subject {seed}")
    kind = pick.choice(["place", "chamber", "nursery", "phone", "solution", *3 * ["weather"]])
    if kind == "weather":
        kind = pick.choice(["place", "nursery"])
        return kind, weather_history(pick, kind)
    if kind == "solution":
        return kind, solution_history(pick)
    if kind == "chamber":
        return "place", chamber_history(pick)
    return kind, phone_history(pick) if kind == "phone" else place_history(pick, kind)
