"""A move of the nursery's name: what is on record and what is on the disk go together (ours)."""

import errno
import ipaddress
import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from cryptography import x509
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from lathhouse import serving
from lathhouse.cli import main
from lathhouse.domain.instants import to_text
from lathhouse.errors import Busy, NotNow
from lathhouse.settings import Settings
from lathhouse.web import authority, name_steps, names
from lathhouse.web.lan import Network
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery
from tests.web.test_people import Phone, link_for

OLD, NEXT = "rows.test", "beds.test"


class Moving:
    """A nursery on its own network, and the owner's commands there."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.folder = nursery, nursery.app.config["LATHHOUSE"].data / "lan"
        names.settled_name(self.folder, OLD)
        here = ipaddress.ip_address("127.0.0.1")
        self.network = Network(self.folder, (here,), 8321, 8320)
        self.network.prepare(self.date())
        self.write = name_steps.writer(nursery.app.config["SERVER_DEVICE"], None)

    def date(self) -> datetime:
        return datetime.fromtimestamp(self.nursery.clock.ms / 1000, UTC)

    def at(self) -> str:
        return to_text(self.nursery.clock.ms)

    def begin(self, to: str = NEXT) -> names.Names:
        with self.nursery.app.app_context():
            return name_steps.begin(self.folder, to, self.nursery.site, self.at(), self.write)

    def end(self, *leave: str) -> names.Names:
        with self.nursery.app.app_context():
            site = self.nursery.site
            return name_steps.end(self.folder, site, lambda: set(leave), self.at(), self.write)

    def call_off(self) -> names.Names:
        with self.nursery.app.app_context():
            return name_steps.call_off(self.folder, self.nursery.site, self.at(), self.write)

    def starts(self) -> names.Names:
        """Start the server again; return the names as it is about to serve them."""
        with self.nursery.app.app_context():
            name_steps.follow_at_start(self.folder, self.nursery.site, self.at(), self.write)
        return names.read(self.folder)

    def told(self) -> list[tuple[str, str]]:
        """Return what the log tells of moves, in its own order."""
        query = text("SELECT body FROM events WHERE kind = 'access_changed' ORDER BY position")
        with self.nursery.database() as connection:
            said = [json.loads(body)["data"] for body in connection.scalars(query)]
        steps = [one for one in said if one["what"].startswith("name_mov")]
        return [(one["what"].removeprefix("name_"), one["name"]) for one in steps]


@pytest.fixture
def moving(one_nursery: Nursery) -> Moving:
    return Moving(one_nursery)


@pytest.fixture
def clock() -> Clock:
    """A clock that no machine of today has."""
    return Clock("2031-02-03T04:05:06Z")


def begins(files: authority.Files) -> datetime:
    return x509.load_pem_x509_certificate(files.leaf.read_bytes()).not_valid_before_utc


def test_a_move_and_its_certificates_are_dated_by_the_clock_that_the_server_trusts(moving: Moving):
    at = moving.date()
    assert moving.begin().begun_at == to_text(moving.nursery.clock.ms)
    old, new = moving.network.places()
    assert begins(new.files) == at - authority.EARLIER
    # Lost while it serves, it is made anew in a phone's next handshake.
    new.files.leaf.unlink()
    moving.nursery.clock.forward(days=2)
    line: Any = type("Line", (), {})()
    by_name = serving.ByName(moving.network, serving.SealedConfig(), moving.date)
    by_name.choose(line, NEXT, line)
    assert begins(new.files) == moving.date() - authority.EARLIER
    assert begins(old.files) == at - authority.EARLIER


def full(*_: Any) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@contextmanager
def full_at(step: str = "_keep") -> Iterator[None]:
    """Let the disk be full at a step of `names`: where their file is written, unless said."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(names, step, full)
        yield


def finds_it_full(act: Callable[[], Any], step: str = "_keep") -> None:
    with full_at(step), pytest.raises(OSError, match="No space"):
        act()


BEGUN, ENDED, OFF = ("move_begun", NEXT), ("moved", NEXT), ("move_called_off", NEXT)


@pytest.mark.parametrize(("step", "told"), [("end", "moved"), ("call_off", "move_called_off")])
def test_a_step_that_came_on_record_and_not_to_the_disk_is_finished_and_not_told_twice(
    moving: Moving, step: str, told: str
):
    """The disk is full, or the process dies, between the commit and the file."""
    take = getattr(moving, step)
    for finish in (take, moving.starts):
        before, here = moving.told(), moving.network.names().name
        to = NEXT if here == OLD else OLD
        moving.begin(to)
        with full_at():
            finds_it_full(take)
            # Nor does it hinder the start, which may be what makes room.
            assert moving.starts().next == to
        known = finish()
        assert (known.name, known.next) == (to if step == "end" else here, None)
        assert moving.starts() == moving.network.names() == known
        assert moving.told() == [*before, ("move_begun", to), (told, to)]
        with pytest.raises(NotNow, match="not on the move"):
            take()
    assert len(moving.told()) == 4


