"""Files of what is unsent: saved on a phone, and brought to the server by anybody, at any time."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from tests.faults.schedule import Step

if TYPE_CHECKING:
    from tests.faults.world import World

TAKEN = 200
# What is recorded right before a file is saved does not reach the server.
UNHEARD = ["lose_request"] * 4


@dataclass
class File:
    """A file as it was saved.

    Attributes:
        at_last: whether somebody brings it once all has healed, `before` the phones are opened or
            `after` they have sent, or `never`.
        answered: what the server has answered for, when it was brought.
        refused: what of it the server refused by name.
    """

    text: str
    at_last: str
    answered: set[str] = field(default_factory=set)
    refused: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        head, *lines, _ = map(json.loads, self.text.splitlines())
        self.site = head["site"]
        records = [line.get("event") or line.get("refused") for line in lines]
        self.records = {one["id"] for one in records if one}
        self.pictures = {line["photo"] for line in lines if "photo" in line}


class Files:
    """Every file that was saved in a schedule, and what was wrong with one."""

    def __init__(self) -> None:
        self.kept: list[File] = []
        self.wrong: list[str] = []

    def at_last(self, when: str) -> list[File]:
        return [file for file in self.kept if file.at_last == when]


def save(world: "World", step: Step, record: Callable[["World", Step], None]) -> None:
    """Somebody saves a phone's file, however ill the phone is; all that is unsent is in it."""
    number = step["phone"]
    if not world.ready(number):
        return
    if step["act"]:
        record(world, {**step, "net": UNHEARD, "die_at": 0})
    said = world.act(number, "save_file", None, step)
    if "error" in said and world.phones[number].open:
        world.files.wrong.append(f"phone {number} saved no file: {said['detail']}")
    if not said.get("value"):
        return
    world.made["file saved"] += 1
    world.made["file saved on a full phone"] += world.phones[number].is_full
    world.made["file saved on a phone that is cut off"] += world.phones[number].cut_off
    file = File(said["value"], step["at_last"])
    # One with nothing in it is of no use to anybody.
    world.files.kept += [file] if file.records | file.pictures else []
    disk = world.phones[number].read()
    unsent = {entry["id"] for _, entry in disk.get("outbox", [])}
    unsent |= {key for key, entry in disk.get("refused", []) if not entry["mended_by"]}
    unsent &= {key for key, _ in disk.get("events", [])}
    unsent |= {key for key, _ in disk.get("unsent_photos", [])}
    for name in sorted(unsent - file.records - file.pictures):
        world.files.wrong.append(f"{name} is unsent on phone {number}, and not in its file")


def bring(world: "World", step: Step) -> None:
    """A file is brought to the server: through a phone's app, or by a script of somebody's."""
    if not world.files.kept or (step["by"] != "phone" and world.server.failing):
        return
    file = world.files.kept[step["which"] % len(world.files.kept)]
    if step["by"] == "phone":
        through(world, file, step)
    elif step["cut"]:
        status, _ = world.server.bring(file.text[: len(file.text) // 2], step["by"])
        world.made["half a file refused"] += 1
        if status == TAKEN:
            world.files.wrong.append("half a file was taken for a whole one")
    else:
        by_script(world, file, step["by"])


def through(world: "World", file: File, step: Step) -> None:
    number = step["phone"]
    if world.ready(number):
        answer = world.act(number, "bring_file", file.text, step).get("value")
        if answer:
            world.made["file brought through a phone"] += 1
            take_down(world, file, answer)


def by_script(world: "World", file: File, role: str) -> bool:
    """Bring a file with a token; return whether it was taken."""
    status, answer = world.server.bring(file.text, role)
    if status != TAKEN:
        # Of a phone that was never in touch: nobody can know of which nursery it is.
        word = "of no nursery yet" if file.site is None else f"refused with {status}"
        world.made[f"file {word}"] += 1
        return False
    world.made[f"file brought by a script of the {role}'s"] += 1
    take_down(world, file, answer)
    return True


def take_down(world: "World", file: File, answer: dict[str, Any]) -> None:
    """Take down what the server answers for: it is there now, whatever became of its phone."""
    file.refused = {one["id"] for one in answer["refused"]}
    named = file.records - file.refused
    if answer["photos"] == len(file.pictures):
        named |= file.pictures
    for name in sorted(named - world.server.names()):
        world.files.wrong.append(f"{name} was said to be stored from a file, and is not there")
    world.made["records brought in files"] += answer["stored"]
    world.made["brought again"] += answer["already"]
    file.answered |= named
    # The last copy of some was this file.
    world.server_only |= world.excused & named
    world.excused -= named


def bring_last(world: "World", when: str) -> None:
    """All has healed: what files are still in people's pockets are brought."""
    for number, file in enumerate(world.files.at_last(when)):
        if not by_script(world, file, ("owner", "worker")[number % 2]) and file.site is not None:
            world.files.wrong.append("a whole file of this nursery was refused")


def brought_is_there(world: "World", on_server: set[str]) -> list[str]:
    """Return what a file brought that is neither on the server nor refused there by name."""
    there = on_server | world.server.refused()
    wrong = list(world.files.wrong)
    for file in world.files.kept:
        names = file.answered if file.at_last != "never" else file.answered - world.excused
        wrong += [f"{name} came in a file, and is nowhere" for name in sorted(names - there)]
    return wrong
