"""A phone whose store was put on another, or back on itself: one device's id, used twice."""

from typing import Any

from playwright.sync_api import Browser

from tests.phone.conftest import OpenPhone, Phone
from tests.phone.network import Network

READ = """() => phone.database.reading(async (db) => {
  const disk = {};
  for (const name of db.objectStoreNames) {
    disk[name] = [await db.getAllKeys(name), await db.getAll(name)];
  }
  return disk;
})"""
WRITE = """(disk) => phone.database.durably(Object.keys(disk), async (tx) => {
  for (const [name, [keys, values]] of Object.entries(disk)) {
    const store = tx.objectStore(name);
    await store.clear();
    for (const [at, value] of values.entries()) {
      await (store.keyPath ? store.put(value) : store.put(value, keys[at]));
    }
  }
})"""


def put_back(phone: Phone, disk: Any, open_phone: OpenPhone) -> Phone:
    """Give a phone a backup, and open the app on it again without letting it send yet."""
    phone.run(WRITE, disk)
    phone.page.close()
    return open_phone(phone.page.context, still=1)


def begin(phone: Phone, open_phone: OpenPhone) -> Phone:
    """Open the app in earnest, and wait until it has sent and been told everything."""
    phone.page.close()
    opened = open_phone(phone.page.context)
    opened.until_in_touch()
    return opened


def is_told(phone: Phone) -> None:
    """Wait until the phone tells its person that another one has its number."""
    phone.nudge()
    phone.until("phone.house.risks.value.some(({ kind }) => kind === 'cloned')")


def moisture(events: list[dict[str, Any]]) -> list[tuple[int, int]]:
    looks = [event for event in events if event["kind"] == "looked"]
    return sorted((event["seq"], event["data"]["moisture"]) for event in looks)


def test_f29_a_phones_backup_put_on_another_loses_nothing_and_both_are_told(
    app: Phone, network: Network, open_phone: OpenPhone, browser: Browser
):
    """FAULTS F29: one id, the same numbers, other records; what neither had sent is there once.

    Then one of them is put back to its own backup, and numbers anew what it had numbered already.
    """
    lot = app.start_lot()
    app.until_in_touch()
    own = app.page.context
    own.set_offline(True)
    app.record("looked", lot, {"moisture": 1})
    backup, owner = app.run(READ), app.meta("device")
    other = browser.new_context()
    other.add_cookies(own.cookies())  # a phone's backup has those too
    twin = put_back(open_phone(other, still=1), backup, open_phone)
    assert twin.meta("device") == owner
    app.record("looked", lot, {"moisture": 2})
    twin.record("looked", lot, {"moisture": 3})
    own.set_offline(False)
    app.until_sent()
    app.until_in_touch()
    assert app.run("() => phone.house.phone().cloned_since") is None
    twin = begin(twin, open_phone)
    assert moisture(network.stored()) == [(2, 1), (3, 2), (3, 3)]
    for phone in (app, twin):
        is_told(phone)
        assert phone.lot(lot)["events_count"] == 4
        assert phone.stored("refused") == []

    app.page.close()
    app = put_back(open_phone(own, still=1), backup, open_phone)
    app.record("looked", lot, {"moisture": 4})
    app = begin(app, open_phone)
    is_told(app)
    assert moisture(network.stored()) == [(2, 1), (3, 2), (3, 3), (3, 4)]
    twin.nudge()
    for phone in (app, twin):
        phone.until("phone.house.lots.value.get(given)?.events_count === 5", lot)
    assert {event["device"] for event in network.stored()} == {owner}
    other.close()
