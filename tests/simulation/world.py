"""The nursery as it truly is, the phones that tell the server of it, and what is truly due."""

import random
from typing import Any

from lathhouse.demo.scenario import CORNER, FRIDGE, place_id, scenario
from lathhouse.demo.story import name_id
from lathhouse.domain.instants import parse_instant
from tests.server import Nursery
from tests.simulation import needs, outdoors, reckoning
from tests.simulation.calendar import HOUR_MS, Calendar, written
from tests.simulation.episodes import Key, Span, Spans
from tests.simulation.ledger import NOT_THERE, Lot, note
from tests.simulation.nature import Nature
from tests.simulation.past import remembered
from tests.simulation.phones import Phone, Probe
from tests.simulation.weather import Weather
from tests.simulation.yard import Yard

Data = dict[str, Any]
# Whose each phone is; the shed's is shared. Pairing is a contact.
PAIRED = {"orla": ("owner", "Orla"), "shed": ("worker", None), "mele": ("worker", "Mele")}
# Mele works three days, so on the others her phone is not missed.
PHONE_DAYS = {"mele": (2, 3, 5)}
PHONE_SILENT_HOURS = 12
BACKUP_HOURS = 36
BUCKET_HOURS, BUCKET_TOLD_HOURS = 24, 72
# A probe is silent after three of its intervals.
PROBE_MINUTES, SILENT_HOURS = 60, 3


