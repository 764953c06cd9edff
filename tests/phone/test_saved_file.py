"""What is unsent can always be taken off a phone as a file, which the server takes (F30)."""

import json
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext

from tests.phone.conftest import OpenPhone, Phone
from tests.phone.network import Network

PUSH = "/api/v1/sync/push"
GOLDEN = json.loads((Path(__file__).parents[1] / "golden" / "saved_file.json").read_text("utf-8"))
HOUR_MS, DAY_MS = 3_600_000, 86_400_000


def saved(app: Phone) -> list[dict[str, Any]]:
    """The lines of the file that the phone saves now."""
    return [json.loads(line) for line in text_of(app).splitlines()]


def text_of(app: Phone) -> str:
    return app.run("async () => (await phone.saved.savedFile()).text")


def ids(lines: list[dict[str, Any]], name: str = "event") -> list[str]:
    return [line[name]["id"] for line in lines if name in line]


def send(app: Phone, text: str) -> Any:
    return app.run(
        "(text) => import('/store/sending.js').then((way) => way.sendSavedFile(text))", text
    )


def test_the_phone_writes_the_golden_file_octet_for_octet(open_phone: OpenPhone):
    """CRC-32 of "123456789" is cbf43926 (Williams 1993, section 15)."""
    app = open_phone(still=1)
    written = app.run(
        "(held) => import('/core/saved_file.js').then((file) => file.writeSavedFile(held))",
        GOLDEN["held"],
    )
    assert written == "\n".join(GOLDEN["lines"])
    with_photos = app.run(
        "(held) => import('/core/saved_file.js').then((file) => file.writeSavedFile(held))",
        {
            **GOLDEN["held"],
            "events": [],
            "refused": [],
            "unreadable": [],
            "photos": GOLDEN["photos"],
        },
    )
    assert with_photos == "\n".join(GOLDEN["lines_with_photos"])
    sum_ = "import('/core/saved_file.js').then((file) => file.checksum('123456789'))"
    assert app.run(f"() => {sum_}") == "cbf43926"


def test_f30_a_cut_off_phones_file_goes_in_from_another_phone_and_doubles_nothing(
    app: Phone, network: Network, open_phone: OpenPhone, browser: Any
):
    """Let in again, the phone sends the same records: each is on the server once."""
    network.next(PUSH, "401", times=-1)
    lot = app.start_lot()
    look = app.record("looked", lot, {"moisture": 3})
    app.until("phone.house.contact.value.state === 'signed-out'")
    text = text_of(app)
    head, *lines, end = [json.loads(line) for line in text.splitlines()]
    assert (head["device"], len(lines), end["lines"]) == (look["device"], 2, 3)
    assert head["site"] == app.run("() => phone.house.nursery().id")
    other_context: BrowserContext = browser.new_context()
    other = open_phone(other_context)
    said = send(other, text)
    assert (said["stored"], said["already"], said["refused"]) == (2, 0, [])
    said = send(other, text)
    assert (said["stored"], said["already"]) == (0, 2)
    network.heal()
    app.nudge()
    app.until_sent()
    assert [event["id"] for event in network.stored()] == [*ids(lines)]
    assert [event["seq"] for event in network.stored()] == [1, 2]
    other_context.close()


def test_it_is_saved_whatever_is_wrong_with_the_database(app: Phone, network: Network):
    """Refused records, one that cannot be read, a newer version's database, and none at all."""
    lot = app.start_lot()
    refused = app.record("looked", lot, {"moisture": 9})
    app.until("phone.house.tray.value.length === 1")
    app.page.context.set_offline(True)
    looks = [app.record("looked", lot, {"moisture": 3}) for _ in range(3)]
    lines = saved(app)
    assert ids(lines) == [look["id"] for look in looks]
    assert ids(lines, "refused") == [refused["id"]]
    problem = next(line["problem"] for line in lines if "refused" in line)
    assert "data.moisture" in problem["detail"]

    app.run(
        """(id) => {
          const { getAll, get } = IDBObjectStore.prototype;
          IDBObjectStore.prototype.getAll = function (...asked) {
            if (this.name === "events") throw new DOMException("damaged", "DataError");
            return getAll.apply(this, asked);
          };
          IDBObjectStore.prototype.get = function (key) {
            if (key === id) throw new DOMException("damaged", "DataError");
            return get.call(this, key);
          };
          window.mended = () => Object.assign(IDBObjectStore.prototype, { getAll, get });
        }""",
        looks[1]["id"],
    )
    lines = saved(app)
    assert ids(lines) == [looks[0]["id"], looks[2]["id"]]
    assert [line["unreadable"] for line in lines if "unreadable" in line]
    app.run("() => window.mended()")

    app.run(
        """() => new Promise((done, fail) => {
          const asked = indexedDB.open("lathhouse", 3);
          asked.onerror = () => fail(asked.error);
          asked.onsuccess = () => { asked.result.close(); done(); };
        })"""
    )
    assert app.run("() => phone.house.trouble.value") == "outdated"
    assert ids(saved(app)) == [look["id"] for look in looks]

    app.run(
        """() => {
          IDBFactory.prototype.open = () => { throw new DOMException("gone", "UnknownError"); };
        }"""
    )
    lines = saved(app)
    assert ids(lines) == [look["id"] for look in looks], "from what the open app still holds"
    assert lines[-1]["lines"] == len(lines) - 1


