"""Several processes on one PostgreSQL answer phones as one server, and one of them is killed."""

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page
from tests.browser import PersistentPhone
from tests.databases import empty_postgresql, postgresql

from e2e.house import House, lot_events, pair, phone_lots, place, plain, until, until_in_touch

__all__ = ["postgresql"]
RECORD = """async ([lots, count]) => {
  const { recordAll } = await import("/store/record.js");
  const looks = Array.from({ length: count }, (_, n) => (
    { kind: "looked", lot: lots[n % lots.length], data: { moisture: 3 } }));
  await recordAll(looks);
}"""
LOOKS = """import('/store/house.js').then((house) => [...house.lots.value.values()]
  .filter((lot) => lot.last_look?.moisture === 3).length === given)"""


@pytest.fixture
def house(postgresql: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    """A server of two processes on an empty PostgreSQL."""
    with empty_postgresql(postgresql) as address:
        monkeypatch.setenv("LATHHOUSE_DATABASE_URL", address)
        running = House(tmp_path / "house", "--workers", "2")
        running.start()
        yield running
        running.stop()


def workers(house: House) -> list[int]:
    """Return the processes that answer."""
    assert house.process is not None
    pid = house.process.pid
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def try_now(page: Page) -> None:
    page.evaluate("() => dispatchEvent(new Event('online'))")


def test_one_phone_records_another_follows_and_a_killed_process_is_missed_by_neither(
    house: House, persistent_phone: Callable[[str], PersistentPhone]
):
    bench = place(house, "Bench", 1)
    made = [lot_events(house, f"L{number}", bench, 9) for number in range(4)]
    house.record([event for _, events in made for event in events])
    lots = [lot for lot, _ in made]
    second = house.call("POST", "/api/v1/pairings", {"role": "worker"})["link"]
    grower = pair(persistent_phone("grower").open(), house)
    follower = pair(persistent_phone("follower").open(), house, second)
    before = workers(house)
    assert len(before) == 2

    grower.evaluate(RECORD, [lots[:2], 10])
    os.kill(before[0], signal.SIGKILL)
    grower.evaluate(RECORD, [lots[2:], 10])
    for page in (grower, follower):
        try_now(page)
        until_in_touch(page)
    until(follower, LOOKS, 4)

    looks = house.events("looked")
    assert len(looks) == len({event["id"] for event in looks}) == 20
    on_server = plain(house.lots())
    assert plain(phone_lots(grower)) == plain(phone_lots(follower)) == on_server
    after = workers(house)
    assert len(after) == 2
    assert before[0] not in after
    assert before[1] in after
