"""The running server: its sockets, its certificate, its clocks."""

import asyncio
import contextlib
import errno
import logging
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from ssl import PROTOCOL_TLS_SERVER, SSLContext, SSLError
from typing import Any
from urllib.parse import urlsplit

import click
from flask import Flask
from hypercorn.asyncio import serve as hypercorn_serve
from hypercorn.config import Config, Sockets

from lathhouse.app import create_app
from lathhouse.domain.instants import to_text
from lathhouse.errors import BadField, NotNow
from lathhouse.folder import Hold, clear_left_behind, held, make_folder
from lathhouse.reminders.clock import Clock, catch_up
from lathhouse.reminders.duty import Chore, Duty
from lathhouse.reminders.nightly import Nightly
from lathhouse.reminders.sender import Sender
from lathhouse.settings import Settings, backups_in, forecast_source, wall_clock_ms
from lathhouse.store import access
from lathhouse.store.models import db
from lathhouse.store.scratch import clear
from lathhouse.store.site_clock import SiteClock
from lathhouse.sync.forecast_fetch import Forecast
from lathhouse.web import authority
from lathhouse.web.asgi import Door, believe_proxy
from lathhouse.web.callers import LOOPBACK
from lathhouse.web.lan import Network, Place, PlainDoor, drawn_in_terminal, own_addresses
from lathhouse.web.lines import Entrance, Lines
from lathhouse.web.meter import SHARED_BY
from lathhouse.web.name_steps import follow_at_start, writer
from lathhouse.web.names import settled_name
from lathhouse.workers import Workers

BACKLOG = 256
# So long may a phone say nothing while it waits for its answer, or takes it. A head must be there
# in five seconds (hypercorn's own), a body comes by the rule of `web/asgi.py`, an answer leaves by
# that of `web/lines.py`.
READ_TIMEOUT_SECONDS = 120
HANDSHAKE_TIMEOUT_SECONDS = 10
# What has been accepted has this long to be finished once the server is told to stop: a phone that
# sends at all sends a push within it.
FINISH_SECONDS = 20
# hypercorn's own limit comes first; this one is for what it waits for without any.
STOPPED_SECONDS = FINISH_SECONDS + 5
RENEW_EVERY_SECONDS = 3600.0
EVERYWHERE = ("0.0.0.0", "::", "")

log = logging.getLogger(__name__)


@dataclass
class Serving:
    """How the server is to be reached."""

    host: str
    port: int
    lan: bool = False
    name: str | None = None
    addresses: tuple[str, ...] = ()
    certificate: Path | None = None
    private_key: Path | None = None
    behind_proxy: bool = False
    workers: int = 1

    def __post_init__(self) -> None:
        if (self.certificate is None) != (self.private_key is None):
            raise click.UsageError("--certificate and --private-key go together.")
        if self.lan and self.certificate:
            raise click.UsageError("--lan makes its own certificate; leave out --certificate.")
        if (self.name or self.addresses) and not self.lan:
            raise click.UsageError("--name and --address go with --lan.")
        if self.behind_proxy and (self.lan or self.certificate):
            raise click.UsageError("Behind a proxy, the proxy speaks HTTPS: leave out the rest.")

    @property
    def listens_on(self) -> str:
        """The address to listen on: with --lan everywhere, unless one was chosen."""
        return "0.0.0.0" if self.lan and self.host == "127.0.0.1" else self.host


@dataclass(frozen=True)
class Renewal:
    """Whether this process renews certificates, and by what date."""

    may: Callable[[], bool]
    now: Callable[[], datetime]


class SealedConfig(Config):
    """hypercorn's settings, with the context of the certificate kept, to be renewed while serving.

    A context that loads a certificate anew uses it from the next handshake on.
    """

    context: SSLContext | None = None

    def __init__(self, lines: Lines | None = None) -> None:
        """Take where the lines are counted."""
        super().__init__()
        self.lines = lines or Lines()

    def create_sockets(self) -> Sockets:
        """Return the listening sockets, whose lines are counted."""
        found = super().create_sockets()
        for among in (found.secure_sockets, found.insecure_sockets):
            among[:] = [Entrance(one, self.lines) for one in among]
        return found

    def create_ssl_context(self) -> SSLContext | None:
        """Return the context, the same whenever it is asked for."""
        self.context = self.context or self.fresh_context()
        return self.context

    def fresh_context(self) -> SSLContext | None:
        """Return a context with the certificate as it lies there now."""
        return super().create_ssl_context()


