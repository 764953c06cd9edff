"""The commands, as a person types them: backup beside a running server, restore, key."""

import re
import subprocess
import sys
import zipfile
from pathlib import Path

from lathhouse.store import access
from lathhouse.store.work import writing
from lathhouse.sync.server_events import ServerDevice, access_said
from tests.on_postgresql import address_for, environment
from tests.server import Clock, close_nursery, open_nursery

LATHHOUSE = [sys.executable, "-m", "lathhouse"]


def lathhouse(*words: object, fails: bool = False) -> str:
    """Run a command and return what it said."""
    folder = Path(str(words[words.index("--data") + 1])) if "--data" in words else Path()
    env = environment(folder)
    done = subprocess.run(
        [*LATHHOUSE, *map(str, words)], capture_output=True, text=True, env=env, timeout=120
    )
    assert (done.returncode != 0) == fails, done.stdout + done.stderr
    return done.stdout + done.stderr


def same_file(one: Path, other: Path) -> bool:
    return one.exists() and one.read_bytes() == other.read_bytes()


def test_backup_and_restore_by_command_give_the_same_record(tmp_path: Path):
    """The first server goes on running, as it would in the shed."""
    at, clock = tmp_path / "at", Clock()
    nursery = open_nursery(address_for(at / "lathhouse.sqlite"), at, clock)
    device = nursery.device()
    lot = device.start_lot()
    device.record("looked", lot, {"moisture": 3})
    # Of an earlier version, which took any name, and put it on record where the log takes it.
    with nursery.app.app_context():
        for name in ("", "shed\tprobe"):
            access.add_token(nursery.site, name, "sensor", clock.text())
        said_of = access_said("token_made", None, name="", role="sensor")
        writing(nursery.site, clock.text(), lambda work: ServerDevice().add(work, [said_of]))
    said = re.findall(r"age1\w+|AGE-SECRET-KEY-\w+", lathhouse("key"))
    secret = tmp_path / "secret"
    secret.write_text(said[0])
    keys = {name: at / name for name in ("vapid.pem", "mail.json", "lan/authority-key.pem")}
    keys["mail.json"].write_text('{"host": "mail.example", "sender": "shed@example.org"}')
    keys["lan/authority-key.pem"].parent.mkdir()
    keys["lan/authority-key.pem"].write_text("a key")
    made = Path(lathhouse("backup", "--data", at, "--to", tmp_path / "to").splitlines()[-1])
    sealed = lathhouse("backup", "--data", at, "--seal-for", said[1]).splitlines()[-1]
    assert made.parent == tmp_path / "to"
    assert Path(sealed).parent == at / "backups"
    for file, more in ((made, []), (sealed, ["--key", secret])):
        place = tmp_path / f"new-{len(more)}"
        told = lathhouse("restore", file, "--data", place, *more)
        assert "3 events as of" in told
        assert "Let in again:  (sensor).\n" in told, "its making is on record, without its name"
        assert "Let in again: shed?probe (sensor). The log does not say" in told
        assert "1 lot folded again from them: 0 differences." in told
        assert "Let in again: owner's script (owner). The log does not say" in told
        assert "3 events, 1 lot, 0 differences" in lathhouse("check", "--data", place)
        # The keys come with a sealed copy only; without them the folder has a push key of its own.
        same = {name: same_file(place / name, path) for name, path in keys.items()}
        assert set(same.values()) == {bool(more)}, same
        assert ("holds no keys" in told) == (not more)
        assert (place / "vapid.pem").stat().st_mode & 0o077 == 0
    with zipfile.ZipFile(made) as file:
        assert not [name for name in file.namelist() if "kept" in name]
    refused = lathhouse("restore", made, "--data", at, fails=True)
    assert "There is a record in this place already" in refused
    assert "Traceback" not in refused
    close_nursery(nursery)


def test_restoring_what_is_no_archive_says_so(tmp_path: Path):
    odd = tmp_path / "odd.zip"
    odd.write_text("nothing")
    said = lathhouse("restore", odd, "--data", tmp_path / "new", fails=True)
    assert "not an archive of this program" in said
    assert "Traceback" not in said
