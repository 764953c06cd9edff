"""Pictures on the phone: saved with their records or not at all, sent after them and once."""

import base64
import json
from typing import Any

from tests.phone.conftest import Phone
from tests.phone.network import Network, Request
from tests.photos import jpeg, name_of

TAKE = """async ([octets, sha256, lot]) => {
  const whole = Uint8Array.from(atob(octets), (one) => one.charCodeAt(0));
  const photo = new Blob([whole], { type: "image/jpeg" });
  const data = { sha256, width_px: 120, height_px: 90 };
  const [event] = await phone.record.recordAll([{ kind: "photographed", lot, data, photo }]);
  return event.id;
}"""
WAIT_FOR_TROUBLE = """async () => {
  const { photoTrouble } = await import("/store/photos.js");
  if (photoTrouble.value) return;
  await new Promise((told) => photoTrouble.subscribe((said) => said && told()));
}"""
UNSENT = "phone.house.unsentPhotos.value.length"
# What the screen counts may be a moment behind the disk.
STORED_AS_SENT = """async () => {
  const end = performance.now() + 90_000;
  while (await phone.database.reading((db) => db.count("unsent_photos"))) {
    if (performance.now() > end) throw new Error("a picture still waits");
    await new Promise((go) => setTimeout(go, 50));
  }
}"""


def take(app: Phone, octets: bytes, lot: str | None = None) -> str:
    """Record a picture, and return its record's id."""
    return str(app.run(TAKE, [base64.b64encode(octets).decode(), name_of(octets), lot]))


def held(app: Phone, store: str = "photos") -> list[str]:
    """Return the names of the pictures that a store holds."""
    return sorted(one["sha256"] for one in app.stored(store))


def about(network: Network, octets: bytes) -> list[Request]:
    return [one for one in network.requests if one.path.endswith(name_of(octets))]


def sent(network: Network) -> list[tuple[str, str, bool]]:
    """Return of each request that brings something: what, its status, and whether a picture."""
    found = [one for one in network.requests if one.method != "GET" and one.path != "/x"]
    return [
        (one.method, one.status[:3], "/photos/" in one.path)
        for one in found
        if "/photos/" in one.path or one.path.endswith("push")
    ]


def test_records_go_first_and_a_picture_whose_answer_was_lost_is_not_sent_again(
    app: Phone, network: Network
):
    lot, one, two = app.start_lot(), jpeg(), jpeg(shade=9)
    app.until_in_touch()
    network.requests.clear()
    network.next("/api/v1/sync/push", "503")
    network.next("/api/v1/photos/", "lose_reply")
    take(app, one, lot)
    app.nudge()
    # The first try of the record fails, and no picture goes before it has come.
    network.wait(lambda: any("/photos/" in request.path for request in network.requests))
    app.until("phone.house.pending.value.length === 0")
    app.nudge()
    app.until(f"{UNSENT} === 0")
    said = sent(network)
    assert [picture for _, _, picture in said].index(True) > [
        (method, status) for method, status, _ in said
    ].index(("POST", "200"))
    # Put once; the second time it is only asked whether it is there. A browser may repeat a PUT by
    # itself, unseen by the app, where a line that was used before broke (RFC 9110, 9.2.2).
    methods = [request.method for request in about(network, one)]
    assert methods in (["PUT", "HEAD"], ["PUT", "PUT"])
    assert held(app) == [name_of(one)]

    # A picture that is on its way holds back no record, and goes on after it.
    network.requests.clear()
    network.next("/api/v1/photos/", "late", concerns=lambda request: request.method == "PUT")
    take(app, two, lot)
    network.wait(lambda: about(network, two))
    app.record("looked", lot, {"moisture": 3})
    app.until("phone.house.pending.value.length === 0")
    assert app.run(f"() => {UNSENT}") == 1
    network.heal()
    app.until(f"{UNSENT} === 0")
    assert [request.method for request in about(network, two)] == ["PUT"]


