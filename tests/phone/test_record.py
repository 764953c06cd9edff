"""What the phone says it has saved is saved (FAULTS F1, F5, F14, F17, F19)."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from lathhouse.domain.instants import MINUTE_MS, to_ms, to_text
from lathhouse.settings import wall_clock_ms
from lathhouse.store.access import make_link, owner_link
from tests.browser import PersistentPhone
from tests.phone.conftest import OpenPhone, Phone, open_app
from tests.phone.network import Network

MANY_TAPS = """async (count) => {
  for (let n = 0; n < count; n += 1) {
    await phone.record.record("noted", null, { text: `note ${n}` });
    window.saved?.(n);
  }
}"""
FILL = """async () => {
  let saved = 0;
  try {
    for (; saved < 100; saved += 1) {
      let bytes = "";
      for (const part of Array.from({ length: 5 }, () => new Uint8Array(60_000))) {
        for (const byte of crypto.getRandomValues(part)) bytes += String.fromCharCode(byte);
      }
      const text = btoa(bytes);
      await phone.record.record("noted", null, { text });
    }
  } catch (error) {
    return { saved, name: error.constructor.name };
  }
  return { saved, name: "nothing" };
}"""


def test_f01_killed_right_after_a_tap_nothing_saved_is_lost(
    persistent_phone: Callable[[str], PersistentPhone], network: Network, open_phone: OpenPhone
):
    """SIGKILL amid a run of taps: each that was answered "saved" is there after a new start."""
    shed = persistent_phone("shed")
    context = shed.open()
    page = context.new_page()
    saved: list[int] = []
    some = threading.Event()

    def note(number: int) -> None:
        saved.append(number)
        if len(saved) == 30:
            some.set()

    page.expose_function("saved", note)
    page.goto(f"{network.address}/index.html?still=1")
    page.wait_for_function("() => document.title === 'ready'")
    # Not awaited: the taps go on while the browser dies.
    page.evaluate(f"() => {{ void ({MANY_TAPS})(100_000); }}")
    while not some.is_set():
        page.evaluate("() => 1")  # lets the page's calls through
    shed.kill()
    again = open_phone(shed.open(), still=1)
    kept = {event["data"]["text"] for event in again.stored("events")}
    queued = {entry["id"] for entry in again.stored("outbox")}
    assert {f"note {number}" for number in saved} <= kept
    assert queued == {event["id"] for event in again.stored("events")}
    assert len(queued) == again.meta("next_seq") - 1


def test_f05_the_outbox_has_no_expiry(app: Phone, network: Network):
    """Two months without a network, then the record is sent as on the first day."""
    app.page.context.set_offline(True)
    app.page.clock.install()
    lot = app.start_lot()
    app.page.clock.fast_forward(60 * 86_400 * 1000)
    app.page.context.set_offline(False)
    app.until_sent()
    assert [event["lot"] for event in network.stored()] == [lot]


def test_numbers_have_no_gap_and_no_double_across_two_tabs(open_phone: OpenPhone, network: Network):
    """Two tabs of one phone record at the same time; the numbers run on from 1."""
    first, second = open_phone(), open_phone()
    for tab in (first, second):
        tab.page.evaluate(f"() => {{ window.taps = ({MANY_TAPS})(40); }}")
    for tab in (first, second):
        tab.run("() => window.taps")
        tab.until_in_touch()
    assert [event["seq"] for event in network.stored()] == list(range(1, 81))


def test_f14_a_connection_that_died_in_the_background_is_opened_again(app: Phone):
    app.run("async () => (await phone.database.database()).close()")
    event = app.record("noted", None, {"text": "after the phone slept"})
    assert event["id"] in {stored["id"] for stored in app.stored("events")}


def test_f14_a_connection_that_stays_dead_asks_for_a_restart_and_saves_nothing(app: Phone):
    before = app.meta("next_seq")
    failed = app.run(
        """async () => {
          const open = IDBDatabase.prototype.transaction;
          IDBDatabase.prototype.transaction = () => {
            throw new DOMException("Connection to Indexed Database server lost", "UnknownError");
          };
          try {
            await phone.record.record("noted", null, { text: "?" });
          } catch (error) {
            return error.constructor.name;
          } finally {
            IDBDatabase.prototype.transaction = open;
          }
        }"""
    )
    assert failed == "NeedsRestart"
    assert app.run("() => phone.house.trouble.value") == "restart"
    assert app.meta("next_seq") == before


def test_f14_a_tap_whose_answer_died_with_the_connection_counts_once(app: Phone):
    """The transaction completed but the connection died before saying so: it runs again."""
    app.run(
        """async () => {
          const { get } = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, "oncomplete");
          const listen = IDBTransaction.prototype.addEventListener;
          let once = true;
          IDBTransaction.prototype.addEventListener = function (type, listener, ...rest) {
            if (type === "complete" && this.mode === "readwrite" && once) {
              once = false;
              const died = () => {
                const error = new DOMException("lost", "UnknownError");
                Object.defineProperty(this, "error", { value: error });
                this.dispatchEvent(new Event("error"));
              };
              return listen.call(this, type, died, ...rest);
            }
            return listen.call(this, type, listener, ...rest);
          };
          try {
            await phone.record.record("noted", null, { text: "once" });
          } finally {
            IDBTransaction.prototype.addEventListener = listen;
          }
        }"""
    )
    notes = [event for event in app.stored("events") if event["data"].get("text") == "once"]
    assert len(notes) == 1
    assert app.meta("next_seq") == notes[0]["seq"] + 1


def test_f17_an_old_tab_gives_way_to_a_newer_version_of_the_database(
    app: Phone, phone: BrowserContext, network: Network
):
    """The newer tab is not blocked; the old one says what it needs instead of hanging."""
    newer = phone.new_page()
    newer.goto(f"{network.address}/core/ids.js")
    opened = newer.evaluate(
        """() => new Promise((resolve, reject) => {
          const asked = indexedDB.open("lathhouse", 3);
          asked.onblocked = () => reject(new Error("blocked"));
          asked.onsuccess = () => resolve(asked.result.version);
        })"""
    )
    assert opened == 3
    app.until("phone.house.trouble.value === 'outdated'")
    refused = app.run(
        """() => phone.record.record("noted", null, {}).catch((error) => error.constructor.name)"""
    )
    assert refused == "NeedsRestart"


def test_f17_a_blocked_upgrade_says_so_and_goes_on_when_the_old_tab_closes(
    phone: BrowserContext, network: Network
):
    old = phone.new_page()
    old.goto(f"{network.address}/core/ids.js")
    old.evaluate(
        """() => new Promise((resolve) => {
          const asked = indexedDB.open("lathhouse", 1);
          asked.onupgradeneeded = () => {
            const keys = ["events id", "outbox seq", "refused id", "confirming id", "rows key"];
            for (const [name, keyPath] of keys.map((words) => words.split(" "))) {
              asked.result.createObjectStore(name, { keyPath });
            }
            asked.result.createObjectStore("meta");
          };
          asked.onsuccess = () => { window.held = asked.result; resolve(); };
        })"""
    )
    page = phone.new_page()
    page.goto(f"{network.address}/core/ids.js")
    page.evaluate(
        """() => {
          window.told = [];
          window.opened = import("/store/database.js").then((database) => {
            database.onTrouble((what) => window.told.push(what));
            return database.database();
          }).then((db) => db.version);
        }"""
    )
    page.wait_for_function("() => window.told.includes('blocked')")
    old.evaluate("() => window.held.close()")
    assert page.evaluate("() => window.opened") == 2
    assert page.evaluate("() => window.told.at(-1)") == "open"


def test_f19_a_full_phone_says_so_and_keeps_what_it_has(
    persistent_phone: Callable[[str], PersistentPhone], network: Network, open_phone: OpenPhone
):
    """A record that does not fit is refused; those before it stand, and no number is lost."""
    context = persistent_phone("full").open()
    app = open_phone(context, still=1)
    devtools = context.new_cdp_session(app.page)
    quota = {"origin": network.address, "quotaSize": 1_000_000}
    devtools.send("Storage.overrideQuotaForOrigin", quota)
    app.record("noted", None, {"text": "before"})
    filled = app.run(FILL)
    assert filled["name"] == "StorageFull"
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": network.address})
    after = app.record("noted", None, {"text": "after"})
    assert after["seq"] == filled["saved"] + 2
    assert len(app.stored("events")) == len(app.stored("outbox")) == after["seq"]


@pytest.fixture
def closed(tmp_path: Path) -> Iterator[Network]:
    """A server that lets nobody in but by a link."""
    network = Network(tmp_path, demo=False)
    yield network
    network.heal()
    network.stop()
    network.close_app()


def paired(page: Page, network: Network) -> Phone:
    """Open the app as a stranger, and pair it by the owner's link."""
    with network.app.app_context():
        secret = owner_link(network.app.config["SITE_ID"], to_text(wall_clock_ms()))
    app = open_app(page, network.address)
    app.until("phone.house.contact.value.state === 'signed-out'")
    app.run("(secret) => phone.session.pair(secret, 'shed')", secret)
    app.until_in_touch()
    return app


