"""The cursor misses nothing and splits nothing, however many write while it is followed."""

import threading
import uuid
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from lathhouse.store import engine
from tests.server import Device, Nursery

WRITERS, PUSHES, READ_BOUND = 16, 4, 20_000


def page(nursery: Nursery, cursor: str, limit: int) -> dict[str, Any]:
    return nursery.call("GET", f"/api/v1/sync/pull?after={cursor}&limit={limit}").json


class Follower:
    """A phone that follows the cursor page by page, and keeps what it was last told of each lot."""

    def __init__(self, nursery: Nursery, limit: int) -> None:
        self.nursery, self.limit = nursery, limit
        self.cursor = "0"
        self.revisions: set[int] = set()
        self.split = 0
        self.lots: dict[str, dict[str, Any]] = {}

    def turn(self) -> bool:
        """Take one page; return whether there is more."""
        said = page(self.nursery, self.cursor, self.limit)
        for lot in said["rows"]["lots"]:
            held = self.lots.get(lot["id"])
            assert held is None or held["revision"] <= lot["revision"], "a row went back in time"
            self.lots[lot["id"]] = lot
        found = {row["revision"] for rows in said["rows"].values() for row in rows}
        # A revision that goes on in the next page was cut in two by this one's end.
        self.split += bool(found & self.revisions)
        self.revisions = found
        self.cursor = said["cursor"]
        return bool(said["more"])


def write(nursery: Nursery, lots: list[str], number: int) -> None:
    """Be one of the writers: looks at lots that others look at too, in its own order."""
    device = Device(nursery)
    mine = lots[number % 3 :] + lots[: number % 3]
    for turn in range(PUSHES):
        looks = [device.event("looked", lot, {"moisture": 1 + (number + turn) % 5}) for lot in mine]
        assert len(device.push(*looks)["stored"]) == len(mine)


def test_f08_under_16_writers_the_cursor_misses_no_row(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """FAULTS F8: the revision is raised inside the one writing transaction, last of all."""
    # Each waits until its turn comes, however slow the machine: a phone would come again.
    monkeypatch.setattr(engine, "TURN_SECONDS", 600)
    first = nursery.device()
    lots = [first.start_lot(label=f"L{number}") for number in range(8)]
    nursery.token("owner")
    followers, writing = [Follower(nursery, limit=1), Follower(nursery, limit=3)], threading.Event()
    writing.set()

    def follow(follower: Follower) -> None:
        for _ in range(READ_BOUND):
            # Asked before the page: what was written since then is on the next one.
            over = not writing.is_set()
            if not follower.turn() and over:
                return
        raise AssertionError("the follower never came to the end")

    with ThreadPoolExecutor(WRITERS + len(followers)) as pool:
        following = [pool.submit(follow, one) for one in followers]
        done = [pool.submit(write, nursery, lots, number) for number in range(WRITERS)]
        for one in done:
            one.result()
        writing.clear()
        for one in following:
            one.result()
    afresh = {lot["id"]: lot for lot in nursery.rows("lots")}
    for follower in followers:
        assert follower.lots == afresh
        assert follower.split > 0
    assert all(lot["events_count"] == 1 + WRITERS * PUSHES for lot in afresh.values())
    assert nursery.differences() == []


def test_f09_a_page_may_end_inside_a_revision_and_loses_nothing(nursery: Nursery):
    """FAULTS F9: one order for everything, and a cursor that stands between any two rows."""
    device = nursery.device()
    starts = [
        device.event(
            "lot_started", str(uuid.uuid4()), {"crop": "acer-palmatum", "label": f"L{number}"}
        )
        for number in range(25)
    ]
    device.push(*starts)
    told: dict[int, list[Any]] = {}
    for limit in (1, 2, 7, 1000):
        cursor, more, rows = "0", True, []
        while more:
            said = page(nursery, cursor, limit)
            rows += [(kind, row["id"]) for kind, some in said["rows"].items() for row in some]
            cursor, more = said["cursor"], said["more"]
        assert len(rows) == len(set(rows))
        told[limit] = sorted(rows)
    assert len([row for row in told[1] if row[0] == "lots"]) == 25
    assert told[1] == told[2] == told[7] == told[1000]


def test_a_limit_beyond_the_maximum_is_cut_and_not_refused(one_nursery: Nursery):
    assert len(page(one_nursery, "0", 1_000_000)["rows"]) > 0
