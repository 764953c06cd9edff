"""The data folder: one server's at a time, its owner's alone, and never made by a slip of the pen.

That a lock goes with a process that is killed, and that several processes of one server share it,
is held by `tests/web/test_serve.py` and `tests/web/test_workers.py`. The words are ours.
"""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from lathhouse.app import create_app
from lathhouse.cli import main
from lathhouse.demo.load import is_real, load
from lathhouse.folder import held
from lathhouse.settings import Settings
from lathhouse.store import backup
from lathhouse.store.backup import back_up, new_key, unseal
from lathhouse.store.restore import read_archive
from lathhouse.store.scratch import clear, scratch
from tests.server import Clock, Nursery, close_nursery


def said(*words: object) -> str:
    """Run a command that is to be refused; return what it said, which is no stack trace."""
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code in (1, 2), done.output
    assert isinstance(done.exception, SystemExit), done.exception
    return done.output


@pytest.fixture
def real(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Nursery]:
    """A nursery with one lot and one note that is about no lot, in a folder made for it."""
    monkeypatch.delenv("LATHHOUSE_DATABASE_URL", raising=False)
    nursery = Nursery(create_app(Settings(data=tmp_path / "new" / "data", now_ms=Clock())), Clock())
    device = nursery.device()
    device.start_lot()
    device.record("noted", None, {"text": "frost on the glass"})
    yield nursery
    close_nursery(nursery)


def folder_of(nursery: Nursery) -> Path:
    folder: Path = nursery.app.config["LATHHOUSE"].data
    return folder


def test_a_folder_that_a_server_has_is_nobody_else_s(real: Nursery, tmp_path: Path):
    folder = tmp_path / "empty"
    folder.mkdir()
    with real.app.app_context():
        made = back_up(real.site, tmp_path / "to", real.clock.text())
    whose = f"Another server has this folder (process {os.getpid()}). Stop it first."
    with held(folder):
        assert whose in said("serve", "--data", folder, "--port", 0)
        assert whose in said("restore", made, "--data", folder)
    with held(folder, shared=True), held(folder, shared=True):
        assert "Another server has this folder. Stop" in said("restore", made, "--data", folder)
    done = CliRunner().invoke(main, ["restore", str(made), "--data", str(folder)])
    assert (done.exit_code, "2 events as of" in done.output) == (0, True), done.output
    assert "1 lot folded again from them" in done.output
    done = CliRunner().invoke(main, ["check", "--data", str(folder)])
    assert done.output.splitlines()[-1] == "2 events, 1 lot, 0 differences"


def test_what_is_made_is_its_owner_s_alone_and_what_was_there_stays_as_it_is(
    real: Nursery, tmp_path: Path
):
    folder = folder_of(real)
    assert {path.stat().st_mode & 0o077 for path in (folder, *folder.glob("*.sqlite*"))} == {0}
    there = tmp_path / "there"
    there.mkdir(mode=0o750)
    close_nursery(Nursery(create_app(Settings(data=there)), Clock()))
    assert there.stat().st_mode & 0o777 == 0o750


def test_a_sealed_backup_is_nowhere_in_plain_outside_the_data_folder(
    real: Nursery, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    stick, folder = tmp_path / "stick", folder_of(real)
    seal, seen = backup.seal, []

    def sealing(path: Path, recipient: str, to: Path) -> Path:
        seen.append((path.is_relative_to(folder), [p for p in stick.rglob("*") if p.is_file()]))
        return seal(path, recipient, to)

    monkeypatch.setattr(backup, "seal", sealing)
    secret, public = new_key()
    # What one that was killed has left, in either folder.
    for place in (stick, folder):
        (place / ".unfinished-dead").mkdir(parents=True)
        (place / ".unfinished-dead" / "plain.zip").write_text("plain")
    with scratch(folder) as alive, real.app.app_context():
        made = back_up(real.site, stick, real.clock.text(), public, folder)
        assert seen == [(True, [])]
        assert [one.name for one in stick.iterdir()] == [made.name]
        assert list(folder.glob(".unfinished-*")) == [alive]
        assert clear(folder) == []
    key = tmp_path / "key"
    key.write_text(f"# made by: lathhouse key\n{secret}\n")
    asked = ("restore", made, "--data", tmp_path / "restored")
    assert "This backup is sealed. Give the secret key's file: --key FILE" in said(*asked)
    wrong = f"{made} holds no secret key; one begins with AGE-SECRET-KEY-."
    assert wrong in said(*asked, "--key", made)
    plain = unseal(made, backup.read_key(key), tmp_path / "plain.zip")
    with real.app.app_context(), pytest.raises(Exception, match="There is a record in this place"):
        read_archive(plain)


def test_a_slip_of_the_pen_is_told_and_makes_no_folder(tmp_path: Path):
    gone, file = tmp_path / "gone", tmp_path / "a.txt"
    file.write_text("no folder")
    for words in (["check"], ["backup"], ["take-file", file], ["tokens", "list"], ["move-name"]):
        says = f"There is no record in {gone}. Give the folder that serve uses: --data FOLDER"
        assert says in said(*words, "--data", gone)
    assert not gone.exists()
    assert (
        CliRunner()
        .invoke(main, ["tokens", "add", "probe", "--role", "sensor", "--data", str(gone)])
        .exit_code
        == 0
    )
    own = ("--certificate", file, "--private-key", file)
    for says, words in {
        f"{file} is no folder.": ["serve", "--data", file, "--port", 0],
        f"{file}/to is no folder.": ["backup", "--data", gone, "--to", file / "to"],
        "80000 is not in the range": ["serve", "--data", gone, "--port", 80000],
        f"{file} and {file} are no certificate and its key": ["serve", "--data", gone, *own],
        "300.1.1.1 is no address of this machine. Give one of its own: --host.": [
            "serve", "--data", gone, "--host", "300.1.1.1",
        ],
    }.items():  # fmt: skip
        assert says in said(*words)


def test_a_phone_that_is_not_there_is_not_left_behind(real: Nursery):
    lan = folder_of(real) / "lan"
    lan.mkdir()
    (lan / "name.json").write_text('{"name": "rows.test", "next": "beds.test"}')
    words = said("move-name", "--end", "--leave", "Foo", "--data", folder_of(real))
    assert "No phone that is let in is called Foo. There is none at all." in words


def test_a_real_nursery_is_not_opened_as_a_demo(real: Nursery):
    asked = ("serve", "--demo", "--data", folder_of(real), "--port", 0)
    assert f"{folder_of(real)} holds a real nursery. Leave out --demo." in said(*asked)


def test_a_demo_that_was_filled_before_is_opened_again(one_nursery: Nursery):
    at, site = one_nursery.clock.ms, one_nursery.site
    with one_nursery.app.app_context():
        assert not is_real(site, at)
        load(site, at, lived_days=0)
        assert not is_real(site, at)
