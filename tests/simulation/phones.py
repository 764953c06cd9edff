"""Phones and a probe, speaking to the real server over its own doors."""

import random
import uuid
from typing import Any

from lathhouse.demo.story import name_id
from lathhouse.domain.instants import to_text
from lathhouse.store import access
from tests.server import Nursery
from tests.simulation.calendar import written

Data = dict[str, Any]
BATCH = 500


class Phone:
    """A paired phone: it numbers what people record, keeps it, and sends it when in reach."""

    def __init__(
        self, nursery: Nursery, name: str, role: str, person: str | None, first_seq: int
    ) -> None:
        self.nursery, self.name, self.device, self.seq = nursery, name, name_id(name), first_seq
        self.outbox: list[Data] = []
        self.sent = 0
        self.off: tuple[int, int] = (0, 0)
        self.contact = nursery.clock.ms
        self.client = nursery.app.test_client()
        self._pair(role, name_id(person) if person else None)

    def _pair(self, role: str, person: str | None) -> None:
        now = to_text(self.nursery.clock.ms)
        with self.nursery.app.app_context():
            link = access.make_link(self.nursery.site, role, person, now, access.LINK_MINUTES)
        body = {"secret": link, "device": self.device, "name": f"{self.name}'s phone"}
        said = self.client.post("/api/v1/pairings/redeem", json=body)
        assert said.status_code == 200, said.json

    def is_off(self, now: int) -> bool:
        """Say whether the phone reaches nobody."""
        return self.off[0] <= now < self.off[1]

    def record(self, rng: random.Random, event: Data) -> None:
        """Keep a record until it is sent."""
        self.seq += 1
        made = str(uuid.UUID(int=rng.getrandbits(128), version=4))
        self.outbox.append({"id": made, "seq": self.seq, **event})

    def send(self) -> list[Data]:
        """Send everything; return what the server has now."""
        sent = []
        for start in range(0, max(1, len(self.outbox)), BATCH):
            batch = self.outbox[start : start + BATCH]
            body = {"device": self.device, "events": batch}
            body["sent_at"] = written(self.nursery.clock.ms)
            said = self.client.post("/api/v1/sync/push", json=body)
            assert said.status_code == 200, said.json
            assert said.json["refused"] == [], said.json["refused"]
            sent += batch
        self.sent += len(sent)
        self.outbox = []
        self.contact = self.nursery.clock.ms
        return sent


class Probe:
    """A logger of a place, with a token that opens the one door for readings."""

    def __init__(self, nursery: Nursery, place: str) -> None:
        self.nursery, self.place, self.dead = nursery, place, False

    def send(self, temp_c: float, humidity_percent: float | None = None) -> None:
        """Send readings of now."""
        told = {"temp_c": temp_c, "humidity_percent": humidity_percent}
        now = written(self.nursery.clock.ms)
        readings = [
            {"place": self.place, "quantity_kind": kind, "value": value, "read_at": now}
            for kind, value in told.items()
            if value is not None
        ]
        said = self.nursery.call("POST", "/api/v1/readings", {"readings": readings}, "sensor")
        assert said.status_code == 200, said.json
        assert said.json["refused"] == [], said.json