class World:
    """Everything that is true, noted as it happens."""

    def __init__(
        self, nursery: Nursery, calendar: Calendar, rng: random.Random, weather: Weather
    ) -> None:
        self.nursery, self.calendar, self.rng, self.weather = nursery, calendar, rng, weather
        self.nature = Nature(rng)
        self.lots: dict[str, Lot] = {}
        self.closed_at: dict[str, int] = {}
        self.buckets: dict[str, int] = {}
        # place -> from when until when it was closed after a treatment
        self.shut: dict[str, Span] = {}
        self.yard = Yard(calendar, outdoors.SHELTERED, outdoors.HOUSES)
        self.read_at = self.silence_put_off = 0
        self.truth = Spans()
        # (subject) -> when what was recorded of it was still on a phone.
        self.unsent: dict[str, list[Span]] = {}
        self.acted: dict[str, list[int]] = {}
        past = scenario(nursery.clock.ms, nursery.site)
        self._remember(past)
        self.phones = {
            name: Phone(nursery, name, role, person, len(past[name]))
            for name, (role, person) in PAIRED.items()
        }
        self.probe = Probe(nursery, place_id(FRIDGE))
        self.corner_probe = Probe(nursery, place_id(CORNER))
        for phone in self.phones.values():
            self.heard(phone)

    @property
    def now(self) -> int:
        """The moment at which the world stands."""
        return self.nursery.clock.ms

    def _remember(self, past: dict[str, list[Data]]) -> None:
        """Note the demo's own history, corrections in place of what they correct."""
        for kind, lot_id, data, at in remembered(past):
            self._happened(kind, lot_id, data, at)
        for lot in self.lots.values():
            reckoning.lot_alone(self, lot, self.now)
        reckoning.beside(self, {lot.place for lot in self.lots.values()}, self.now)
        reckoning.rounds(self, self.now)
        outdoors.reckon(self, self.now)
        self.backed_up(self.now)

    def did(
        self, who: str, phone: str, kind: str, lot: Lot | str | None, data: Data | None = None
    ) -> None:
        """Let somebody do or see something now, and record it on a phone."""
        lot_id = lot.id if isinstance(lot, Lot) else lot
        data = data or {}
        event = {"kind": kind, "lot": lot_id, "observed_at": written(self.now)}
        self.phones[phone].record(self.rng, {**event, "by": name_id(who), "data": data})
        place_before = self.lots[lot_id].place if lot_id in self.lots else None
        self._happened(kind, lot_id, data, self.now)
        if lot_id:
            self.acted.setdefault(lot_id, []).append(self.now)
            reckoning.lot_alone(self, self.lots[lot_id], self.now)
            reckoning.beside(self, {place_before, self.lots[lot_id].place}, self.now)
        for named in (place_before, data.get("place")):
            if named:
                self.acted.setdefault(named, []).append(self.now)
        reckoning.rounds(self, self.now)
        outdoors.reckon(self, self.now)

    def _happened(self, kind: str, lot_id: str | None, data: Data, at: int) -> None:
        if isinstance(data.get("until"), str):
            day = outdoors.day_of(self, data["until"])
            data = {**data, "until_ms": self.calendar.at(day, "00:00"), "until_day": day}
        if kind == "lot_started" and lot_id:
            self.lots[lot_id] = Lot(
                lot_id, data["crop"], data["place"], data["unit"], data["quantity"],
                data.get("container_l"), at,
            )  # fmt: skip
        if kind == "treated":
            data = self._treated(data)
        if lot_id in self.lots:
            note(self.lots[lot_id], kind, data, at)
            if kind not in NOT_THERE | {"treated"}:
                self._entered(self.lots[lot_id].place, at)
        if kind == "round_closed":
            self.closed_at[data.get("place") or ""] = at
        if not lot_id:
            outdoors.told(self, kind, data, at)
        if kind == "deferred" and data["watch"] == "chamber-silent":
            self.silence_put_off = data["until_ms"]
            self.was_read(self.read_at)
        if kind == "solution_mixed":
            self.buckets[data["solution"]] = at
        if kind in ("solution_mixed", "solution_discarded"):
            self._reckon_bucket(data["solution"], kind == "solution_mixed", at)

    def _reckon_bucket(self, bucket: str, standing: bool, at: int) -> None:
        mixed = self.buckets.get(bucket, at)
        span = (mixed + BUCKET_HOURS * HOUR_MS, mixed + BUCKET_TOLD_HOURS * HOUR_MS)
        self.truth.foresee(Key("solution-old", "solution", bucket), span if standing else None, at)

    def was_read(self, at: int) -> None:
        """Note that the fridge's temperature was read, or that its silence has been put off."""
        self.read_at = max(self.read_at, at)
        since = max(self.read_at + SILENT_HOURS * HOUR_MS, self.silence_put_off)
        silent = (since, needs.FOREVER)
        self.truth.foresee(Key("chamber-silent", "place", place_id(FRIDGE)), silent, at)

    def _treated(self, data: Data) -> Data:
        """Note until when places are closed after a treatment; return it, its times reckoned."""
        ended = parse_instant(data["ended_at"])
        held = ended + (data.get("sale_hold_days") or 0) * 24 * HOUR_MS
        for place in data["places"]:
            self.shut[place] = (ended, ended + round(data["rei_hours"] * HOUR_MS))
        return {**data, "ended_ms": ended, "held_until_ms": held}

    def _entered(self, place: str, at: int) -> None:
        """Note that somebody was in a place: none may be while it is closed."""
        start, end = self.shut.get(place, (0, 0))
        if start < at < end:
            self.truth.foresee(Key("re-entry", "place", place), (at, end), at)

    def backed_up(self, at: int) -> None:
        """Note a good backup."""
        due = (at + BACKUP_HOURS * HOUR_MS, needs.FOREVER)
        self.truth.foresee(Key("backup-old", "nursery", self.nursery.site), due, at)

    def heard(self, phone: Phone) -> None:
        """Note that a phone was in reach."""
        length = PHONE_SILENT_HOURS * HOUR_MS
        due = self.calendar.after_working_days(phone.contact, length, PHONE_DAYS.get(phone.name))
        key = Key("phone-silent", "phone", phone.device)
        self.truth.foresee(key, (due, needs.FOREVER), phone.contact)

    def sync(self, name: str) -> None:
        """Let a phone send, where it is in reach; what the server now knows is no longer unsent."""
        phone = self.phones[name]
        if phone.is_off(self.now):
            return
        self._was_unsent(phone.send())
        self.heard(phone)

    def still_unsent(self) -> None:
        """Note what is on phones yet as the run ends."""
        for phone in self.phones.values():
            self._was_unsent(phone.outbox)

    def _was_unsent(self, events: list[Data]) -> None:
        """Note until now of which subjects the server did not know these records."""
        for event in events:
            span = (parse_instant(event["observed_at"]), self.now)
            lot = self.lots.get(event["lot"] or "")
            data = event["data"]
            named = [lot.id, lot.place] if lot else [data.get("place"), data.get("solution")]
            # Whether a cover comes off depends on what is forecast.
            named += outdoors.KINDS if "forecast" in str(data.get("quantity_kind")) else []
            for subject in [*named, self.nursery.site]:
                if subject:
                    self.unsent.setdefault(subject, []).append(span)
