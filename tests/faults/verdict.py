"""What must hold once everything has healed, whatever went wrong before."""

import base64
import json
from collections import Counter
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tests.faults.files import brought_is_there

if TYPE_CHECKING:
    from tests.faults.world import World

Rows = dict[str, Any]
KINDS = {
    "lots": "lot", "places": "place", "people": "person", "protocols": "protocol",
    "watches": "watch", "alerts": "alert", "phones": "phone", "nursery": "nursery",
    "solutions": "solution",
}  # fmt: skip
# What belongs to a row and not to the lot, or only to the moment at which it was sent.
MOMENT = ("day", "next_deadline")
KEPT = ("base", "tail", "checkpoint", "checkpoint_at", "next_deadline", "revision", "day")
# Of an event, what is the same on the phone that recorded it and on the server.
WHOLE = "kind lot by data observed_at recorded_at typed seq mends".split()
LEFT_ALONE_S = 5


def judge(world: "World") -> list[str]:
    """Return what is wrong, in words; nothing, where every promise was kept."""
    on_server = world.server.events()
    heard = {number: world.phones[number].call("testimony") for number in world.used()}
    wrong = told_is_kept(world, on_server, heard)
    wrong += once(world, on_server)
    wrong += quiet(heard)
    wrong += converged(world, heard)
    wrong += exact(world, on_server, heard)
    wrong += brought_is_there(world, world.server.names())
    wrong += pictures_kept(world, on_server, heard)
    wrong += clock_is_believed(world)
    return wrong + world.server.differences()


def told_is_kept(world: "World", on_server: Rows, heard: dict[int, Rows]) -> list[str]:
    """Every event that a phone called saved is on the server, or visibly refused on the phone.

    One that was refused, and then mended or given up, the server keeps among its refusals: once a
    backup of it was found whole, the phone lets go of its own.
    """
    wrong, settled = [], world.server.settled()
    trays = {number: dict(one["disk"]["refused"]) for number, one in heard.items()}
    for name, number in world.said.told.items():
        if name in on_server or name in settled or name in world.excused:
            continue
        if not any(name in tray for tray in trays.values()):
            wrong.append(f"event {name} of phone {number} was called saved, and is nowhere")
    kept = world.server.refused()
    for number, one in heard.items():
        shown = set(one["tray"])
        for name, entry in trays[number].items():
            if str(entry["problem"].get("type")).endswith("/id-taken"):
                wrong.append(f"event {name} came twice to the server, and was refused for that")
            open_ = not entry["mended_by"] and name not in on_server
            if open_ and name not in kept:
                wrong.append(f"event {name} was refused, and the server keeps nothing of it")
            chained = any(other["mending"] for other in trays[number].values())
            if open_ and name not in shown and not chained:
                wrong.append(f"event {name} was refused, and phone {number} does not show it")
        if world.phones[number].emptied and not one["saysEmptied"]:
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


def quiet(heard: dict[int, Rows]) -> list[str]:
    """Nothing waits any more."""
    return [
        f"phone {number}: {len(one['disk'][store])} in {store} after quiet; {one['contact']}"
        for number, one in heard.items()
        for store in ("outbox", "confirming")
        if one["disk"][store]
    ]


def pictures_kept(world: "World", on_server: Rows, heard: dict[int, Rows]) -> list[str]:
    """Every picture that was saved is on the server as it was taken, or waits on a phone."""
    said, wrong = world.said, []
    voided = {one["data"].get("of") for one in on_server.values() if one["kind"] == "voided"}
    named = {
        one["data"]["sha256"]
        for name, one in on_server.items()
        if one["kind"] == "photographed" and name not in voided
    }
    there = world.server.pictures()
    gone = world.excused | said.taken_back | there.keys()
    for name in sorted((named | said.pictures_told.keys()) - gone):
        waits = any(is_waiting(one, name, said.pictures[name]) for one in heard.values())
        if name in named:
            wrong.append(f"picture {name[:8]}'s record is on the server, and it never came")
        elif not waits:
            wrong.append(f"picture {name[:8]} was called saved, and is nowhere")
    return wrong + [
        f"picture {name[:8]} is not what was taken"
        for name, octets in there.items()
        if octets != said.pictures.get(name)
    ]


