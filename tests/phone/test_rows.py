"""What comes from the server: whole pages, and one that has forgotten (FAULTS F10, F11, F25)."""

import uuid

import pytest

from tests.phone.conftest import OpenPhone, Phone
from tests.phone.network import Network

PULL = "/api/v1/sync/pull"
PUSH = "/api/v1/sync/push"


def test_f10_rows_and_cursor_are_kept_together_or_not_at_all(app: Phone, network: Network):
    """Writing the cursor fails: the page's rows are not there either, and come again."""
    app.run(
        """() => {
          const put = IDBObjectStore.prototype.put;
          IDBObjectStore.prototype.put = function (value, key) {
            if (key !== "cursor") return put.call(this, value, key);
            window.failedAt = value;
            IDBObjectStore.prototype.put = put;
            throw new Error("the disk is away");
          };
        }"""
    )
    before = app.meta("cursor")
    lot = app.start_lot()
    app.until("phone.house.contact.value.state === 'fault'")
    failed = app.run(
        """() => phone.database.reading(async (db) => [
          await db.get("meta", "cursor"), (await db.getAll("rows")).map((row) => row.id)])"""
    )
    assert failed[0] == before
    assert lot not in failed[1]
    app.until_in_touch()
    assert app.lot(lot)["revision"] > 0
    assert app.meta("cursor") != before


def test_f10_a_pull_that_was_cut_off_goes_on_where_it_stopped(
    open_phone: OpenPhone, network: Network
):
    """A first pull of many pages; the second page's answer is lost, and no row is missing."""
    writer = open_phone()
    writer.page.context.set_offline(True)
    lots = [writer.start_lot(label=f"26-{number}") for number in range(20)]
    writer.page.context.set_offline(False)
    writer.until_in_touch()
    reader = open_phone(writer.page.context.browser.new_context(), still=1)
    reader.run(
        """async () => {
          const { applyPage } = await import("/store/rows.js");
          await phone.session.whoAmI();
          for (let cursor = "0", more = true, n = 0; more; n += 1) {
            const path = `/api/v1/sync/pull?after=${cursor}&limit=7`;
            const page = await phone.server.ask("GET", path);
            // Every second page is thrown away as a killed phone would, and asked for again.
            if (n % 2) await applyPage(page, cursor, false, "");
            cursor = n % 2 ? page.cursor : cursor;
            more = page.more || n % 2 === 0;
          }
        }"""
    )
    held = {row["id"] for row in reader.stored("rows") if row["kind"] == "lot"}
    assert held == set(lots)
    reader.page.context.close()


@pytest.mark.parametrize("new_epoch", [True, False], ids=["new epoch", "same epoch"])
def test_f11_a_restored_server_is_noticed_and_given_what_it_lacks(
    app: Phone, network: Network, new_epoch: bool
):
    """Nothing of the phone's waits to be sent; still the server gets back what it forgot."""
    lot = app.start_lot()
    app.until_in_touch()
    backup = network.backup()
    look = app.record("looked", lot, {"moisture": 4})
    app.until_in_touch()
    lost = app.start_lot(label="26-018-R")
    app.until_in_touch()
    network.restore(backup, new_epoch=new_epoch)
    assert len(network.stored()) == 1
    app.nudge()
    network.wait(lambda: len(network.stored()) == 3)
    app.until_in_touch()
    assert {event["id"] for event in network.stored()} > {look["id"]}
    assert app.lot(lot)["last"]["moisture"]["value"] == 4
    assert app.lot(lost)["revision"] > 0
    assert app.run("() => phone.house.phone().gap_since") is None


def test_f11_what_came_from_others_after_the_backup_is_gone_from_the_phone_too(
    app: Phone, network: Network
):
    """Another device's lot that the restored server no longer knows is not shown as if it did."""
    backup = network.backup()
    other = str(uuid.uuid4())
    event = {
        "id": str(uuid.uuid4()),
        "seq": 1,
        "kind": "lot_started",
        "lot": other,
        "observed_at": "2026-09-10T08:00:00+10:00",
        "data": {"crop": "acer-palmatum", "label": "26-099-R"},
    }
    body = {
        "device": str(uuid.uuid4()),
        "sent_at": "2026-09-10T08:00:00+10:00",
        "events": [event],
    }
    app.run("(body) => phone.server.ask('POST', '/api/v1/sync/push', body)", body)
    app.nudge()
    app.until("phone.house.lots.value.has(given)", other)
    app.until_in_touch()
    network.restore(backup, new_epoch=True)
    app.nudge()
    app.until("!phone.house.lots.value.has(given)", other)
    app.until_in_touch()
    assert other not in {row["id"] for row in app.stored("rows")}