def test_what_is_refused_waits_and_holds_up_no_other_and_room_is_spared_of_what_is_safe(
    app: Phone, network: Network
):
    odd, good = b"\xff\xd8 no picture", jpeg(shade=3)
    take(app, odd)
    take(app, good)
    app.nudge()
    app.until(f"{UNSENT} === 1")
    assert held(app, "unsent_photos") == [name_of(odd)]
    told = "() => import('/store/photos.js').then(({ photoTrouble }) => photoTrouble.value)"
    tried = len(about(network, odd))
    app.nudge()
    app.until_in_touch()
    assert len(about(network, odd)) == tried
    app.run("() => import('/store/photos.js').then(({ forgetRefusals }) => forgetRefusals())")
    app.nudge()
    network.wait(lambda: len(about(network, odd)) > tried)
    app.run(WAIT_FOR_TROUBLE)
    assert "no whole JPEG" in app.run(told)

    # A correction may make anything of a name: none is asked for.
    for trick in ("../session", "..%2f..%2fx", "0" * 63, "", "x?y", "\n" + "0" * 64):
        fetching = "(name) => import('/store/photos.js').then((found) => found.fetchPhoto(name))"
        says = app.run(f"(name) => ({fetching})(name).catch((error) => error.kind)", trick)
        assert says == "bad"
    fetched = [one for one in network.requests if one.path.startswith("/api/v1/photos/")]
    assert {one.method for one in fetched} <= {"PUT", "HEAD"}

    # The newest sixty of each stay (ours); one that no backup holds is never let go.
    network.next("/api/v1/photos/", "503", times=999)
    said: dict[str, Any] = app.run(
        """async () => {
          const { spareRoom } = await import("/store/photos.js");
          const name = (n) => `${n}`.padStart(64, "0");
          const at = (n) => `2026-01-01T00:00:00.${100 + n}Z`;
          const put = (n, more) => ({ sha256: name(n), blob: new Blob(), at: at(n), ...more });
          await phone.database.durably(["photos", "unsent_photos", "meta"], async (tx) => {
            const photos = tx.objectStore("photos");
            for (let n = 0; n < 70; n += 1) {
              await photos.put(put(n, { mine: true, sent_seq: 5 }));
              await photos.put(put(n + 100, { mine: false }));
              await photos.put(put(n + 200, { mine: true, sent_seq: 6 }));
            }
            await photos.put(put(300, { mine: true }));
            const waits = { sha256: name(300), events: [], at: "", bytes: 1, lot: null };
            await tx.objectStore("unsent_photos").put(waits);
            await tx.objectStore("meta").put(5, "forgotten_seq");
          });
          await spareRoom();
          const left = await phone.database.reading((db) => db.getAllKeys("photos"));
          const among = (low) => left.map(Number).filter((n) => n >= low && n < low + 100);
          const [own, others, without, unsent] = [0, 100, 200, 300].map(among);
          return { own, others, no_backup: without.length, unsent };
        }"""
    )
    # The good one is the newest of its own sort.
    assert said["own"] == list(range(11, 70))
    assert said["others"] == list(range(110, 170))
    assert (said["no_backup"], said["unsent"]) == (70, [300])


def test_a_restored_server_is_asked_for_each_picture_and_sent_what_it_lacks(
    app: Phone, network: Network
):
    one, two = jpeg(shade=5), jpeg(shade=6)
    take(app, one)
    app.nudge()
    app.until(f"{UNSENT} === 0")
    app.until_in_touch()
    backup = network.backup()
    take(app, two)
    app.until(f"{UNSENT} === 0")
    app.until_in_touch()
    network.requests.clear()
    network.restore(backup, new_epoch=True)
    app.nudge()
    network.wait(lambda: [request for request in about(network, two) if request.method == "PUT"])
    app.until(f"{UNSENT} === 0 && phone.house.pending.value.length === 0")
    assert [request.method for request in about(network, one)] == ["HEAD"]
    assert [request.method for request in about(network, two)] == ["HEAD", "PUT"]


# As a disk that is full only now answers: the request fails, and its transaction with it.
FULL = """() => {
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function (...asked) {
    if (this.name === "unsent_photos") throw new DOMException("no room", "QuotaExceededError");
    return put.apply(this, asked);
  };
  window.freed = () => Object.assign(IDBObjectStore.prototype, { put });
}"""


def test_a_picture_is_kept_with_its_record_and_goes_with_it_where_it_has_not_left(
    app: Phone, network: Network
):
    """On a full phone neither; nothing half. What leaves too little room for records is refused."""
    app.record("noted", None, {"text": "before"})
    app.until_in_touch()
    octets = jpeg()
    given = [base64.b64encode(octets).decode(), name_of(octets), None]
    refused = f"(given) => ({TAKE})(given).catch((problem) => problem.constructor.name)"
    app.run(FULL)
    assert app.run(refused, given) == "StorageFull"
    app.run("() => window.freed()")
    app.run("() => { navigator.storage.estimate = async () => ({ usage: 1, quota: 20_000_000 }); }")
    assert app.run(refused, given) == "NoRoomForPhoto"
    assert held(app) == held(app, "unsent_photos") == []
    assert len(app.stored("events")) == app.meta("next_seq") - 1 == 1
    app.record("noted", None, {"text": "a record still fits"})

    # Of two records of one picture the other keeps it; what was sent stays.
    network.next("/api/v1/photos/", "503", times=99)
    app.run("() => { navigator.storage.estimate = async () => ({}); }")
    octets = jpeg(shade=4)
    first, second = take(app, octets), take(app, octets)
    app.run("(id) => phone.record.undo(id)", first)
    assert held(app) == held(app, "unsent_photos") == [name_of(octets)]
    # The saved file holds it, and says how many did not fit.
    made: dict[str, Any] = app.run("() => phone.saved.savedFile()")
    assert (made["photos"], made["left_out"]) == (1, 0)
    (line,) = [json.loads(one) for one in made["text"].splitlines() if '"photo":' in one]
    assert base64.b64decode(line["jpeg"]) == octets
    app.run("(id) => phone.record.undo(id)", second)
    app.until(f"{UNSENT} === 0")
    assert held(app) == held(app, "unsent_photos") == []
    network.heal()
    kept = take(app, octets)
    app.nudge()
    app.run(STORED_AS_SENT)
    app.run("(id) => phone.record.undo(id)", kept)
    app.until_in_touch()
    assert held(app) == [name_of(octets)]