def is_waiting(one: Rows, name: str, octets: bytes) -> bool:
    """Return whether a picture is whole on a phone, which shows that it waits."""
    kept = dict(one["disk"]["photos"]).get(name)
    whole = kept is not None and base64.b64decode(kept["jpeg"]) == octets
    return whole and name in one["waiting"]


def clock_is_believed(world: "World") -> list[str]:
    """The server's clock is right again: where a right phone has told it so, it is in no doubt."""
    doubt = world.server.clock.doubt
    told = any(not world.phones[number].clock_is_set for number in world.used())
    off_ms = abs(world.server.clock() - world.server.now_ms())
    return [f"the server's clock is {doubt}, off by {off_ms} ms"] if told and doubt else []


def converged(world: "World", heard: dict[int, Rows]) -> list[str]:
    """Every phone's rows are the server's, and what it shows of lots is what the server says."""
    server = server_rows(world.server.pulled())
    wrong = []
    for number, one in heard.items():
        phone = {key: as_pulled(row["data"]) for key, row in one["disk"]["rows"]}
        for key in sorted(phone.keys() | server.keys()):
            if phone.get(key) != server.get(key):
                wrong.append(f"phone {number}: {key} is {parts(phone.get(key), server.get(key))}")
        for name, lot in one["lots"].items():
            if plain(lot) != plain(server.get(f"lot:{name}")):
                wrong.append(f"phone {number} shows lot {name} otherwise than the server")
    # A file may bring what came after that which is gone with its phone.
    known = world.bereft if world.files.kept else ()
    # What waited aside until all others were through may go with its phone: no copy is left.
    gaps = [
        f"phone {row['id']} has a gap"
        for key, row in server.items()
        if key.startswith("phone:")
        and row["gap_since"]
        and row["id"] not in known
        and not missing(row) <= world.gone
    ]
    # What no copy is left of leaves a gap, and the record says so.
    return wrong + ([] if world.older else gaps)


def differs(mine: Rows, theirs: Rows) -> list[str]:
    """Return of what two tellings of one event say something else."""
    return [name for name in WHOLE if mine.get(name) != theirs.get(name)]


def timely(event: Rows) -> bool:
    """Return whether a time by a clock that was right all along, or typed, was left as it was."""
    seen, fixed = (datetime.fromisoformat(event[name]) for name in ("observed_at", "at"))
    return abs((fixed - seen).total_seconds()) <= LEFT_ALONE_S


def known_clock(world: "World", event: Rows) -> bool:
    """Return whether anybody can know by which clock an event was dated.

    One that was recorded before its app had reached the server once, on a phone whose clock was set
    before it could be sent, is taken to be dated by that later clock.
    """
    number = world.said.told.get(event["id"])
    was_set = number is not None and world.phones[number].clock_is_set
    return bool(event.get("clock")) or not was_set


def missing(row: Rows) -> set[tuple[str, int]]:
    """Return (device, number) of what is not there of a device, though later ones are."""
    before_last = range(row["contiguous"] + 1, max(row["beyond"]))
    return {(row["id"], number) for number in before_last if number not in row["beyond"]}


def exact(world: "World", on_server: Rows, heard: dict[int, Rows]) -> list[str]:
    """What was said is on record to the last digit, on the day that it was where it was said."""
    said, wrong = world.said, []
    for name, event in on_server.items():
        given = said.given.get(event["data"].get("mark"))
        if given and not event.get("mends") and event["data"] != given:
            wrong.append(f"event {name} says {event['data']}, and the person said {given}")
        about = said.about.get(event["data"].get("mark"), {})
        for part, was in about.items() if not event.get("mends") else ():
            if event.get(part) != was:
                wrong.append(f"event {name} has {part} {event.get(part)}, and it was {was}")
        by_right_clock = name in said.days and known_clock(world, event)
        if (by_right_clock or event.get("typed")) and not timely(event):
            wrong.append(f"event {name} of {event['observed_at']} was put at {event['at']}")
        if name in said.days and event["observed_at"][:10] not in said.days[name]:
            wrong.append(f"event {name} is of {event['observed_at']}, and was on {said.days[name]}")
    for number, one in heard.items():
        for name, event in one["disk"]["events"]:
            for part in differs(event, on_server[name]) if name in on_server else ():
                wrong.append(f"event {name} has another {part} on phone {number} than there")
        wrong += [f"phone {number}: another tab shows something else" for _ in one["otherwise"]]
    return wrong


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
