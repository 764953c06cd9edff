"""A move of the nursery's name: what is on record and what is on the disk go together (ours)."""

import ipaddress
from datetime import UTC, datetime
from typing import Any

import pytest
from cryptography import x509

from lathhouse import serving
from lathhouse.domain.instants import to_text
from lathhouse.web import authority, name_move, names
from lathhouse.web.lan import Network
from tests.server import Clock, Nursery

OLD, NEXT = "rows.test", "beds.test"


class Moving:
    """A nursery on its own network, and the owner's commands there."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.folder = nursery, nursery.app.config["LATHHOUSE"].data / "lan"
        names.settled_name(self.folder, OLD)
        here = ipaddress.ip_address("127.0.0.1")
        self.network = Network(self.folder, (here,), 8321, 8320)
        self.network.prepare(self.date())
        self.write = name_move.writer(nursery.app.config["SERVER_DEVICE"], None)

    def date(self) -> datetime:
        return datetime.fromtimestamp(self.nursery.clock.ms / 1000, UTC)

    def begin(self, to: str = NEXT) -> names.Names:
        with self.nursery.app.app_context():
            at = to_text(self.nursery.clock.ms)
            return name_move.begin(self.folder, to, self.nursery.site, at, self.write)


@pytest.fixture
def moving(sqlite_nursery: Nursery) -> Moving:
    return Moving(sqlite_nursery)


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