def test_f19_a_paired_phone_that_finds_its_record_gone_says_so(
    phone: BrowserContext, closed: Network
):
    """The cookie is still good, but the browser threw the storage away."""
    page = phone.new_page()
    app = paired(page, closed)
    assert app.run("() => phone.house.emptied.value") is None
    before = app.record("noted", None, {"text": "safe on the server"})["device"]
    app.until_sent()
    page.goto(f"{closed.address}/core/ids.js")
    page.evaluate(
        """() => new Promise((resolve) => {
          indexedDB.deleteDatabase("lathhouse").onsuccess = resolve;
        })"""
    )
    again = open_app(page, closed.address)
    again.until("phone.house.emptied.value")
    # It says of the phone as it was what the server still knows.
    assert again.run("() => phone.house.emptied.value.device") == before
    again.until("phone.house.one('phone', phone.house.emptied.value.device)?.contiguous === 1")


# The phone as it stands while a pairing's answer is on its way: begun, and not kept yet. It is kept
# in the very moment in which somebody who asks who this phone is looks whether it is known.
KEPT_WHILE_LOOKING = """async () => {
  const { database, durably } = await import("/store/database.js");
  const db = await database();
  await durably(["meta"], async (tx) => {
    await tx.objectStore("meta").delete("session");
    await tx.objectStore("meta").put(true, "pairing");
  });
  const { get } = IDBObjectStore.prototype;
  let done = null;
  IDBObjectStore.prototype.get = function (key) {
    const asked = get.call(this, key);
    if (key !== "session" || done) return asked;
    const tx = db.transaction("meta", "readwrite");
    done = tx.done;
    void tx.store.put({ role: "worker" }, "session");
    void tx.store.delete("pairing");
    return asked;
  };
  await phone.session.whoAmI();
  await done;
  return done !== null;
}"""


