"""People with phones, and the sender that tells them: what the tests of reminders act through."""

import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from lathhouse.domain.instants import to_text
from lathhouse.reminders.mail import MailServer
from lathhouse.reminders.sender import Ways, send_due
from lathhouse.store import access
from tests.reminders.endpoint import Browser, Service, push_service
from tests.server import Nursery


class Phone:
    """A paired phone with a browser that takes messages."""

    def __init__(self, nursery: Nursery, role: str = "worker", person: str | None = None) -> None:
        self.nursery, self.browser, self.id = nursery, Browser(), str(uuid.uuid4())
        with nursery.app.app_context():
            now = to_text(nursery.clock.ms)
            link = access.make_link(nursery.site, role, person, now, 10)
        self.client = nursery.app.test_client()
        said = {"secret": link, "device": self.id, "name": f"{role}'s phone"}
        assert self.call("POST", "/api/v1/pairings/redeem", said).status_code == 200

    def call(self, method: str, path: str, body: Any = None) -> Any:
        sent = {} if body is None else {"json": body}
        return self.client.open(path, method=method, **sent)

    def subscribe(self, service: Service, path: str = "") -> Any:
        endpoint = f"{service.address}/{path or self.id}"
        said = self.browser.subscription(endpoint)
        return self.call("POST", "/api/v1/reminders/subscriptions", said)


class Told:
    """A nursery with people, a push service, and the sender as `serve` runs it, turn by turn."""

    def __init__(
        self, nursery: Nursery, service: Service, server: MailServer | None = None
    ) -> None:
        self.nursery, self.service = nursery, service
        self.writer = nursery.device()
        zone = {"id": nursery.site, "timezone": "Australia/Sydney", "name": "Quillstone",
                "working_days": [1, 2, 3, 4, 5, 6]}  # fmt: skip
        self.writer.record("nursery_changed", None, zone)
        self.ways = Ways(
            key=ec.generate_private_key(ec.SECP256R1()),
            server=server,
            address="https://nursery.example",
            contact="mailto:orla@nursery.example",
            inner=True,
            trusted=service.authority,
        )
        nursery.app.config["WAYS"] = self.ways

    def person(self, name: str, **said: Any) -> str:
        row = {"id": str(uuid.uuid4()), "name": name, **said}
        self.writer.record("person_changed", None, row)
        return row["id"]

    def carried(self, name: str, role: str = "worker", **said: Any) -> tuple[str, Phone]:
        """Return a person and their phone, which takes messages."""
        person = self.person(name, **said)
        phone = Phone(self.nursery, role, person)
        assert phone.subscribe(self.service).status_code == 201
        return person, phone

    def place(self, name: str, **said: Any) -> str:
        row = {"id": str(uuid.uuid4()), "name": name, "order": 1, **said}
        self.writer.record("place_changed", None, row)
        return row["id"]

    def soaking(self, hours: float, place: str | None = None, label: str = "26-017-R") -> str:
        """Return a lot that has soaked for so long; 24, 36 and 48 hours ring with priority 1."""
        start, lot = self.nursery.clock.text(hours=hours), str(uuid.uuid4())
        said = {"crop": "cornus-kousa", "label": label, "quantity": 900, "unit": "seeds"}
        # Fresh water, so that the soak's own time is all that rings.
        steps = [("lot_started", {**said, "place": place}, start), ("soak_started", {}, start),
                 ("water_changed", {}, self.nursery.clock.text(minutes=30))]  # fmt: skip
        events = [self.writer.event(kind, lot, data, at=at) for kind, data, at in steps]
        assert len(self.writer.push(*events)["stored"]) == 3
        return lot

    def turn(self, **later: float) -> int:
        """Let time pass, let the alert clock tick and the sender have its turn."""
        self.nursery.clock.forward(**later)
        self.nursery.tick()
        with self.nursery.app.app_context():
            return send_due(self.nursery.site, self.ways, self.nursery.clock)

    def log(self, phone: Phone | None = None) -> list[dict[str, Any]]:
        """Return the log of messages, the oldest first."""
        call = phone.call if phone else self.nursery.call
        return call("GET", "/api/v1/deliveries?limit=200").json["deliveries"][::-1]

    def folder(self) -> Path:
        return self.nursery.app.config["LATHHOUSE"].data


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A push service of the tests' own."""
    with push_service(tmp_path) as running:
        yield running


@pytest.fixture
def told(one_nursery: Nursery, service: Service) -> Told:
    """A nursery whose phones that service reaches."""
    return Told(one_nursery, service)