class ByName:
    """Which certificate answers, by the name that a phone asks for (RFC 6066, section 3).

    What stands on the disk is looked at in each handshake, so that a name's move begins, goes on
    and ends, and a renewed certificate comes into use, in every process at once.
    """

    def __init__(self, network: Network, config: SealedConfig, now: Callable[[], datetime]) -> None:
        self.network, self.config, self.now = network, config, now
        self.made: dict[Path, tuple[int, SSLContext]] = {}

    def choose(self, line: Any, asked: str | None, _: SSLContext) -> None:
        """Give a line the certificate of the name it asks for, and of the settled name else."""
        try:
            places = self.network.places()
            place = next((one for one in places if one.site.name == asked), places[0])
            line.context = self._context(place)
        except (OSError, SSLError, ValueError):
            # Half a renewal: the certificate before it goes on, and the next handshake looks again.
            log.warning("a certificate could not be read", exc_info=True)

    def _context(self, place: Place) -> SSLContext:
        leaf = place.files.leaf
        if not leaf.exists():
            # The move began a moment ago by another version's command, or the file was lost.
            authority.prepare(place.files, place.site, self.now())
        age = leaf.stat().st_mtime_ns
        if leaf not in self.made or self.made[leaf][0] != age:
            other = SealedConfig()
            other.certfile, other.keyfile = str(leaf), str(place.files.leaf_key)
            other.alpn_protocols = self.config.alpn_protocols
            made = other.fresh_context()
            assert made is not None
            self.made[leaf] = (age, made)
        return self.made[leaf][1]


def run(settings: Settings, serving: Serving) -> None:
    """Listen, print the address, and serve.

    Raises:
        BadField: the name or an address cannot be.
    """
    if serving.workers > 1 and settings.url.startswith("sqlite"):
        raise BadField("SQLite is for one process; several need PostgreSQL: see README.")
    if serving.certificate and serving.private_key:
        see_certificate(serving.certificate, serving.private_key)
    listening = listen(serving.listens_on, serving.port)
    port = listening.getsockname()[1]
    if settings.now_ms is wall_clock_ms:
        settings.now_ms = SiteClock(wall_clock_ms)
    with contextlib.ExitStack() as stack:
        hold = stack.enter_context(taken(settings))
        if serving.workers > 1:
            # Before the library that counts is imported: the processes count together there.
            os.environ[SHARED_BY] = stack.enter_context(tempfile.TemporaryDirectory())
        app = create_app(settings)
        # Once the record has said when its clock was trusted last: phones trust the certificates.
        # An authority that a restore brings back goes before a new one, too.
        if serving.lan:
            finish_move(app, settings)
        network = settle(settings, serving, port) if serving.lan else None
        address = network.place().address if network else address_of(serving, port)
        # The library that answers closes it by its number, so nobody here may close it again.
        plain = listen(serving.listens_on, plain_port(serving.port)) if network else None
        if network and plain:
            network.plain_port = plain.getsockname()[1]
            say_how_to_trust(network)
        with app.app_context():
            prepare(app, settings, network.places()[-1].address if network else address)
        click.echo(f"Lathhouse is at {address}")
        sys.stdout.flush()

        def work(app: Flask) -> None:
            if serving.behind_proxy:
                believe_proxy(app)
            app.config["NETWORK"] = network
            # In messages, what the owner says goes before where we listen.
            ways = app.config["WAYS"]
            ways.address = settings.address or address
            if network and not settings.address:
                network.on_change = lambda: setattr(ways, "address", network.place().address)
            with on_duty(app, settings) as duty:
                renews = Renewal(lambda: duty.is_on, lambda: date_of(settings))
                asyncio.run(answer(app, serving, listening, network, plain, renews))

        if serving.workers == 1:
            work(app)
            return
        with app.app_context():
            # No line to the database may be shared with a process that is about to be made.
            db.engine.dispose()
        doors = [one for one in (listening, plain) if one]

        def be_one() -> None:
            # The folder is held by the parent alone, so that it is free the moment that one dies.
            hold.leave()
            work(create_app(settings))

        status = Workers(serving.workers, be_one, doors).run()
    raise SystemExit(status)


@contextlib.contextmanager
def taken(settings: Settings) -> Iterator[Hold]:
    """Hold the data folder, and clear away what a server that was killed has left unfinished.

    Servers on one PostgreSQL may share a folder, as when one takes the place of another.

    Raises:
        NotNow: another server has it.
    """
    make_folder(settings)
    with held(settings.data, shared=not settings.url.startswith("sqlite")) as hold:
        for folder in (settings.data, backups_in(settings)):
            for name in clear(folder):
                log.warning("a backup or restore was cut off; cleared: %s", folder / name)
        clear_left_behind()
        yield hold