# Asked with the old cookie, and answered only after the phone has another session.
PAIRED_WHILE_ASKED = """async (secret) => {
  const { fetch } = window;
  let answered, go;
  const isAnswered = new Promise((resolve) => { answered = resolve; });
  const held = new Promise((resolve) => { go = resolve; });
  window.fetch = async (...asked) => {
    const answer = await fetch(...asked);
    answered();
    await held;
    return answer;
  };
  const old = phone.session.whoAmI();
  window.fetch = fetch;
  await isAnswered;
  await phone.session.pair(secret, "shed");
  go();
  await old;
}"""


def test_f19_a_phone_that_is_being_paired_is_not_taken_for_an_emptied_one(
    phone: BrowserContext, closed: Network
):
    page = phone.new_page()
    with page.expect_request("**/api/v1/pairings/redeem") as asked:
        app = paired(page, closed)
    # It says its own time with all that it asks: a server with a clock in doubt dates by it.
    said_ms = to_ms(asked.value.headers["lathhouse-sent-at"])
    assert abs(said_ms - wall_clock_ms()) < MINUTE_MS
    assert app.run(KEPT_WHILE_LOOKING)
    assert app.run("() => phone.house.emptied.value") is None
    with closed.app.app_context():
        site, at = closed.app.config["SITE_ID"], to_text(wall_clock_ms())
        secret = make_link(site, "worker", None, at, 10)
    app.run(PAIRED_WHILE_ASKED, secret)
    assert app.run("() => phone.house.session.value.role") == "worker"
    assert app.meta("session")["role"] == "worker"
