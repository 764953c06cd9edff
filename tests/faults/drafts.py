"""What the person records, and what each phone said of it."""

import base64
import uuid
from typing import Any

from lathhouse.domain.instants import to_text
from tests.faults.schedule import HOUR_MS, Step
from tests.photos import jpeg, name_of

Draft = dict[str, Any]
CROP = "acer-palmatum"
# Numbers that a careless way of carrying them would change (FAULTS F27).
EXACT = (0.1 + 0.2, 4.35, -0.05, 1e-7, 99_999.99999999999, 1 / 3)
# People who say that they record, or nobody.
SHA256_DIGITS = 64
SAYS = (None, *(str(uuid.UUID(int=number)) for number in (1, 2)))


class Said:
    """Every record that was tried, by its mark; and what the phones called saved."""

    def __init__(self) -> None:
        self.marks = 0
        self.lots: list[str] = []
        self.places: list[str] = []
        # Of each mark: the phone, and what it said: `saved`, `refused to save`, or nothing.
        self.tried: dict[str, str] = {}
        self.told: dict[str, int] = {}
        self.bad: set[str] = set()
        self.last: dict[int, str] = {}
        self.trying: list[str] = []
        # Of each mark, what the person said; of each event, on which days it may have been there.
        self.given: dict[str, dict[str, Any]] = {}
        # Of each mark: of what kind it is, of which lot, and who said it.
        self.about: dict[str, dict[str, Any]] = {}
        self.days: dict[str, set[str]] = {}
        # Each picture that was taken; those that a phone called saved, and by which record.
        self.pictures: dict[str, bytes] = {}
        self.pictures_told: dict[str, int] = {}
        self.picture_of: dict[str, str] = {}
        self.taken_back: set[str] = set()

    def mark(self) -> str:
        self.marks += 1
        self.trying.append(f"m{self.marks}")
        self.tried[self.trying[-1]] = ""
        return self.trying[-1]

    def saved(self, phone: int, ids: list[str]) -> None:
        """Take down ids of records; the name of a picture comes before its record's id."""
        picture = None
        for name in ids:
            if len(name) == SHA256_DIGITS:
                self.pictures_told[name], picture = phone, name
                continue
            self.told[name] = phone
            self.last[phone] = name
            if picture:
                self.picture_of[name], picture = picture, None

    def heard(self, phone: int, said: dict[str, Any], bad: bool) -> None:
        """Take down how the phone answered what was just recorded."""
        word = "saved" if said.get("value") else "not saved" if said.get("error") else ""
        self.tried.update(dict.fromkeys(self.trying, word))
        if bad and said.get("value"):
            self.bad.update(said["value"])

    def ids_of(self, phone: int) -> set[str]:
        every = {**self.told, **self.pictures_told}
        return {name for name, of in every.items() if of == phone}

    def lot(self, step: Step) -> str:
        if not self.lots:
            self.lots.append(str(uuid.uuid4()))
        return self.lots[step["lot"] % len(self.lots)]

    def place(self, step: Step) -> str:
        if not self.places:
            self.places.append(str(uuid.uuid4()))
        return self.places[step["lot"] % len(self.places)]

    def drafts(self, step: Step, now_ms: int) -> tuple[Any, bool]:
        """Return ((the phone's act, what is given to it) or None, whether it will be refused)."""
        self.trying = []
        act = step["act"]
        if act in ("undo", "amend"):
            return self._correction(step, act), False
        made = [self._draft(step, act, now_ms) for _ in range(5 if act == "batch" else 1)]
        return ("record", made), act == "bad"

    def _correction(self, step: Step, act: str) -> Any:
        last = self.last.get(step["phone"])
        if last is None:
            return None
        if act == "undo":
            # What has not left the phone goes with its record.
            self.taken_back.add(self.picture_of.get(last, ""))
            return ("undo", last)
        data = self._marked({"of": last, "data": {"moisture": 2}})
        return ("record", [{"kind": "amended", "lot": None, "data": data}])

    def _marked(self, data: dict[str, Any]) -> dict[str, Any]:
        mark = self.mark()
        self.given[mark] = {**data, "mark": mark}
        return self.given[mark]

    def _draft(self, step: Step, act: str, now_ms: int) -> Draft:
        kind, data = self._what(step, act)
        lot = None if kind in ("place_changed", "read", "noted") else self.lot(step)
        if kind == "lot_started":
            self.lots.append(str(uuid.uuid4()))
            lot = self.lots[-1]
        more: dict[str, Any] = {"by": SAYS[step["lot"] % len(SAYS)]}
        if act == "earlier":
            at = to_text(now_ms - 30 * HOUR_MS)
            more |= {"observedAt": at.replace("Z", "+00:00"), "typed": True}
        marked = self._marked(data)
        self.about[marked["mark"]] = {"kind": kind, "lot": lot, "by": more["by"]}
        draft = {"kind": kind, "lot": lot, "data": marked, "more": more}
        if act == "photo":
            octets = self.pictures[marked["sha256"]]
            draft["photo"] = base64.b64encode(octets).decode()
        return draft

    def _picture(self) -> dict[str, Any]:
        """Return what a record says of a new picture, which is like no other."""
        octets = jpeg(16, 12, comment=f"picture {self.marks}".encode())
        self.pictures[name_of(octets)] = octets
        return {"sha256": name_of(octets), "width_px": 16, "height_px": 12}

    def _what(self, step: Step, act: str) -> tuple[str, dict[str, Any]]:
        start = {"crop": CROP, "label": f"26-{len(self.lots):03d}"}
        if act == "place":
            self.places.append(str(uuid.uuid4()))
        if act == "photo":
            return "photographed", self._picture()
        return {
            "start": ("lot_started", {**start, "quantity": 200, "unit": "seeds"}),
            # As the first phones wrote it: one parent, no quantity (FAULTS F28).
            "old_start": ("lot_started", {**start, "parent": self.lot(step)}),
            "split": ("lot_started", {**start, "quantity": 20, "parents": [self.lot(step)]}),
            "lose": ("lost", {"quantity": 2, "out_of": 10, "cause": "frost"}),
            "cold": ("cold_started", {}),
            "warm": ("cold_ended", {}),
            "place": (
                "place_changed",
                {"id": self.place({"lot": -1}), "name": "Bench", "order": 1},
            ),
            "read": ("read", {"place": self.place(step), "quantity_kind": "temp_c", "value": 4}),
            "exact": (
                "read",
                {"place": self.place(step), "quantity_kind": "temp_c", "value": EXACT[step["lot"]]},
            ),
            "note": ("noted", {"text": "a note"}),
            "bad": ("looked", {"moisture": 9}),
            "drone": ("seen_by_drone", {"height_m": 30}),
        }.get(act, ("looked", {"moisture": 3}))
