"""A phone's silences and missing records, tried on its past: what the house itself had raised.

The check is the house, as in `test_watch_preview`: the same contacts and records at their times, on
a server whose clock stops at every deadline, leave alerts; the preview must name the same ones. The
story and its seeds are ours.
"""

import random
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.instants import HOUR_MS, MINUTE_MS
from lathhouse.domain.watch_replay import not_replayed
from lathhouse.domain.watches import load_rules
from lathhouse.store.models import Subject
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery
from tests.store.deadlines import stop_at_deadlines
from tests.store.test_watch_preview import BEGIN, happened, previewed, rule_of, told_by
from tests.web.test_people import MELE, Phone, link_for

DAYS = 40
WATCHES = ("phone-silent", "record-gap")
PHONES = Subject.kind == "phone"


class Kept(Phone):
    """A phone that may hold a record back, and send it later."""

    def __init__(self, nursery: Nursery) -> None:
        super().__init__(nursery)
        self.back: list[dict[str, Any]] = []
        self.refused: list[str] = []

    def pull(self) -> None:
        self.client.get("/api/v1/sync/pull")

    def look(self, moisture: int = 3) -> dict[str, Any]:
        return self.event("read", {"quantity_kind": "temp_c", "value": moisture})

    def hold_back(self) -> None:
        self.back.append(self.look())
        self.push(self.look())

    def catch_up(self) -> None:
        self.push(*self.back, self.look())
        self.back.clear()

    def err(self) -> None:
        event = self.look(999)
        self.refused.append(event["id"])
        assert self.push(event).json["refused"]

    def give_up(self) -> None:
        self.push(*(self.event("voided", {"of": one, "why": "a slip"}) for one in self.refused))
        self.refused.clear()

    def be_cut_off(self) -> None:
        self.nursery.call("POST", f"/api/v1/phones/{self.id}/cut-off", {})

    def come_back(self) -> None:
        self.pair(link_for(self.nursery, "worker", MELE)["link"])


def lived(folder: Path, seed: int) -> Nursery:
    """Return a nursery in which one phone has lived through a random story of forty days."""
    pick, clock = random.Random(seed), Clock(BEGIN)
    nursery = open_nursery(address_for(folder / "l.sqlite"), folder / "data", clock)
    phone, begin_ms = Kept(nursery), clock.ms
    phone.come_back()
    at_ms, in_touch = begin_ms, True
    while True:
        at_ms += pick.choice([MINUTE_MS, HOUR_MS, 9 * HOUR_MS, 20 * HOUR_MS, 60 * HOUR_MS])
        if at_ms >= begin_ms + DAYS * 24 * HOUR_MS:
            break
        stop_at_deadlines(nursery, at_ms, PHONES)
        nursery.clock.ms = at_ms
        acts = [phone.pull, phone.hold_back, phone.catch_up, phone.err, phone.give_up]
        act = pick.choice([*acts, phone.be_cut_off]) if in_touch else phone.come_back
        in_touch = act != phone.be_cut_off
        act()
    stop_at_deadlines(nursery, begin_ms + DAYS * 24 * HOUR_MS, PHONES)
    nursery.clock.ms = begin_ms + DAYS * 24 * HOUR_MS
    return nursery


@pytest.mark.parametrize("seed", range(4))
def test_the_preview_names_what_the_house_itself_raised(tmp_path: Path, seed: int):
    nursery = lived(tmp_path, seed)
    for watch in WATCHES:
        found = previewed(nursery, rule_of(nursery, watch), DAYS + 1)
        assert told_by(found) == happened(nursery, watch) != []
        assert (found["whole"], found["not_replayed"]) == (True, [])
        assert found["now"] == found["then"]
    close_nursery(nursery)


def test_a_shorter_silence_is_tried_on_the_contacts_as_they_were(tmp_path: Path):
    nursery = lived(tmp_path, 0)
    rule = rule_of(nursery, "phone-silent")
    sooner = {**rule, "after": {"due": {"hours": 6}, "late": {"hours": 24}, "alarm": {"hours": 48}}}
    found = previewed(nursery, sooner, DAYS + 1)
    assert found["then"]["raised"] > found["now"]["raised"] > 0
    close_nursery(nursery)


def test_every_watch_can_be_tried():
    assert [rule["id"] for rule in load_rules() if not_replayed(rule)] == []
