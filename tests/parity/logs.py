"""Random logs, realistic and nasty, each made from a seed that a failure names.

A log tells one or more stories (`stories.py`); then it is disturbed as the world disturbs records:
corrections of corrections, wrong clocks, ties, doubles, kinds and fields that nobody knows.
"""

import random
from typing import Any

from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, parse_instant, to_ms, to_text
from lathhouse.domain.protocols import load_crops
from tests.parity.values import random_data

Event = dict[str, Any]

START = parse_instant("2026-01-05T08:00:00+11:00")
LOT = "00000000-0000-7000-8000-00000000000a"
CHILD = "00000000-0000-7000-8000-00000000000c"
PARENTS = ("00000000-0000-7000-8000-0000000000f1", "00000000-0000-7000-8000-0000000000f2")
BUCKET = "00000000-0000-7000-8000-0000000000b0"
# Of each shape of protocol some: one cold, warm and cold, a target only, recalcitrant, none at all.
CROPS = tuple(
    "acer-palmatum cornus-kousa viburnum-opulus magnolia-virginiana syringa-vulgaris taxus-baccata"
    " tilia-cordata stewartia-koreana prunus-avium no-such-crop".split()
)
UNITS = ("seeds", "seeds", "seeds", "seeds", "g", "seedlings", "plants", None)
WATCHES = ("cold-look", "cold-six-weeks", "look-due", "moisture-dry", "soak-over", "no-such-watch")


