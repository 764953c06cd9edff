"""The messages that would reach each person: the server's own queue, taken as its sender does."""

import base64
from collections import Counter
from typing import Any

from sqlalchemy import func, select

from lathhouse.domain.instants import to_text
from lathhouse.store import access, claims, deliveries, subscriptions
from lathhouse.store.models import Delivery, db
from lathhouse.web.gate import COOKIE
from tests.server import Clock, Nursery
from tests.simulation.calendar import Calendar
from tests.simulation.phones import Phone

TAKEN_AT_ONCE_MAX = 200


class Post:
    """Takes every message when it is due, and notes who got it; nothing leaves the machine."""

    def __init__(self, nursery: Nursery, calendar: Calendar) -> None:
        self.nursery, self.calendar = nursery, calendar
        self.names: dict[str, str] = {}
        self.got: dict[str, Counter[int]] = {}

    def subscribe(self, phone: Phone, person: str | None) -> None:
        """Let a phone ask for messages, for its person or else for itself."""
        cookie = phone.client.get_cookie(COOKIE)
        assert cookie is not None
        key = base64.urlsafe_b64encode(b"\x04" + bytes(64)).decode()
        body: dict[str, Any] = {"endpoint": f"https://push.example/{phone.name}"}
        body["keys"] = {"p256dh": key, "auth": base64.urlsafe_b64encode(bytes(16)).decode()}
        session, now = access.hashed(cookie.value), to_text(self.nursery.clock.ms)
        with self.nursery.app.app_context():
            subscriptions.subscribe(self.nursery.site, session, body, now)
        to = subscriptions.recipient_of(person, phone.device, session)
        self.names[to], self.got[to] = phone.name, Counter()

    def next_due(self) -> int | None:
        """Return when the next message of the queue is due."""
        waiting = select(func.min(Delivery.due_at)).where(Delivery.state.in_(deliveries.QUEUED))
        with self.nursery.app.app_context(), db.engine.connect() as connection:
            found = connection.execute(waiting).scalar()
        return Clock(found).ms if found else None

    def take(self) -> None:
        """Take all that is due now; what need not be told any more is not counted."""
        now = to_text(self.nursery.clock.ms)
        with self.nursery.app.app_context():
            for _ in range(TAKEN_AT_ONCE_MAX):
                message = claims.claim(self.nursery.site, now)
                if message is None:
                    return
                if message["rows"]:
                    claims.finish(self.nursery.site, message, deliveries.TAKEN, None, now)
                    day = self.calendar.day_of(self.nursery.clock.ms)
                    self.got[message["recipient"]][day] += 1

    def counts(self, days: list[int]) -> dict[str, list[int]]:
        """Return {phone: messages on each of these days}."""
        return {self.names[to]: [got[day] for day in days] for to, got in self.got.items()}
