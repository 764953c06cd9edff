"""The core path over the nursery's own HTTPS, in a browser that really trusts its authority.

No check of a certificate is switched off: the authority is in the browser's store of trust, as a
person puts it on a phone, and the page that hands it out is where it is taken from.
"""

import os
import re
import ssl
import subprocess
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Playwright
from playwright.sync_api import Error as PlaywrightError
from tests.browser import PHONE, browser_arguments, find_certutil

from e2e.house import (
    House,
    Walker,
    lot_events,
    offline,
    online,
    pair,
    place,
    unsent,
    until,
    until_in_touch,
)

NAME = "rows.test"
LAN = ("--lan", "--name", NAME, "--address", "127.0.0.1")


class SealedHouse(House):
    """A server on its own network; its scripts reach it by an address of this machine."""

    @property
    def sealed(self) -> str:
        """Where phones open it."""
        return f"https://{NAME}:{self.port}"

    @property
    def address(self) -> str:
        """Where its scripts find it."""
        return f"https://127.0.0.1:{self.port}"

    def authority(self, to: Path) -> Path:
        """Take the certificate from the page that hands it out; check its printed fingerprint."""
        helps = [line for line in self.said if line.startswith("On each phone")][-1]
        port = re.search(r":(\d+)/ ", helps)
        assert port is not None
        where = f"http://127.0.0.1:{port[1]}/lathhouse-authority.crt"
        with urllib.request.urlopen(where, timeout=60) as answer:
            to.write_bytes(answer.read())
        shown = ["openssl", "x509", "-inform", "DER", "-in", str(to), "-noout", "-fingerprint"]
        done = subprocess.run([*shown, "-sha256"], check=True, capture_output=True, text=True)
        printed = [line for line in self.said if "fingerprint" in line][-1]
        self.trust = self.trust or ssl.create_default_context()
        self.trust.load_verify_locations(cadata=to.read_bytes())
        assert done.stdout.strip().rsplit("=", 1)[1] == printed.rsplit(" ", 1)[1]
        return to


@pytest.fixture
def sealed_house(tmp_path: Path) -> Iterator[SealedHouse]:
    """A server on its first day, with an authority of its own."""
    running = SealedHouse(tmp_path / "house", *LAN)
    running.start()
    yield running
    running.stop()


def open_phone(
    playwright: Playwright, chromium_path: str, profile: Path, home: Path
) -> BrowserContext:
    """Open a browser that finds such names on this machine, and whose trust is in a folder."""
    return playwright.chromium.launch_persistent_context(
        str(profile),
        executable_path=chromium_path,
        args=[*browser_arguments(), "--host-resolver-rules=MAP *.test 127.0.0.1"],
        env={**os.environ, "HOME": str(home)},
        **PHONE,
    )


def trust(home: Path, certificate: Path, called: str = "nursery") -> None:
    """Put an authority into the store of trust, for web servers only."""
    store = home / ".pki" / "nssdb"
    certutil = [find_certutil(), "-d", f"sql:{store}"]
    if not store.exists():
        store.mkdir(parents=True)
        subprocess.run([*certutil, "-N", "--empty-password"], check=True)
    put = ["-A", "-t", "C,,", "-n", called, "-i", str(certificate)]
    subprocess.run([*certutil, *put], check=True)


def test_a_round_over_https_offline_and_back_with_the_certificate_really_trusted(
    sealed_house: SealedHouse, playwright: Playwright, chromium_path: str, tmp_path: Path
):
    house, home = sealed_house, tmp_path / "home"
    certificate = house.authority(tmp_path / "authority.crt")
    stranger = open_phone(playwright, chromium_path, tmp_path / "stranger", tmp_path / "empty")
    with pytest.raises(PlaywrightError, match="ERR_CERT_AUTHORITY_INVALID"):
        stranger.new_page().goto(house.sealed)
    stranger.close()
    trust(home, certificate)
    context = open_phone(playwright, chromium_path, tmp_path / "phone", home)
    assert house.link.startswith(house.sealed)
    page = pair(context, house)
    fridge = place(house, "Shed fridge", 1)
    _, events = lot_events(house, "26-001", fridge, 50, ("cold_started", {"where": "fridge"}, 43))
    house.record(events)
    page.reload()
    until_in_touch(page)
    offline(context, house)
    page.reload()
    walker = Walker(page)
    walker.begin()
    assert walker.look() == "26-001"
    until(page, "import('/store/house.js').then((house) => house.pending.value.length === 1)")
    online(context, house)
    until_in_touch(page)
    assert unsent(page) == 0
    assert len(house.events("looked")) == 1
    (cookie,) = [one for one in context.cookies() if one["name"] == "__Host-lathhouse_session"]
    assert cookie["secure"]
    assert cookie["httpOnly"]
    context.close()
