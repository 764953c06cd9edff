"""HTTPS on the nursery's own network: checked by OpenSSL, not by ourselves."""

import asyncio
import ipaddress
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import segno
import zxingcpp
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from PIL import Image

from lathhouse import serving
from lathhouse.errors import BadField, NotNow
from lathhouse.web import authority, names
from lathhouse.web.authority import Files, Site
from lathhouse.web.lan import Network, drawn_in_terminal, own_addresses
from lathhouse.web.names import settled_name
from tests.on_postgresql import address_for, environment
from tests.server import close_nursery, open_nursery

NAME = "rows.test"
HERE = ipaddress.ip_address("127.0.0.1")
NOW = datetime(2026, 9, 10, 8, 40, tzinfo=UTC)


def leaf(files: Files) -> x509.Certificate:
    return x509.load_pem_x509_certificate(files.leaf.read_bytes())


class Lan:
    """`lathhouse serve --lan` in a process of its own."""

    def __init__(self, folder: Path, *options: str, hurried: bool = False) -> None:
        self.folder = folder
        code = "from lathhouse import serving; serving.RENEW_EVERY_SECONDS = 0.2; "
        run = "from lathhouse.cli import main; main()"
        command = [sys.executable, "-c", f"{code if hurried else ''}{run}"]
        where = ["serve", "--lan", "--name", NAME, "--address", str(HERE), "--port", "0"]
        self.process = subprocess.Popen(
            [*command, *where, "--data", str(folder), *options],
            stdout=subprocess.PIPE,
            text=True,
            env=environment(folder),
        )
        assert self.process.stdout is not None
        self.said = []
        for line in self.process.stdout:
            self.said.append(line.rstrip("\n"))
            if line.startswith("Lathhouse is at "):
                break
        self.port = int(self.said[-1].rstrip("/").rsplit(":", 1)[1])
        (helps,) = [line for line in self.said if line.startswith("On each phone")]
        self.plain_port = int(helps.split("http://")[1].split("/")[0].rsplit(":", 1)[1])
        self.files = Files(folder / "lan")

    def end(self) -> None:
        self.process.terminate()
        assert self.process.wait(timeout=60) == 0
        assert self.process.stdout is not None
        self.process.stdout.close()

    def sealed(self, name: str = NAME) -> ssl.SSLSocket:
        """Shake hands as a phone that trusts the authority and asks for a name."""
        trust = ssl.create_default_context(cafile=self.files.authority)
        trust.set_alpn_protocols(["h2", "http/1.1"])
        line = socket.create_connection(("127.0.0.1", self.port), timeout=30)
        return trust.wrap_socket(line, server_hostname=name)

    def serial(self) -> str:
        with self.sealed() as line:
            return str(line.getpeercert()["serialNumber"])  # type: ignore[index]

    def plain(self, path: str, method: str = "GET", **headers: str) -> tuple[int, bytes]:
        where = f"http://127.0.0.1:{self.plain_port}{path}"
        request = urllib.request.Request(where, method=method, headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as error:
            return error.code, error.read()


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Lan]:
    running = Lan(tmp_path / "data")
    yield running
    running.end()


