"""Random logs, realistic and nasty, made from a seed that a failure names."""

import random
from collections.abc import Callable
from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, parse_instant, to_text
from lathhouse.domain.protocols import load_crops

START = parse_instant("2026-01-05T08:00:00+11:00")
CHILD = "00000000-0000-7000-8000-00000000000c"
LOT = "00000000-0000-7000-8000-00000000000a"
Event = dict[str, Any]


class LogMaker:
    """Makes one lot's log."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.events: list[Event] = []
        self.at = START
        # Weighted by hand, so that every watch is raised and cleared often enough.
        self.crop = self.random.choice([*CROPS, "no-such-crop", "prunus-avium"])

    def make(self) -> list[Event]:
        """Return the events of a life that one of the stories tells, with disturbances."""
        self.add("lot_started", self.start_data())
        for _ in range(self.random.randint(1, 4)):
            self.random.choice(STORIES)(self)
        self.disturb()
        return self.events

    def start_data(self) -> dict[str, Any]:
        unit = self.random.choice(["seeds", "seeds", "seeds", "plants", "seedlings", "g", None])
        container = self.random.choice([2, 4, 10]) if unit == "plants" else None
        return {
            "crop": self.crop,
            "label": "26-017-R",
            "quantity": self.random.choice([100, 100, 180, 1000, None]),
            "unit": unit,
            "place": self.random.choice(["p1", "p2", None]),
            "container_l": container,
            "parents": self.random.choice([[], [], ["P"]]),
        }

    def add(self, kind: str, data: dict[str, Any] | None = None, **more: Any) -> Event:
        number = len(self.events)
        event = {
            "id": f"e{number:03}",
            "device": self.random.choice("ab"),
            "seq": number,
            "kind": kind,
            "lot": LOT,
            "at": to_text(self.at),
            "by": None,
            "data": data or {},
            **more,
        }
        self.events.append(event)
        return event

    def wait(self, low_ms: int, high_ms: int) -> None:
        # Round lengths meet the limits exactly, which random ones never would.
        step = self.random.choice([MINUTE_MS, HOUR_MS, 12 * HOUR_MS, DAY_MS])
        self.at += self.random.randint(low_ms, high_ms) // step * step

    def look(self) -> None:
        chance = self.random.random
        said: dict[str, Any] = {}
        if chance() < 0.7:
            said["moisture"] = self.random.choice([1, 2, 2, 3, 3, 4, 4, 5])
        if chance() < 0.6:
            said["fungus"] = self.random.choice(["none", "spots", "spreading"])
        if chance() < 0.4:
            said["sprouted_percent"] = self.random.choice([0, 1, 9, 10, 12, 40, 55])
        if chance() < 0.2:
            said["root_fill"] = self.random.randint(1, 5)
        if chance() < 0.1:
            said["as_expected"] = True
        self.add("looked", said)

    def disturb(self) -> None:
        """Add corrections, ties, wrong clocks, doubles and things nobody knows."""
        pick = self.random
        for _ in range(pick.randint(0, 3)):
            target = pick.choice([*self.events, {"id": "unknown"}])
            if pick.random() < 0.5:
                self.add("voided", {"of": target["id"], "why": "wrong lot"})
            else:
                data = pick.choice(
                    [
                        {"moisture": 3},
                        {"emerged": 7},
                        {"quantity": 5},
                        {"moisture": None},
                        {"out_of": None},
                    ]
                )
                self.add("amended", {"of": target["id"], "data": data})
        if pick.random() < 0.2:
            pick.choice(self.events)["at"] = pick.choice(self.events)["at"]
        if pick.random() < 0.15:
            self.add("seen_by_drone", {"height_m": 3})
        if pick.random() < 0.15:
            answer = pick.choice(["acknowledged", "shelved", "deferred", "decided"])
            until = pick.choice([None, to_text(self.at + 3 * DAY_MS), "2026-03-01"])
            watch = pick.choice(["cold-look", "cold-six-weeks", "look-due", "moisture-dry"])
            self.add(answer, {"watch": watch, "until": until, "why": "busy"})


def chill(log: LogMaker) -> None:
    """A chill in the fridge or outdoors, looked at now and then, or not."""
    log.add("cold_started", {"where": log.random.choice(["fridge", "fridge", "outdoors", None])})
    for _ in range(log.random.randint(0, 5)):
        log.wait(DAY_MS, 25 * DAY_MS)
        log.look()
    log.wait(DAY_MS, 60 * DAY_MS)
    if log.random.random() < 0.6:
        log.add("cold_ended")


def warm(log: LogMaker) -> None:
    """A warm spell."""
    log.add("warm_started", {"where": log.random.choice(["indoors", "outdoors"])})
    for _ in range(log.random.randint(0, 2)):
        log.wait(DAY_MS, 20 * DAY_MS)
        log.look()
    log.wait(5 * DAY_MS, 120 * DAY_MS)
    log.add(log.random.choice(["warm_ended", "cold_started", "looked"]))


def bench(log: LogMaker) -> None:
    """A soak, perhaps a dip, and what comes after."""
    log.add("soak_started")
    for _ in range(log.random.randint(0, 2)):
        log.wait(HOUR_MS, 30 * HOUR_MS)
        log.add(log.random.choice(["water_changed", "aerated", "soak_started"]))
    log.wait(HOUR_MS, 60 * HOUR_MS)
    if log.random.random() < 0.4:
        log.add("scarified", {"method": "acid"})
    if log.random.random() < 0.6:
        log.add("sanitise_started", {"limit_minutes": log.random.choice([8, 10, None])})
        log.wait(MINUTE_MS, 40 * MINUTE_MS)
        log.add("sanitise_ended")
    else:
        log.add("soak_ended")
    log.wait(MINUTE_MS, 40 * HOUR_MS)
    log.add(log.random.choice(["cold_started", "sown", "looked"]))


def flats(log: LogMaker) -> None:
    """Sown flats, counted as they come up."""
    log.add("sown", {"flats": 3, "per_flat": 100})
    emerged = 0
    log.wait(5 * DAY_MS, 40 * DAY_MS)
    for _ in range(log.random.randint(0, 6)):
        log.wait(HOUR_MS, 16 * DAY_MS)
        emerged = max(0, emerged + log.random.choice([0, 0, 0, 5, 20, -3]))
        flat = {"flat": log.random.choice("ab")} if log.random.random() < 0.2 else {}
        log.add("counted", {"emerged": emerged, "out_of": 300, **flat})
        if log.random.random() < 0.4:
            log.look()
    if log.random.random() < 0.6:
        # It stops for a fortnight, then more comes, or somebody calls it finished.
        log.add("counted", {"emerged": emerged + 3, "out_of": 300})
        log.wait(10 * DAY_MS, 22 * DAY_MS)
        log.add("counted", {"emerged": emerged + 3, "out_of": 300})
        log.wait(HOUR_MS, 4 * DAY_MS)
        if log.random.random() < 0.75:
            log.add("counted", {"emerged": emerged + 9, "out_of": 300})
    if log.random.random() < 0.3:
        log.add("emergence_closed", {"why": "done"})
    elif log.random.random() < 0.3:
        log.add("held_over", {"why": "second spring", "until": to_text(log.at + 90 * DAY_MS)})


def pots(log: LogMaker) -> None:
    """Potting on, losses, sales and the stock-take that settles them."""
    into = {"into": CHILD} if log.random.random() < 0.4 else {}
    quantity = log.random.choice([50, 90, 104, 106, 120, 200])
    log.add(
        "potted_on", {"quantity": quantity, "container_l": log.random.choice([2, 4, 10]), **into}
    )
    log.wait(DAY_MS, 40 * DAY_MS)
    log.add("lost", {"quantity": log.random.choice([1, 30, 150]), "out_of": 100, "cause": "frost"})
    log.wait(DAY_MS, 20 * DAY_MS)
    if log.random.random() < 0.3:
        log.add("stocktaken", {"quantity": 80, "unit": "plants"})
    if log.random.random() < 0.5:
        log.look()


def split(log: LogMaker) -> None:
    """A part of the lot becomes a lot of its own."""
    data = {
        "crop": log.crop,
        "label": "26-018-T",
        "quantity": 40,
        "unit": "seeds",
        "parents": [LOT],
    }
    log.add("lot_started", data, lot=CHILD)
    log.wait(HOUR_MS, 10 * DAY_MS)


def wet_and_dry(log: LogMaker) -> None:
    """Looks at moisture close together, and a can of water."""
    for _ in range(log.random.randint(2, 5)):
        log.wait(HOUR_MS, 30 * HOUR_MS)
        log.add("looked", {"moisture": log.random.choice([1, 1, 2, 2, 4, 5, 5])})
        if log.random.random() < 0.2:
            log.add("watered")


def closing(log: LogMaker) -> None:
    """The end, or a move."""
    if log.random.random() < 0.3:
        log.add("lot_closed", {"why": "sold out"})
    else:
        log.add("moved", {"place": "p3"})


STORIES: list[Callable[[LogMaker], None]] = [
    chill, chill, chill, warm, warm, bench, bench, bench, bench, flats, flats, flats, flats, pots,
    pots, split,
    wet_and_dry, wet_and_dry, closing,
]  # fmt: skip
CROPS = [
    crop
    for crop in ("acer-palmatum", "cornus-kousa", "viburnum-opulus", "magnolia-virginiana",
                 "syringa-vulgaris", "taxus-baccata", "tilia-cordata", "stewartia-koreana")
    if crop in load_crops()
]  # fmt: skip


def random_place(seed: int) -> dict[str, Any]:
    """Return a place's row and the standing of its lots."""
    pick = random.Random(seed)
    seen = START + pick.randint(0, 60) * HOUR_MS * 12
    closed = to_text(seen + pick.randint(-4, 4) * DAY_MS) if pick.random() < 0.5 else None
    place = {"id": "p1", "name": "Shed fridge", "daily": pick.random() < 0.8, "closed_at": closed}
    if pick.random() < 0.6:
        state = {
            "at": to_text(seen),
            "temp_c": pick.choice([-0.5, 3, 4.25, 6, 9]),
            "back_since": None,
        }
        clocks = ("out_since", "long_since", "hard_since")
        state |= {
            name: to_text(seen - pick.randint(0, 9) * HOUR_MS) if pick.random() < 0.5 else None
            for name in clocks
        }
        hand = {"by_hand": pick.random() < 0.3}
        place |= {"kind": "chamber", "chamber_state": state, "chamber": hand}
    lots = {
        "live_lots": pick.choice([0, 1, 5]),
        "oldest_seen_at": to_text(seen - pick.randint(0, 3) * DAY_MS),
        "newest_seen_at": to_text(seen),
    }
    return {"place": place, "lots": lots}


def random_phone(seed: int) -> dict[str, Any]:
    """Return a phone's row."""
    pick = random.Random(seed)
    at = START + pick.randint(0, 100) * HOUR_MS
    return {
        "id": "0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e",
        "name": pick.choice(["Mele's phone", None]),
        "last_sync_at": pick.choice([None, to_text(at), to_text(at)]),
        "gap_since": pick.choice([None, to_text(at)]),
        "refused_since": pick.choice([None, None, to_text(at + HOUR_MS)]),
        "silent_ok": pick.random() < 0.1,
    }
