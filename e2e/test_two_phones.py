"""Two phones, offline on the same lots for a day, sync in either order: the same lots."""

import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Page
from tests.browser import PersistentPhone

from e2e.house import House, pair, phone_lots, plain, unsent, until, until_in_touch

pytest_plugins = ["e2e.house"]
A, B = "26-001", "26-002"
# Ids are made anew in every run: what is compared between runs is everything else.
IDS = ("id", "event", "ended_by", "device", "parents", "children", "place")
Record = tuple[str, str, dict[str, Any], str]


def at(day: int, hour: int) -> str:
    return f"2026-06-{day:02}T{hour:02}:00:00+10:00"


# Kind, lot, data, time. Spells that the other phone ends, counts out of step, a loss, a split.
FIRST: list[Record] = [
    ("cold_ended", A, {}, at(20, 8)),
    ("sown", A, {"flats": 2, "per_flat": 100}, at(20, 9)),
    ("looked", B, {"moisture": 2, "fungus": "spots"}, at(20, 9)),
    ("counted", B, {"emerged": 12, "out_of": 150}, at(20, 11)),
    ("watered", B, {}, at(20, 15)),
]
SECOND: list[Record] = [
    ("looked", A, {"moisture": 4, "fungus": "none", "sprouted_percent": 10}, at(20, 7)),
    ("looked", A, {"moisture": 3}, at(20, 10)),
    ("counted", B, {"emerged": 9, "out_of": 150}, at(20, 10)),
    ("lost", B, {"quantity": 2, "out_of": 12, "cause": "damping_off"}, at(20, 12)),
    ("potted_on", B, {"quantity": 5, "container_l": 2}, at(20, 13)),
    ("looked", B, {"moisture": 3, "fungus": "none"}, at(20, 14)),
]
RECORD = """async ([records, ids]) => {
  const { recordAll, record } = await import("/store/record.js");
  const made = await recordAll(records.map(([kind, label, data, observedAt]) => (
    { kind, lot: ids[label], data, more: { observedAt, typed: true } })));
  // Each phone corrects the first thing it said, and takes back the second.
  await record("amended", made[0].lot, { of: made[0].id, data: { note: "as corrected" } },
    { observedAt: "2026-06-20T16:00:00+10:00", typed: true });
  await record("voided", made[1].lot, { of: made[1].id },
    { observedAt: "2026-06-20T16:30:00+10:00", typed: true });
}"""


def fill(house: House) -> dict[str, str]:
    ids = {A: str(uuid.uuid4()), B: str(uuid.uuid4())}
    started = {"crop": "acer-palmatum", "quantity": 200, "unit": "seeds"}
    events = [
        house.event("lot_started", ids[A], {**started, "label": A}, at(1, 8)),
        house.event("cold_started", ids[A], {"where": "fridge"}, at(2, 8)),
        house.event("lot_started", ids[B], {**started, "label": B}, at(1, 8)),
        house.event("sown", ids[B], {"flats": 1, "per_flat": 150}, at(3, 8)),
    ]
    house.record(events)
    return ids


def without_ids(value: Any) -> Any:
    """Return a value without ids, in which runs differ."""
    if isinstance(value, dict):
        return {name: without_ids(one) for name, one in value.items() if name not in IDS}
    return [without_ids(one) for one in value] if isinstance(value, list) else value


def by_label(lots: dict[str, Any]) -> dict[str, Any]:
    return {lot["label"]: without_ids(lot) for lot in plain(lots).values()}


def a_day_apart(house: House, phones: list[PersistentPhone], order: list[int]) -> dict[str, Any]:
    """Let two phones work offline for a day and sync one after the other; return the lots."""
    ids = fill(house)
    second = house.call("POST", "/api/v1/pairings", {"role": "worker"})["link"]
    pages = [pair(phones[0].open(), house), pair(phones[1].open(), house, second)]
    house.stop()
    for phone, page, records in zip(phones, pages, (FIRST, SECOND), strict=True):
        phone.context.set_offline(True)
        page.evaluate(RECORD, [records, ids])
        assert unsent(page) == len(records) + 2
    alone = [by_label(phone_lots(page)) for page in pages]
    assert alone[0] != alone[1]
    house.start()
    for number in order:
        come_back(phones[number], pages[number])
    for page in pages:  # the first one has not heard of the other's day yet
        page.evaluate("() => dispatchEvent(new Event('online'))")
        until_in_touch(page)
    on_server = plain(house.lots())
    for page in pages:
        until_shows(page, house)
        assert plain(phone_lots(page)) == on_server
    return by_label(house.lots())


def come_back(phone: PersistentPhone, page: Page) -> None:
    phone.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    until_in_touch(page)


def until_shows(page: Page, house: House) -> None:
    """Wait until a phone holds the rows of the server's last revision."""
    newest = max(lot["revision"] for lot in house.lots().values())
    until(
        page,
        "import('/store/house.js').then((house) => [...house.lots.value.values()]"
        f".some((lot) => lot.revision >= {newest}))",
    )


def test_two_phones_that_sync_in_either_order_give_the_same_lots(
    tmp_path: Path, persistent_phone: Callable[[str], PersistentPhone]
):
    results = []
    for order in ([0, 1], [1, 0]):
        name = "".join(map(str, order))
        house = House(tmp_path / name)
        house.start()
        phones = [persistent_phone(f"{name}-first"), persistent_phone(f"{name}-second")]
        results.append(a_day_apart(house, phones, order))
        for phone in phones:
            phone.close()
        house.stop()
    assert results[0] == results[1]
    lot = results[0][B]
    assert [count["emerged"] for count in lot["counts"]] == [9, 12]
    assert lot["losses"][0]["quantity"] == 2
    assert lot["last_look"]["fungus"] == "none"