def see_certificate(certificate: Path, key: Path) -> None:
    """See that the owner's own certificate and key are ones, and go together.

    Raises:
        BadField: they are not.
    """
    try:
        SSLContext(PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except SSLError as error:
        says = "are no certificate and its key (PEM, RFC 7468)"
        raise BadField(f"{certificate} and {key} {says}: {error.reason or error}.") from error


@contextlib.contextmanager
def on_duty(app: Flask, settings: Settings) -> Iterator[Duty]:
    """Run the alert clock, the sender of messages and the night's work while on duty."""
    site_id = app.config["SITE_ID"]
    source = forecast_source()

    def chores() -> list[Chore]:
        clock = Clock(app, site_id, settings.now_ms)
        if duty.hold.is_shared:
            # The hold says who ticks: whoever has it goes on with the lease of the one that died.
            clock.owner = duty.hold.name
        sender = Sender(app, site_id, app.config["WAYS"], settings.now_ms)
        nightly = Nightly(app, site_id, backups_in(settings), settings.now_ms)
        forecast = [Forecast(app, site_id, source, settings.now_ms)] if source else []
        return [clock, sender, *forecast, *([] if settings.demo else [nightly])]

    duty = Duty(app, site_id, chores)
    duty.start()
    try:
        yield duty
    finally:
        duty.stop()


def settle(settings: Settings, serving: Serving, port: int) -> Network:
    """Return where the nursery is found on its network, with its certificates made or renewed.

    Raises:
        BadField: the name or an address cannot be, or no address faces a network.
    """
    folder, addresses = settings.data / "lan", own_addresses(serving.addresses)
    if not addresses:
        says = "This machine has no address on a network. Join one, or give it: --address."
        raise BadField(says)
    settled_name(folder, serving.name)
    network = Network(folder, addresses, port)
    network.prepare(date_of(settings))
    return network


def finish_move(app: Flask, settings: Settings) -> None:
    """Finish what a server that died has put on record of a move of the name."""
    write = writer(app.config["SERVER_DEVICE"], None)
    at = to_text(settings.now_ms())
    with app.app_context():
        follow_at_start(settings.data / "lan", app.config["SITE_ID"], at, write)


def date_of(settings: Settings) -> datetime:
    """Return what the server takes for now."""
    return datetime.fromtimestamp(settings.now_ms() / 1000, UTC)


def say_how_to_trust(network: Network) -> None:
    """Print for phones on the network a code to scan and the way to trust the nursery."""
    *before, place = network.places()
    click.echo(drawn_in_terminal(network.help_at))
    click.echo(f"On each phone, once: scan this or open {network.help_at} and follow its steps.")
    click.echo(f"The certificate's fingerprint, to compare: {authority.fingerprint(place.files)}")
    for one in authority.left_out(place.files, place.site):
        click.echo(f"Not by {one}: the certificate that phones trust is of another network.")
    if before:
        old, new = before[0].site.name, place.site.name
        click.echo(f"It moves from {old} to {new}; both answer. See: lathhouse move-name.")


def say_owners_link(link: str) -> None:
    """Print the first owner's link, and a code to scan where a phone can open it."""
    if urlsplit(link).hostname in LOOPBACK:
        click.echo(f"Open this once, on this computer (for phones, start it with --lan): {link}")
        return
    click.echo(drawn_in_terminal(link))
    click.echo(f"Scan or open this once, on the owner's phone: {link}")


def plain_port(port: int) -> int:
    """Return the port of the plain page beside a port: the one below it (0: any, beside any)."""
    return max(port - 1, 0)


def address_of(serving: Serving, port: int) -> str:
    """Return the address to open: where we listen everywhere, an address of this machine."""
    host = serving.host
    if host in EVERYWHERE:
        host = str(next(iter(own_addresses()), "localhost"))
    scheme = "https" if serving.certificate else "http"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket, at once again after a server before us was killed."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
            says = f"{host} is no address of this machine. Give one of its own: --host."
            raise click.ClickException(says) from error
        raise click.ClickException(
            f"Port {port} on {host} is taken or not ours: {error.strerror}. Choose another: --port."
        ) from error
    listening.listen(BACKLOG)
    return listening


def prepare(app: Flask, settings: Settings, address: str) -> None:
    """Fill an empty demo, bring alerts up to date, and print the first owner's link.

    Raises:
        NotNow: a demo is asked for on a real nursery, which it would open to everybody here.
    """
    site_id, now = app.config["SITE_ID"], settings.now_ms()
    if settings.demo:
        from lathhouse.demo.load import is_real, load

        if is_real(site_id, now):
            raise NotNow(f"{settings.data} holds a real nursery. Leave out --demo.")
        load(site_id, now)
        click.echo("This is a demo: whoever opens it on this machine is signed in as its owner.")
    catch_up(site_id, now)
    if not settings.demo:
        secret = access.owner_link(site_id, to_text(now))
        if secret:
            say_owners_link(f"{address}#/pair/{secret}")


async def answer(
    app: Flask,
    serving: Serving,
    listening: socket.socket,
    network: Network | None,
    plain: socket.socket | None,
    renews: Renewal,
) -> None:
    """Serve until SIGTERM or SIGINT, finishing what was accepted; a second signal ends at once."""
    lines = Lines()
    config = configured(serving, listening, network, plain, lines, renews.now)
    stop = told_to_stop()
    loop = asyncio.get_running_loop()
    door: Any = Door(app.wsgi_app, lines)
    renewing = loop.create_task(keep_renewing(config, network, renews)) if config.certfile else None
    watching = loop.create_task(lines.watch())
    answering = loop.create_task(
        hypercorn_serve(
            PlainDoor(network, door) if network else door,
            config,
            mode="asgi",
            shutdown_trigger=stop.wait,
        )
    )
    stopping = loop.create_task(stop.wait())
    await asyncio.wait({answering, stopping}, return_when=asyncio.FIRST_COMPLETED)
    await asyncio.wait({answering}, timeout=STOPPED_SECONDS)
    for task in (watching, renewing):
        if task:
            task.cancel()
    if not answering.done():
        log.warning("some requests were not finished in time; phones will send them again")
        answering.cancel()
        return
    await answering


def configured(
    serving: Serving,
    listening: socket.socket,
    network: Network | None,
    plain: socket.socket | None,
    lines: Lines,
    now: Callable[[], datetime],
) -> SealedConfig:
    """Return the settings of the HTTP server, whose certificates are good from this clock's now."""
    config = SealedConfig(lines)
    config.bind = [f"fd://{listening.fileno()}"]
    config.insecure_bind = [f"fd://{plain.fileno()}"] if plain else []
    config.read_timeout = READ_TIMEOUT_SECONDS
    config.ssl_handshake_timeout = HANDSHAKE_TIMEOUT_SECONDS
    config.graceful_timeout = FINISH_SECONDS
    config.accesslog = None
    config.errorlog = logging.getLogger("hypercorn.error")
    config.include_server_header = False
    files = network.place().files if network else None
    leaf = (files.leaf, files.leaf_key) if files else None
    pair = leaf or (serving.certificate, serving.private_key)
    if pair[0] and pair[1]:
        config.certfile, config.keyfile = str(pair[0]), str(pair[1])
        config.alpn_protocols = ["h2", "http/1.1"]
    context = config.create_ssl_context() if network else None
    if network and context:
        context.sni_callback = ByName(network, config, now).choose
    return config


def told_to_stop() -> asyncio.Event:
    """Return what the first SIGTERM or SIGINT sets; the second one ends the process at once.

    What was not answered by then was not stored, or will be sent again and found stored.
    """
    stop, loop = asyncio.Event(), asyncio.get_running_loop()

    def heard(name: signal.Signals) -> None:
        if stop.is_set():
            os._exit(128 + name)
        log.info("stopping: what was accepted is finished first")
        stop.set()

    for name in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(name, heard, name)
    return stop


async def keep_renewing(config: SealedConfig, network: Network | None, renews: Renewal) -> None:
    """Renew the certificate before it ends, and use one that its owner has put in its place.

    Of several processes the one on duty renews, and the others take up what it made.
    """
    assert config.certfile
    assert config.keyfile
    seen = Path(config.certfile).stat().st_mtime_ns
    while True:
        await asyncio.sleep(RENEW_EVERY_SECONDS)
        try:
            if network:
                if renews.may():
                    network.prepare(renews.now())
                continue  # what it made is in use from the next handshake on
            fresh = Path(config.certfile).stat().st_mtime_ns
            if fresh != seen and config.context is not None:
                config.context.load_cert_chain(config.certfile, config.keyfile)
                seen = fresh
                log.info("a new certificate is in use")
        except Exception:
            # The old one goes on; the next hour tries again.
            log.exception("the certificate could not be renewed")