def test_f11_a_restored_server_hears_of_refused_numbers_again(app: Phone, network: Network):
    """A refused number was accounted for; after the restore it must be so again, mended or not."""
    backup = network.backup()
    lot = app.start_lot()
    bad = app.record("looked", lot, {"moisture": 9})
    app.until("phone.house.tray.value.length === 1")
    app.run("(id) => phone.tray.mend(id, { moisture: 4 })", bad["id"])
    app.until("phone.house.tray.value.length === 0")
    app.until_in_touch()
    network.restore(backup, new_epoch=True)
    app.nudge()
    network.wait(lambda: len(network.stored()) == 2)
    app.until_in_touch()
    assert app.run("() => phone.house.tray.value") == []
    assert app.run("() => [phone.house.phone().gap_since, phone.house.phone().refused_since]") == [
        None,
        None,
    ]


def test_f25_a_child_whose_parent_is_unknown_is_shown_all_the_same(app: Phone):
    child = app.start_lot(parents=[str(uuid.uuid4())])
    assert app.lot(child)["quantity"] == 1800
    app.until_in_touch()
    assert app.lot(child)["stage"] == "seed"


def test_what_the_server_took_stays_on_the_screen_until_its_rows_come(app: Phone, network: Network):
    """Between the push and the pull the lot must not fall back to what it was before."""
    lot = app.start_lot()
    app.until_in_touch()
    network.next(PULL, "503", times=-1)
    app.record("looked", lot, {"moisture": 4})
    app.until("phone.house.pending.value.length === 0")
    app.until("phone.house.contact.value.state === 'unreachable'")
    assert app.lot(lot)["last"]["moisture"]["value"] == 4
    app.page.reload()
    app.page.wait_for_function("() => document.title === 'ready'")
    assert app.lot(lot)["last"]["moisture"]["value"] == 4
    network.heal()
    app.nudge()
    app.until_in_touch()
    assert app.lot(lot)["events_count"] == 2


def test_own_events_go_only_when_a_verified_backup_covers_them(app: Phone):
    """The server says how far a backup reaches; what is beyond, unsent or refused stays."""
    lot = app.start_lot()
    bad = app.record("looked", lot, {"moisture": 9})
    app.record("looked", lot, {"moisture": 3})
    app.until("phone.house.tray.value.length === 1")
    app.until_in_touch()
    app.run(
        """async () => {
          const { settle } = await import("/store/queue.js");
          await settle({ backed_up_seq: 2 }, [], null);
        }"""
    )
    assert [event["seq"] for event in sorted(app.stored("events"), key=lambda e: e["seq"])] == [
        2,
        3,
    ]
    assert [entry["id"] for entry in app.stored("refused")] == [bad["id"]]


def test_a_row_that_an_older_server_folded_is_read_until_the_new_one_comes(
    app: Phone, network: Network
):
    """The app was renewed out of reach: the phone's rows lack what lots have got since."""
    lot = app.start_lot()
    app.until_in_touch()
    app.page.context.set_offline(True)
    app.run(
        """async (lot) => {
          const added = ["sales", "treatments", "promises", "placed_at", "lost_seedlings"];
          await phone.database.durably(["rows"], async (tx) => {
            const store = tx.objectStore("rows");
            const kept = await store.get(`lot:${lot}`);
            const row = JSON.parse(kept.data);
            const base = JSON.parse(row.base);
            for (const name of added) { delete row[name]; delete base.checkpoint[name]; }
            const data = JSON.stringify({ ...row, base: JSON.stringify(base) });
            await store.put({ ...kept, data });
          });
          await phone.house.readHouse();
        }""",
        lot,
    )  # fmt: skip
    other = app.start_lot(label="26-018-R")
    assert app.lot(lot)["sales"] == []
    assert app.watches(lot) == {}
    app.record("sold", lot, {"quantity": 20, "container_l": 2, "buyer": "Hill House"})
    assert [sale["quantity"] for sale in app.lot(lot)["sales"]] == [20]
    app.page.context.set_offline(False)
    app.until_in_touch()
    assert app.lot(other)["revision"] > 0
    assert len(app.lot(lot)["sales"]) == 1