class LogMaker:
    """Writes one lot's log as a few phones would, story by story."""

    def __init__(self, seed: int, lot: str = LOT) -> None:
        self.random = random.Random(f"{seed}|{lot}")
        self.lot = lot
        self.events: list[Event] = []
        self.at = START
        self.crop = self.random.choice(CROPS)
        self.devices = self.random.choice(["a", "ab", "abc"])
        self.next_seq = dict.fromkeys(self.devices, 1)

    @property
    def protocol(self) -> dict[str, Any] | None:
        """The lot's crop, where there is such a one."""
        return load_crops().get(self.crop)

    def begin(self, **said: Any) -> Event:
        """Start the lot; what is not said is chosen."""
        pick = self.random
        unit = said.get("unit", pick.choice(UNITS))
        start = {
            "crop": self.crop,
            "label": "26-017-R",
            "quantity": pick.choice([100, 100, 180, 300, 1000, None]),
            "unit": unit,
            "place": pick.choice(["p1", "p2", None]),
            "container_l": pick.choice([2, 4, 10]) if unit == "plants" else None,
            "parents": pick.choice([[], [], [PARENTS[0]], list(PARENTS)]),
        }
        return self.add("lot_started", {**start, **said})

    def add(self, kind: str, data: dict[str, Any] | None = None, **more: Any) -> Event:
        """Write one event now, on one of the phones."""
        device = self.random.choice(self.devices)
        event = {
            "id": f"e{len(self.events):03}",
            "device": device,
            "seq": self.next_seq[device],
            "kind": kind,
            "lot": self.lot,
            "at": to_text(self.at),
            "by": self.random.choice([None, "mele", "jo"]),
            "data": data or {},
            **more,
        }
        self.next_seq[device] += 1
        self.events.append(event)
        return event

    def wait(self, low_ms: float, high_ms: float) -> None:
        """Let time pass; round lengths meet the limits exactly, as random ones never would."""
        step = self.random.choice([1, MINUTE_MS, HOUR_MS, 12 * HOUR_MS, DAY_MS])
        self.at += max(1, self.random.randint(int(low_ms), int(high_ms)) // step * step)

    def days(self, low: float, high: float) -> None:
        """Let days pass."""
        self.wait(low * DAY_MS, high * DAY_MS)

    def hours(self, low: float, high: float) -> None:
        """Let hours pass."""
        self.wait(low * HOUR_MS, high * HOUR_MS)

    def chance(self, share: float) -> bool:
        """Say yes as often as this."""
        return self.random.random() < share

    def look(self, **said: Any) -> None:
        """Look at the lot; what is not said is chosen, or left unsaid."""
        pick = self.random
        often: dict[str, tuple[float, list[Any]]] = {
            "moisture": (0.5, [1, 2, 3, 3, 3, 4, 5]),
            "fungus": (0.4, ["none", "none", "spots", "spreading"]),
            "sprouted_percent": (0.2, [0, 1, 9, 10, 12, 40, 55]),
            "root_fill": (0.1, [1, 5]),
            "temp_c": (0.1, [-2, 3.25, 4]),
            "as_expected": (0.1, [True, False]),
        }
        said_too = [name for name, (share, _) in often.items() if self.chance(share)]
        chosen = {name: pick.choice(often[name][1]) for name in said_too}
        self.add("looked", {**chosen, **said})

    def disturb(self) -> None:
        """Add what the world adds."""
        for _ in range(self.random.choice([0, 0, 1, 2, 5])):
            self.correct()
        for _ in range(self.random.choice([0, 0, 1, 3])):
            self.answer()
        for _ in range(self.random.choice([0, 0, 0, 1, 4])):
            self.anything()
        # Last the doubles: one id never comes with two bodies, the door sees to that.
        for strange in (self.tie, self.wrong_clock, self.unheard_of, self.double):
            if self.chance(0.12):
                strange()

    def correct(self) -> None:
        """Amend or void something: an act, a correction, itself, or what nobody has yet."""
        pick = self.random
        target = pick.choice([*self.events, {"id": "unknown"}, {"id": f"e{len(self.events):03}"}])
        at = self.at if self.chance(0.7) else START - pick.randint(0, 9) * HOUR_MS
        if self.chance(0.5):
            self.add("voided", {"of": target["id"], "why": "wrong lot"}, at=to_text(at))
            return
        fields = [{"moisture": 3}, {"moisture": None}, {"emerged": 7}, {"quantity": 5},
                  {"out_of": None}, {"where": "outdoors"}, {"place": "p9"}, {}]  # fmt: skip
        data = {"of": target["id"], "data": pick.choice(fields)}
        self.add("amended", data if self.chance(0.95) else {"of": target["id"]}, at=to_text(at))

    def answer(self) -> None:
        """Say "I have it", put off or explain a watch, sensibly or not."""
        pick = self.random
        until = pick.choice([None, to_text(self.at + 3 * DAY_MS), "2026-03-01", "9999-12-31",
                             "2026-02-31", "soon", "2026-06-01T06:00:00+10:00"])  # fmt: skip
        at = to_text(pick.randint(START, self.at))
        data = {"watch": pick.choice(WATCHES), "until": until, "why": "busy"}
        hows = ["acknowledged", "shelved", "given_back", "deferred", "decided"]
        self.add(pick.choice(hows), data, at=at)

    def anything(self) -> None:
        """Add an event of any kind at all, with any of its fields, at any time."""
        kind, data = random_data(self.random, (LOT, CHILD, *PARENTS))
        at = to_text(self.random.randint(START, self.at))
        event = self.add(kind, data, at=at)
        if self.chance(0.1):
            event["data"] = self.random.choice([None, []])

    def tie(self) -> None:
        """Let two events fall on the same instant."""
        self.random.choice(self.events)["at"] = self.random.choice(self.events)["at"]

    def wrong_clock(self) -> None:
        """Let everything one phone said be hours or years away."""
        device = self.random.choice(self.devices)
        off = self.random.choice([-HOUR_MS, 5 * HOUR_MS, -400 * DAY_MS, 20_000 * DAY_MS])
        for event in self.events:
            if event["device"] == device:
                event["at"] = to_text(to_ms(event["at"]) + off)

    def double(self) -> None:
        """Send something twice."""
        self.events.append(dict(self.random.choice(self.events)))

    def unheard_of(self) -> None:
        """Add a kind of a newer phone, and a field of one."""
        self.add("seen_by_drone", {"height_m": 3}, wingspan_mm=400)
        event = self.random.choice(self.events)
        event["data"] = {**(event["data"] or {}), "never_heard_of": [1, {"two": 2.5}]}