def test_a_phone_that_trusts_the_authority_is_let_in_by_name_and_by_address(lan: Lan):
    for name in (NAME, "127.0.0.1"):
        with lan.sealed(name) as line:
            assert line.version() in ("TLSv1.2", "TLSv1.3")
            assert line.selected_alpn_protocol() == "h2"
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        lan.sealed("bank.example")
    stranger = ssl.create_default_context()
    with (
        socket.create_connection(("127.0.0.1", lan.port)) as line,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        stranger.wrap_socket(line, server_hostname=NAME)


def test_the_plain_side_hands_out_the_certificate_and_nothing_else(lan: Lan):
    status, page = lan.plain("/")
    assert status == 200
    text = page.decode()
    printed = next(line for line in lan.said if "fingerprint" in line).rsplit(" ", 1)[1]
    assert text.replace("<br>", "").count(printed) == 1
    assert f"https://{NAME}:{lan.port}/" in text
    assert "<script" not in text
    # Step by step for each kind of phone, as its own settings are named (common practice, no
    # source).
    for kind in ("iPhone", "Android"):
        steps = text.split(kind, 1)[1].split("</ol>", 1)[0]
        assert steps.count("<li>") >= 3
        assert "Take the certificate" in steps
        assert "Settings ›" in steps
    assert "Certificate Trust Settings" in text
    assert "CA certificate" in text
    status, der = lan.plain("/lathhouse-authority.crt")
    given = x509.load_der_x509_certificate(der)
    assert given.fingerprint(hashes.SHA256()).hex(":").upper() == printed
    forged = {"X-Forwarded-Proto": "https"}
    for path in (
        "/api/v1/session",
        "/api/openapi.json",
        "/app.js",
        "/health",
        "/authority-key.pem",
    ):
        assert lan.plain(path)[0] == 404
        assert lan.plain(path, **forged)[0] == 404
    assert lan.plain("/api/v1/pairings/redeem", "POST")[0] == 405


def test_the_cookie_is_for_sealed_lines_only_and_the_name_is_kept_sealed(lan: Lan):
    context = ssl.create_default_context(cafile=lan.files.authority)
    (link,) = [line for line in lan.said if "#/pair/" in line]
    assert f"https://{NAME}:{lan.port}/#/pair/" in link
    body = b'{"secret": "%s", "device": "0198f000-0000-7000-8000-000000000001"}' % (
        link.rsplit("/", 1)[1].encode()
    )
    where = f"https://127.0.0.1:{lan.port}/api/v1/pairings/redeem"
    request = urllib.request.Request(where, body, {"Content-Type": "application/json"})
    with urllib.request.urlopen(request, context=context, timeout=30) as answer:
        assert "; Secure" in answer.headers["Set-Cookie"]
        assert "HttpOnly" in answer.headers["Set-Cookie"]
        assert answer.headers["Strict-Transport-Security"].startswith("max-age=31536000;")


def test_a_certificate_is_renewed_while_the_server_runs(tmp_path: Path):
    lan = Lan(tmp_path / "data", hurried=True)
    before = lan.serial()
    named = leaf(lan.files).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    site = Site(NAME, tuple(named.get_values_for_type(x509.IPAddress)))
    soon = datetime.now(UTC) + timedelta(days=authority.LEAF_DAYS - authority.RENEW_DAYS + 1)
    # What the server itself does when that day comes; until then its hourly look changes nothing.
    assert not authority.prepare(lan.files, site, datetime.now(UTC))
    assert authority.prepare(lan.files, site, soon - timedelta(days=30)) is False
    lan.files.leaf.unlink()
    assert authority.prepare(lan.files, site, datetime.now(UTC))
    end = time.monotonic() + 30
    while lan.serial() == before:
        assert time.monotonic() < end, "the old certificate goes on"
    lan.end()


def test_the_server_s_certificate_lasts_at_most_398_days_and_is_renewed_before_it_ends(tmp_path):
    """CA/Browser Forum, Baseline Requirements, section 6.3.2: at most 398 days."""
    files, site = Files(tmp_path), Site(NAME, (HERE,))
    assert authority.prepare(files, site, NOW)
    first = leaf(files)
    assert first.not_valid_after_utc - first.not_valid_before_utc <= timedelta(days=398)
    day = timedelta(days=1)
    last = first.not_valid_after_utc - authority.RENEW_DAYS * day
    assert not authority.prepare(files, site, last - day)
    assert authority.prepare(files, site, last)
    assert leaf(files).serial_number != first.serial_number
    authority_before = files.authority.read_bytes()
    moved = Site(NAME, (ipaddress.ip_address("127.0.0.9"),))
    assert authority.prepare(files, moved, last)
    assert files.authority.read_bytes() == authority_before, "phones trust it once"


def test_the_running_server_itself_renews_by_its_own_clock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(serving, "RENEW_EVERY_SECONDS", 0.01)
    names.settled_name(tmp_path, NAME)
    network = Network(tmp_path, (HERE,), 8321)
    network.prepare(NOW)
    files, now = network.place().files, [NOW]
    config = serving.SealedConfig()
    config.certfile, config.keyfile = str(files.leaf), str(files.leaf_key)
    looks = 0

    def date() -> datetime:
        nonlocal looks
        looks += 1
        return now[0]

    async def until_looked(times: int) -> int:
        nonlocal looks
        looks = 0
        renews = serving.Renewal(lambda: True, date)
        task = asyncio.create_task(serving.keep_renewing(config, network, renews))
        async with asyncio.timeout(60):
            while looks < times:
                await asyncio.sleep(0.01)
        task.cancel()
        return leaf(files).serial_number

    def serial() -> int:
        # On a thread of its own: a browser driven in this process has a loop of its own running.
        with ThreadPoolExecutor(1) as thread:
            return thread.submit(asyncio.run, until_looked(2)).result()

    first = serial()
    now[0] += timedelta(days=authority.LEAF_DAYS - authority.RENEW_DAYS + 1)
    assert serial() != first


def test_links_for_phones_are_such_as_a_phone_can_open(tmp_path, one_nursery, capsys):
    """By name, whatever the owner typed; an IPv6 address stands in brackets (RFC 3986, 3.2.2)."""
    names.settled_name(tmp_path, NAME)
    six = ipaddress.ip_address("fd00::7")
    network = Network(tmp_path, (six,), 8321, 8320)
    assert network.help_at == "http://[fd00::7]:8320/"
    one_nursery.app.config["NETWORK"] = network
    made = one_nursery.call("POST", "/api/v1/pairings", {})
    assert made.json["link"].startswith(f"https://{NAME}:8321/#/pair/")
    serving.say_owners_link("http://127.0.0.1:8321/#/pair/x")
    (said,) = capsys.readouterr().out.splitlines()
    assert "on this computer (for phones, start it with --lan)" in said
    serving.say_owners_link(made.json["link"])
    *code, said = capsys.readouterr().out.splitlines()
    assert said.endswith(made.json["link"])
    assert code == drawn_in_terminal(made.json["link"]).splitlines()


def test_nothing_older_than_tls_1_2_and_no_weak_cipher_is_spoken(tmp_path):
    files = Files(tmp_path)
    authority.prepare(files, Site(NAME, (HERE,)), NOW)
    config = serving.SealedConfig()
    config.certfile, config.keyfile = str(files.leaf), str(files.leaf_key)
    context = config.create_ssl_context()
    assert context is not None
    assert context.minimum_version == ssl.TLSVersion.TLSv1_2
    assert not context.options & (ssl.OP_NO_TLSv1_2 | ssl.OP_NO_TLSv1_3)
    for cipher in context.get_ciphers():
        sealed = cipher["aead"] and cipher["strength_bits"] >= 128
        assert sealed, cipher["name"]
        assert cipher["name"].startswith(("ECDHE-", "TLS_")), "forward secrecy"


def test_another_network_leaves_the_authority_that_phones_trust(tmp_path):
    files, other = Files(tmp_path), ipaddress.ip_address("169.254.7.7")
    authority.prepare(files, Site(NAME, (HERE,)), NOW)
    trusted = authority.fingerprint(files)
    site = Site(NAME, (HERE, other))
    assert authority.left_out(files, site) == (other,)
    assert not authority.prepare(files, site, NOW)
    assert authority.prepare(files, Site(NAME, (other,)), NOW)
    assert (authority.fingerprint(files), authority.addresses_of(files.leaf)) == (trusted, ())


def test_what_a_clock_that_ran_ahead_made_is_made_anew_when_it_is_right(tmp_path):
    """A leaf that begins in 99 days; and an authority that was made since the first seemed over."""
    files, site = Files(tmp_path), Site(NAME, (HERE,))
    authority.prepare(files, site, NOW)
    trusted = authority.fingerprint(files)
    for days in (100, 4000):
        assert authority.prepare(files, site, NOW + timedelta(days=days))
        assert (authority.fingerprint(files) == trusted) is (days == 100)
        assert authority.prepare(files, site, NOW)
        assert leaf(files).not_valid_before_utc <= NOW
        assert authority.fingerprint(files) == trusted


@pytest.mark.parametrize("lost", ["leaf", "leaf_key", "authority", "authority_key"])
@pytest.mark.parametrize("left", ["empty", "another's"])
def test_a_file_that_a_power_cut_left_half_written_is_made_anew(tmp_path, lost, left, caplog):
    files, other = Files(tmp_path / "a"), Files(tmp_path / "b")
    site = Site(NAME, (HERE,))
    for one in (files, other):
        authority.prepare(one, site, NOW)
    content = b"" if left == "empty" else getattr(other, lost).read_bytes()
    getattr(files, lost).write_bytes(content)
    assert authority.prepare(files, site, NOW)
    assert "not whole, or not a pair" in caplog.text
    context = ssl.create_default_context(cafile=str(files.authority))
    context.load_cert_chain(files.leaf, files.leaf_key)
    at = str(int(NOW.timestamp()))
    command = ["openssl", "verify", "-attime", at, "-CAfile", str(files.authority)]
    assert subprocess.run([*command, str(files.leaf)], capture_output=True).returncode == 0


def test_the_keys_are_their_owner_s_only(tmp_path):
    files = Files(tmp_path / "lan")
    authority.prepare(files, Site(NAME, (HERE,)), NOW)
    assert files.authority_key.stat().st_mode & 0o077 == 0
    assert files.leaf_key.stat().st_mode & 0o077 == 0


def test_the_authority_cannot_vouch_for_another_name_or_network(tmp_path):
    """RFC 5280 section 4.2.1.10, as OpenSSL checks it: the authority's key in a thief's hands."""
    honest, thief = Files(tmp_path / "honest"), Files(tmp_path / "thief")
    authority.prepare(honest, Site(NAME, (HERE,)), NOW)
    authority.prepare(thief, Site(NAME, (HERE,)), NOW)
    thief.authority.write_bytes(honest.authority.read_bytes())
    thief.authority_key.write_bytes(honest.authority_key.read_bytes())
    for site, holds in (
        (Site(NAME, (HERE,)), True),
        (Site("bank.example", (HERE,)), False),
        (Site(NAME, (ipaddress.ip_address("203.0.113.7"),)), False),
    ):
        authority._make_leaf(thief, site, NOW)
        at = str(int(NOW.timestamp()))
        command = ["openssl", "verify", "-attime", at, "-CAfile", str(honest.authority)]
        done = subprocess.run([*command, str(thief.leaf)], capture_output=True, text=True)
        assert (done.returncode == 0) == holds, done.stdout + done.stderr
        assert holds or "permitted subtree violation" in done.stdout + done.stderr


def test_the_name_is_settled_once_and_another_is_refused_with_what_to_do(tmp_path):
    assert settled_name(tmp_path, "Rows.Test") == NAME
    assert settled_name(tmp_path, None) == NAME
    with pytest.raises(BadField, match=r"move it: lathhouse move-name other\.test"):
        settled_name(tmp_path, "other.test")
    for bad in ("nodot", "a b.local", "-a.local", "x" * 64 + ".local", "1.2.3.4"):
        with pytest.raises(BadField, match="is no name"):
            settled_name(tmp_path / "new", bad)


def test_an_address_that_is_none_is_refused():
    with pytest.raises(BadField, match=r"like 192\.168\.1\.20"):
        own_addresses(("shed",))


def test_the_code_in_the_terminal_reads_as_the_address():
    """Read back by another library (ZXing-C++)."""
    address = "http://192.168.1.20:8320/"
    rows = drawn_in_terminal(address).splitlines()
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    squares = [halves[sign][half] for row in rows for half in (0, 1) for sign in row]
    small = Image.new("L", (len(rows[0]), 2 * len(rows)))
    small.putdata(squares)
    picture = small.resize((small.width * 8, small.height * 8), Image.Resampling.NEAREST)
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [address]
    assert segno.make(address, error="l").designator


def test_a_proxy_on_this_machine_is_believed_only_where_it_was_asked_for(tmp_path, clock):
    """What a proxy says of scheme and host (X-Forwarded-*), real headers over the application."""
    nursery = open_nursery(address_for(tmp_path / "l.sqlite"), tmp_path / "data", clock)
    said = {"X-Forwarded-Proto": "https", "X-Forwarded-Host": "rows.example"}
    said |= {"X-Forwarded-For": "198.51.100.9"}

    def link(**environ: str) -> str:
        headers = {"Authorization": f"Bearer {nursery.token('owner')}", **said}
        answer = nursery.app.test_client().post(
            "/api/v1/pairings", json={}, headers=headers, environ_base=environ
        )
        return str(answer.json["link"])

    assert link(REMOTE_ADDR="127.0.0.1").startswith("http://localhost/#/pair/")
    from lathhouse.web.asgi import believe_proxy

    believe_proxy(nursery.app)
    assert link(REMOTE_ADDR="127.0.0.1").startswith("https://rows.example/#/pair/")
    assert link(REMOTE_ADDR="192.168.1.66").startswith("http://localhost/#/pair/"), "forged"
    close_nursery(nursery)


def test_a_name_moves_by_one_file_and_phones_trust_anew_only_where_they_must(tmp_path):
    """A name below the settled one is within the authority's limits (RFC 5280, 4.2.1.10)."""
    names.settled_name(tmp_path, NAME)
    with pytest.raises(NotNow, match="serve --lan"):
        names.begin_move(tmp_path, "beds.test", NOW)
    network = Network(tmp_path, (HERE,), 8321, 8320)
    network.prepare(NOW)
    assert network.move() is None
    names.begin_move(tmp_path, f"beds.{NAME}", NOW)
    below = network.move()
    assert below is not None
    assert below["trust"] is None, "the same authority vouches for it"
    with pytest.raises(NotNow, match=r"to beds\.rows\.test is under way"):
        names.begin_move(tmp_path, "beds.test", NOW)
    names.call_off(tmp_path)
    assert network.move() is None
    first = authority.fingerprint(network.place().files)
    names.begin_move(tmp_path, "beds.test", NOW)
    other = network.move()
    assert other is not None
    assert other["trust"]["fingerprint"] not in ("", first)
    assert other["trust"]["help"] == "http://127.0.0.1:8320/"
    assert [settled_name(tmp_path, one) for one in (NAME, "beds.test", None)] == [NAME] * 3
    old_key = network.place().files.authority_key
    names.end_move(tmp_path)
    assert network.place().site.name == "beds.test"
    assert not old_key.exists(), "whoever found it could vouch for the old name"
    assert authority.fingerprint(network.place().files) == other["trust"]["fingerprint"]
    assert settled_name(tmp_path, NAME) == "beds.test", "an old start script starts it all the same"
    # And on: the next move uses the place of the first.
    names.begin_move(tmp_path, NAME, NOW)
    assert settled_name(tmp_path, NAME) == "beds.test"
    assert names.end_move(tmp_path).name == NAME
    with pytest.raises(BadField, match="called rows"):
        names.begin_move(tmp_path, NAME, NOW)
