"""Events that the server writes for a person who acts through it: the same log, the same rules."""

import os
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from lathhouse.domain.attribution import is_said
from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.phone_numbers import account, next_seq
from lathhouse.store import phones, record
from lathhouse.store.senders import SERVER
from lathhouse.store.work import Work, writing
from lathhouse.sync.kinds import check_event, corrected_at
from lathhouse.sync.readings import numbered
from lathhouse.sync.shapes import KINDS

Data = dict[str, Any]
SELF = {"name": "server", "role": "owner", "silent_ok": True, "sender": SERVER}


def said(kind: str, data: Data, by: str | None, lot: str | None = None) -> Data:
    """Return what a person did through the server, without time and number."""
    return {"kind": kind, "lot": lot, "by": by, "data": data}


def access_said(what: str, by: str | None, **more: Any) -> Data:
    """Return a change of who is let in; never with a secret.

    What does not fit its field is mended or left out: no name may hold up a revocation.
    """
    shape = KINDS["access_changed"]
    clean = {n: " ".join(v.split()) if isinstance(v, str) else v for n, v in more.items()}
    known = {n: v for n, v in clean.items() if v is not None and shape[n].fits(v)}
    return said("access_changed", {"what": what, **known}, by)


@dataclass(frozen=True)
class ServerDevice:
    """This process as a device: its own id, so that no two ever share a number.

    Attributes:
        surely: whose the phone surely is that the person acts from; another name on what is
            recorded is marked `by_said`, as in a push.
        observed_ms: when they do it by their phone's clock, where our own is in doubt.
    """

    id: str = field(default_factory=lambda: str(uuid.uuid4()))
    surely: str | None = None
    observed_ms: int | None = None

    def acted_from(self, surely: str | None) -> "ServerDevice":
        """Return the same device, for an act from a phone that is surely that person's."""
        return replace(self, surely=surely)

    def acted_at(self, observed_ms: int | None) -> "ServerDevice":
        """Return the same device, for an act at a time that is not by our own clock."""
        return replace(self, observed_ms=observed_ms)

    def time(self, work: Work) -> str:
        """Return when what is done in a transaction under way is done."""
        return work.now if self.observed_ms is None else to_text(self.observed_ms)

    def write(self, site_id: str, told: Data, now_ms: int, observed_ms: int, *, sure: bool) -> None:
        """Record one event, without those of its fields that have no value.

        Args:
            told: as `said` returns it.
            observed_ms: when it was done.
            sure: our own clock is in no doubt.

        Raises:
            BadField: it cannot be right.
            FromTheFuture: it is of a time to come.
        """
        data = {name: value for name, value in told["data"].items() if value is not None}
        one = {**told, "data": data, "observed_at": to_text(observed_ms)}
        writing(site_id, to_text(now_ms), lambda work: self.add(work, [one], sure=sure))

    def add(
        self, work: Work, told: list[Data], others: Iterable[Data] = (), *, sure: bool = True
    ) -> None:
        """Record events in a transaction under way, which ends with them.

        Args:
            told: as `said` returns them; one that does not say when it was done is of `time`.
            others: rows of other devices, to be written with the rest.
            sure: our own clock is in no doubt.

        Raises:
            BadField: one of them cannot be right.
        """
        sure = sure and self.observed_ms is None
        dated = [{"observed_at": self.time(work), **one} for one in told]
        drafts = [self._draft(one, to_ms(work.now), sure=sure) for one in dated]
        work.lock(record.lock_keys(work.site_id, drafts))
        # Last, for everybody: whoever has this one waits for no other.
        work.lock({f"phone:{self.id}"})
        phone = phones.phone_of(work, self.id) | SELF | {"last_sync_at": work.now}
        first = next_seq(phone)
        added = [numbered(one, self.id, first + n, work.now) for n, one in enumerate(drafts)]
        account(phone, [event["seq"] for event in added], work.now)
        record.append(work, added, phone, others)

    def _draft(self, told: Data, now_ms: int, *, sure: bool) -> Data:
        event = check_event({"id": uuid7(now_ms, os.urandom(10)), "seq": 1, **told})
        by_said = {"by_said": True} if is_said(event["by"], self.surely) else {}
        return {**event, **by_said, "at": corrected_at(event, 0, now_ms, sure=sure)}