def risks(app: Phone, room: Any, unsent: list[Any]) -> list[Any]:
    """What the phone says at noon, where this was saved on it at these times."""
    found = app.run(
        """([room, unsent]) => phone.keeping.risksOf(room, unsent, "2026-09-10T12:00:00.000Z")""",
        [room, [{"at": one} if isinstance(one, str) else one for one in unsent]],
    )
    return [(one["kind"], one.get("waits")) for one in found]


def test_what_is_at_risk_is_told_before_it_is_lost(open_phone: OpenPhone):
    """Each limit from both sides; the limits are ours and stand in one place."""
    app = open_phone(still=1)
    mb = 1_000_000
    fine = {"usage": 10 * mb, "quota": 1000 * mb, "kept": True}
    at_noon, a_day_ago = "2026-09-10T12:00:00.000Z", "2026-09-09T12:00:00.000Z"
    assert risks(app, None, []) == []
    assert risks(app, fine, [at_noon]) == []
    assert risks(app, fine, ["2026-09-09T12:00:00.001Z"]) == []
    assert risks(app, fine, [a_day_ago]) == [("unsynced", None)]
    # Seen on paper before that, and typed in by a clock an hour slow: it waits from noon on.
    typed = {"at": "2026-09-08T07:00:00.000Z", "typed": True, "clock": {"skew_ms": 3_600_000}}
    late, in_time = "2026-09-09T11:00:00.000Z", "2026-09-09T11:00:00.001Z"
    assert risks(app, fine, [at_noon, {**typed, "recorded_at": late}]) == [("unsynced", None)]
    assert risks(app, fine, [at_noon, {**typed, "recorded_at": in_time}]) == []
    assert risks(app, {**fine, "usage": 799 * mb}, []) == []
    assert risks(app, {**fine, "usage": 800 * mb}, []) == [("full", None)]
    assert risks(app, {**fine, "quota": 30 * mb}, []) == []
    assert risks(app, {**fine, "quota": 29 * mb}, []) == [("full", None)]
    thrown = {**fine, "kept": False}
    assert risks(app, thrown, []) == [("evictable", False)]
    assert risks(app, thrown, ["2026-09-10T11:00:01.000Z"]) == [("evictable", False)]
    assert risks(app, thrown, ["2026-09-10T11:00:00.000Z"]) == [("evictable", True)]
    assert risks(app, {**fine, "kept": None}, []) == [], "the browser cannot say"
    twin = """(own) => phone.keeping.risksOf(null, [], "2026-09-10T12:00:00.000Z", [], own)"""
    assert app.run(twin, {"cloned_since": None}) == []
    assert app.run(twin, {"cloned_since": a_day_ago}) == [{"kind": "cloned", "since": a_day_ago}]
    assert risks(app, {"usage": 9, "quota": 9, "kept": False}, [a_day_ago]) == [
        ("unsynced", None),
        ("full", None),
        ("evictable", True),
    ]


def test_the_browser_is_asked_to_keep_the_store_at_a_record_and_not_at_the_start(
    open_phone: OpenPhone, phone: BrowserContext
):
    phone.add_init_script(
        """window.asked = 0;
        StorageManager.prototype.persisted = async () => window.asked > 0;
        StorageManager.prototype.persist = async () => { window.asked += 1; return true; };"""
    )
    app = open_phone()
    app.until("phone.keeping.storage.value?.kept === false")
    assert app.run("() => window.asked") == 0
    assert app.run("() => phone.house.risks.value.map((one) => one.kind)") == ["evictable"]
    app.record("noted", None, {"text": "first"})
    app.record("noted", None, {"text": "second"})
    app.until("phone.keeping.storage.value.kept === true")
    assert app.run("() => window.asked") == 1
    assert app.run("() => phone.house.risks.value.length") == 0
