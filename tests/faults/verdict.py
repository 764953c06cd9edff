"""What must hold once everything has healed, whatever went wrong before."""

import json
from collections import Counter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.faults.world import World

Rows = dict[str, Any]
KINDS = {
    "lots": "lot", "places": "place", "people": "person", "protocols": "protocol",
    "watches": "watch", "alerts": "alert", "phones": "phone", "nursery": "nursery",
    "solutions": "solution",
}  # fmt: skip
# What belongs to a row and not to the lot, or only to the moment at which it was sent.
MOMENT = ("day",)
KEPT = ("base", "tail", "checkpoint", "checkpoint_at", "next_deadline", "revision", "day")
PRIVATE = ("device", "at")
FIXED_THERE = ("device", "at", "hash", "received_at", "position")


def judge(world: "World") -> list[str]:
    """Return what is wrong, in words; nothing, where every promise was kept."""
    on_server = world.server.events()
    disks = {number: world.phones[number].read() for number in world.used()}
    wrong = told_is_kept(world, on_server, disks)
    wrong += once(world, on_server)
    wrong += quiet(world, disks)
    wrong += converged(world, disks)
    return wrong + world.server.differences()


def told_is_kept(world: "World", on_server: Rows, disks: dict[int, Rows]) -> list[str]:
    """Every event that a phone called saved is on the server, or visibly refused on the phone."""
    wrong = []
    trays = {number: dict(disk["refused"]) for number, disk in disks.items()}
    for name, number in world.said.told.items():
        if name in on_server or name in world.excused:
            continue
        if not any(name in tray for tray in trays.values()):
            wrong.append(f"event {name} of phone {number} was called saved, and is nowhere")
    for number in disks:
        phone = world.phones[number]
        shown = {entry["id"] for entry in phone.call("() => handset.app.house.tray.value")}
        for name, entry in trays[number].items():
            if str(entry["problem"].get("type")).endswith("/id-taken"):
                wrong.append(f"event {name} came twice to the server, and was refused for that")
            open_ = not entry["mended_by"] and name not in on_server
            chained = any(other["mending"] for other in trays[number].values())
            if open_ and name not in shown and not chained:
                wrong.append(f"event {name} was refused, and phone {number} does not show it")
        if phone.emptied and not phone.call("() => handset.saysEmptied"):
            wrong.append(f"phone {number} lost its record and never said so")
    return wrong


def once(world: "World", on_server: Rows) -> list[str]:
    """No record is there twice, and none that the phone said it could not save."""
    marks = Counter(
        event["data"].get("mark") for event in on_server.values() if not event.get("mends")
    )
    wrong = [
        f"record {mark} is on the server {count} times"
        for mark, count in marks.items()
        if mark and count > 1
    ]
    for mark, word in world.said.tried.items():
        if word == "not saved" and marks[mark]:
            wrong.append(f"record {mark} was said not to be saved, and is on the server")
    return wrong


def quiet(world: "World", disks: dict[int, Rows]) -> list[str]:
    """Nothing waits any more, and the server misses no number."""
    wrong = []
    for number, disk in disks.items():
        for store in ("outbox", "confirming"):
            if disk[store]:
                state = world.phones[number].call(
                    "() => JSON.stringify([handset.app.house.contact.value])"
                )
                wrong.append(f"phone {number}: {len(disk[store])} in {store} after quiet; {state}")
    return wrong


def converged(world: "World", disks: dict[int, Rows]) -> list[str]:
    """Every phone's rows are the server's, and what it shows of lots is what the server says."""
    server = server_rows(world.server.pulled())
    wrong = []
    for number, disk in disks.items():
        phone = {key: as_pulled(row["data"]) for key, row in disk["rows"]}
        for key in sorted(phone.keys() | server.keys()):
            if phone.get(key) != server.get(key):
                wrong.append(f"phone {number}: {key} is {parts(phone.get(key), server.get(key))}")
        lots = world.phones[number].call("() => Object.fromEntries(handset.app.house.lots.value)")
        for name, lot in lots.items():
            if plain(lot) != plain(server.get(f"lot:{name}")):
                wrong.append(f"phone {number} shows lot {name} otherwise than the server")
    gaps = [
        f"phone {row['id']} has a gap"
        for key, row in server.items()
        if key.startswith("phone:") and row["gap_since"]
    ]
    return wrong + gaps


def server_rows(pulled: Rows) -> Rows:
    found = {}
    for name, kind in KINDS.items():
        for row in pulled.get(name, []):
            if kind != "alert" or row["state"] != "cleared":
                found[f"{kind}:{row['id']}"] = without(row, MOMENT)
    return found


def as_pulled(data: Any) -> Rows:
    """Return a row of the phone's disk as it came."""
    row = json.loads(data) if isinstance(data, str) else data
    base = json.loads(row.pop("base")) if "base" in row else {}
    return without({**row, **base}, MOMENT)


def without(row: Rows, names: tuple[str, ...]) -> Rows:
    return {name: value for name, value in row.items() if name not in names}


def plain(lot: Rows | None) -> Rows | None:
    return None if lot is None else without(lot, KEPT)


def parts(mine: Rows | None, theirs: Rows | None) -> str:
    """Return where two rows part."""
    if mine is None or theirs is None:
        return "missing" if mine is None else "there, and not on the server"
    names = sorted(
        name for name in mine.keys() | theirs.keys() if mine.get(name) != theirs.get(name)
    )
    return ", ".join(f"{name} {mine.get(name)!r} not {theirs.get(name)!r}" for name in names[:4])