@pytest.mark.parametrize("step", ["end", "call_off"])
def test_no_key_of_a_name_that_is_none_is_left_over(moving: Moving, step: str):
    """The process dies between the names' file and the keys; the next start takes them away."""
    moving.begin()
    finds_it_full(getattr(moving, step), "_clear")
    known = moving.network.names()
    gone, kept = (authority.Files(moving.folder / one) for one in (known.other_slot, known.slot))
    assert gone.authority_key.exists()
    assert moving.starts() == known
    assert not any(one.exists() for one in (gone.authority_key, gone.leaf_key))
    assert all(one.exists() for one in (kept.authority_key, kept.leaf_key))


def test_a_phone_that_comes_in_while_the_name_ends_is_not_shut_out(moving: Moving):
    moving.begin()

    def meanwhile() -> set[str]:
        came = Phone(moving.nursery).pair(link_for(moving.nursery, "worker")["link"])
        assert came.status_code == 200
        return set()

    with moving.nursery.app.app_context(), pytest.raises(NotNow, match="at this moment"):
        name_steps.end(moving.folder, moving.nursery.site, meanwhile, moving.at(), moving.write)
    assert names.read(moving.folder).next == NEXT
    assert moving.told() == [BEGUN]


def test_a_record_that_cannot_be_written_does_not_hinder_the_start(
    moving: Moving, monkeypatch: pytest.MonkeyPatch
):
    moving.begin()
    for trouble in (Busy("wait"), OperationalError("", {}, Exception("database or disk is full"))):

        def fails(*_: Any, trouble: Exception = trouble) -> None:
            raise trouble

        monkeypatch.setattr(name_steps, "writing", fails)
        assert moving.starts().next == NEXT


def test_a_move_that_only_the_disk_tells_of_is_put_on_record_once(moving: Moving):
    """The process died between the file of its beginning and the commit."""
    names.begin_move(moving.folder, NEXT, moving.date())
    for again in (moving.starts, moving.begin, moving.starts, moving.begin):
        assert again().next == NEXT
        assert moving.told() == [BEGUN]
    moving.end()
    names.begin_move(moving.folder, OLD, moving.date())
    moving.end()
    assert moving.told() == [BEGUN, ENDED, ("move_begun", OLD), ("moved", OLD)]


def test_nobody_who_was_let_in_since_is_shut_out_by_what_is_finished_late(moving: Moving):
    """What they hold under the name that would answer no more would be lost."""
    nursery, at_old, at_new = moving.nursery, Phone(moving.nursery), Phone(moving.nursery)
    moving.begin()
    finds_it_full(moving.call_off)
    # Both names answer meanwhile.
    under = {"base_url": f"https://{NEXT}"}
    body = {"secret": link_for(nursery, "worker")["link"].rsplit("/", 1)[1], "device": at_new.id}
    said = at_new.client.post("/api/v1/pairings/redeem", json=body, **under)
    assert said.status_code == 200, said.json
    assert moving.starts().next == NEXT
    assert moving.told() == [BEGUN, OFF, BEGUN]
    with pytest.raises(NotNow, match="with a record of its own there"):
        moving.call_off()

    finds_it_full(moving.end)
    assert at_old.pair(link_for(nursery, "worker")["link"], "Shed").status_code == 200
    assert moving.starts().next == NEXT
    assert at_old.client.get("/api/v1/alerts").status_code == 200
    with pytest.raises(NotNow, match="Shed has not moved"):
        moving.end()
    assert moving.end(at_old.id).name == NEXT
    assert moving.told() == [BEGUN, OFF, BEGUN, ENDED, BEGUN, ENDED]
    assert at_new.client.get("/api/v1/alerts", **under).status_code == 200
    assert at_old.client.get("/api/v1/alerts").status_code == 401


def test_a_command_that_died_may_be_given_again_word_for_word(
    moving: Moving, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    monkeypatch.setenv("LATHHOUSE_DATABASE_URL", address_for(tmp_path / "l.sqlite"))
    shed = Phone(moving.nursery)
    assert shed.pair(link_for(moving.nursery, "worker")["link"], "Shed").status_code == 200

    def command(*words: str) -> tuple[int, str]:
        line = ["move-name", *words, "--data", str(moving.folder.parent)]
        said = CliRunner().invoke(main, line)
        return said.exit_code, said.output

    assert command(NEXT)[0] == 0
    assert command("--call-off") == (0, f"The nursery stays {OLD}.\n")
    assert command(NEXT)[0] == 0
    failed, says = command("--end", "--leave", "")
    assert (failed, "is called nothing at all. There are: Shed." in says) == (1, True), says
    with full_at():
        failed, says = command("--end", "--leave", "Shed")
    assert (failed, "No space left" in says) == (1, True)
    assert command("--end", "--leave", "Shed") == (0, f"The nursery is {NEXT} now.\n")
    assert moving.told() == [BEGUN, OFF, BEGUN, ENDED]


class Enough(Exception):
    """The start was followed as far as it matters here."""


def test_a_start_finishes_a_move_before_it_makes_certificates(
    moving: Moving, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    moving.begin()
    finds_it_full(moving.end)

    def settle(settings: Settings, *_: Any) -> None:
        assert names.read(settings.data / "lan").name == NEXT
        raise Enough

    monkeypatch.setattr(serving, "settle", settle)
    settings = Settings(moving.folder.parent, address_for(tmp_path / "l.sqlite"))
    settings.now_ms = moving.nursery.clock
    with pytest.raises(Enough):
        serving.run(settings, serving.Serving("127.0.0.1", 0, lan=True))
    assert moving.told() == [BEGUN, ENDED]
