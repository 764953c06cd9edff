"""Push of 10,000 events over HTTP against a bare SQLite executemany of the same rows."""

import json
import sqlite3
import tempfile
import time
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from e2e.house import House

from tests.bench.figures import Figure, middle, spread

# Five hundred lots, every one of them in every batch, as one phone would send a season of rounds;
# and the same number of events on a morning's forty lots.
EVENTS, BATCH, LOTS, FEW_LOTS, TRIES = 10_000, 1_000, 500, 40, 5
Event = dict[str, Any]


def events_of(count: int, lots: int) -> list[Event]:
    """Return a season of a nursery: lots started, put into the cold, sown, looked at, counted."""
    now = datetime.now(UTC)
    ids = [str(uuid.uuid4()) for _ in range(lots)]
    made: list[Event] = []

    def add(kind: str, lot: str, data: dict[str, Any], days_ago: float) -> None:
        at = (now - timedelta(days=days_ago)).isoformat(timespec="milliseconds")
        made.append(
            {
                "id": str(uuid.uuid4()), "seq": len(made) + 1, "kind": kind, "lot": lot,
                "observed_at": at, "by": None, "data": data,
            }
        )  # fmt: skip

    for number, lot in enumerate(ids):
        start = {"crop": "acer-palmatum", "label": f"L{number}", "quantity": 300, "unit": "seeds"}
        add("lot_started", lot, start, 120)
        add("cold_started", lot, {"where": "fridge", "temp_c": 4}, 110)
    turns = -(-(count - len(made)) // lots)
    for turn in range(turns):
        days = 100 * (1 - turn / turns) + 0.01
        for number, lot in enumerate(ids):
            kind, data = act_of(turn, number)
            add(kind, lot, data, days)
    return made[:count]


def act_of(turn: int, number: int) -> tuple[str, dict[str, Any]]:
    """Return what is recorded of a lot on one round: mostly looks, some of them bad news."""
    chance = (turn * 31 + number * 17) % 40
    if chance == 0:
        return "watered", {}
    if chance == 1:
        return "lost", {"quantity": 2, "out_of": 300, "cause": "damping_off"}
    if chance == 2:
        return "noted", {"text": "Bag turned and aired."}
    if chance == 3:
        return "looked", {"moisture": 2, "fungus": "spots", "temp_c": 4.5, "note": "a few spots"}
    fine = {"as_expected": True, "moisture": 3, "fungus": "none", "sprouted_percent": 0}
    return "looked", fine


def bare(folder: Path, events: list[Event], batch: int) -> float:
    """Return the seconds that plain SQLite takes for the same rows at the same durability."""
    connection = sqlite3.connect(folder / f"{uuid.uuid4().hex}.sqlite", isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute(
        "CREATE TABLE events (id TEXT PRIMARY KEY, seq INTEGER, kind TEXT, lot TEXT, body TEXT)"
    )
    rows = [(e["id"], e["seq"], e["kind"], e["lot"], json.dumps(e)) for e in events]
    since = time.perf_counter()
    for start in range(0, len(rows), batch):
        connection.execute("BEGIN IMMEDIATE")
        part = rows[start : start + batch]
        connection.executemany("INSERT INTO events VALUES (?, ?, ?, ?, ?)", part)
        connection.execute("COMMIT")
    spent = time.perf_counter() - since
    connection.close()
    return spent


def pushed(folder: Path, events: list[Event], batch: int) -> float:
    """Return the seconds that a running server takes: checked, folded, watched, durable."""
    house = House(folder / uuid.uuid4().hex)
    house.start()
    try:
        house.call("GET", "/api/v1/events?limit=1")
        device = str(uuid.uuid4())
        since = time.perf_counter()
        for start in range(0, len(events), batch):
            body = {"device": device, "events": events[start : start + batch]}
            body["sent_at"] = datetime.now(UTC).isoformat()
            said = house.call("POST", "/api/v1/sync/push", body)
            assert len(said["stored"]) == len(body["events"]), said["refused"][:1]
        return time.perf_counter() - since
    finally:
        house.stop()


def compared(count: int, batch: int, lots: int, tries: int) -> tuple[list[float], list[float]]:
    """Return the server's rate as shares of the bare one, and in events a second."""
    shares, rates = [], []
    with tempfile.TemporaryDirectory() as name:
        for _ in range(tries):
            events = events_of(count, lots)
            ours, theirs = pushed(Path(name), events, batch), bare(Path(name), events, batch)
            shares.append(theirs / ours)
            rates.append(count / ours)
    return shares, rates


def measure(
    count: int = EVENTS,
    batch: int = BATCH,
    lots: int = LOTS,
    few: int = FEW_LOTS,
    tries: int = TRIES,
) -> list[Figure]:
    """Return the server's rate as a share of the bare one, for many lots and for few."""
    found = []
    for number in (lots, few):
        shares, rates = compared(count, batch, number, tries)
        name = f"push of {count:,} events on {number} lots"
        found.append(
            Figure(
                f"{name}, of the bare rate", middle(shares), "", 0.03,
                at_least=True, note=spread(shares),
            )
        )  # fmt: skip
        found.append(Figure(f"{name}", middle(rates), "a second", note=spread(rates)))
    return found
