"""Commands: serve, tokens, check."""

import asyncio
import logging
import signal
import socket
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
from flask import Flask
from hypercorn.asyncio import serve as hypercorn_serve
from hypercorn.config import Config

from lathhouse.app import create_app
from lathhouse.domain.instants import to_text
from lathhouse.reminders.clock import Clock, catch_up
from lathhouse.settings import BODY_MAX_BYTES, Settings, default_data
from lathhouse.store import access
from lathhouse.store.check import check as check_record

PORT = 8321
BACKLOG = 256
READ_TIMEOUT_SECONDS = 20


@click.group()
def main() -> None:
    """Lathhouse: the daily rounds of a small container nursery."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=PORT, show_default=True, help="Port to listen on; 0 picks one.")
@click.option("--demo", is_flag=True, help="Open on an invented nursery.")
def serve(data: Path | None, host: str, port: int, demo: bool) -> None:
    """Run the server until it is told to stop."""
    if demo and data is None:
        with tempfile.TemporaryDirectory(prefix="lathhouse-demo-") as folder:
            run(Settings(data=Path(folder), demo=True), host, port)
        return
    run(Settings(data=data or default_data(), demo=demo), host, port)


def run(settings: Settings, host: str, port: int) -> None:
    """Listen, print the address, and serve."""
    listening = listen(host, port)
    address = f"http://{host if ':' not in host else f'[{host}]'}:{listening.getsockname()[1]}/"
    app = create_app(settings)
    with app.app_context():
        prepare(app, settings, address)
    clock = Clock(app, app.config["SITE_ID"], settings.now_ms)
    clock.start()
    click.echo(f"Lathhouse is at {address}")
    sys.stdout.flush()
    asyncio.run(answer(app, listening))
    clock.stop()


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket, at once again after a server before us was killed."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        raise click.ClickException(
            f"Port {port} on {host} is taken or not ours: {error.strerror}. Choose another: --port."
        ) from error
    listening.listen(BACKLOG)
    return listening


def prepare(app: Flask, settings: Settings, address: str) -> None:
    """Fill an empty demo, bring alerts up to date, and print the first owner's link."""
    site_id, now = app.config["SITE_ID"], settings.now_ms()
    if settings.demo:
        from lathhouse.demo.load import load

        load(site_id, now)
        click.echo("This is a demo: whoever opens it on this machine is signed in as its owner.")
    catch_up(site_id, now)
    if not settings.demo:
        secret = access.owner_link(site_id, to_text(now))
        if secret:
            click.echo(f"Open this once, on the owner's phone: {address}#/pair/{secret}")


def never_empty(app: Any) -> Any:
    """Give every answer at least one (empty) piece of body.

    The server sends the head with the first piece, and would not send a 304 at all.
    """

    def wrapped(environ: Any, start_response: Any) -> Any:
        pieces = app(environ, start_response)
        try:
            yield b""
            yield from pieces
        finally:
            getattr(pieces, "close", lambda: None)()

    return wrapped


async def answer(app: Flask, listening: socket.socket) -> None:
    """Serve until SIGTERM or SIGINT, finishing what was accepted."""
    config = Config()
    config.bind = [f"fd://{listening.fileno()}"]
    config.read_timeout = READ_TIMEOUT_SECONDS
    config.graceful_timeout = 5
    config.wsgi_max_body_size = BODY_MAX_BYTES + 4096
    config.accesslog = None
    config.errorlog = logging.getLogger("hypercorn.error")
    config.include_server_header = False
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for name in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(name, stop.set)
    await hypercorn_serve(
        never_empty(app.wsgi_app), config, mode="wsgi", shutdown_trigger=stop.wait
    )


@main.group()
def tokens() -> None:
    """Tokens for scripts and sensors."""


@tokens.command("add")
@click.argument("name")
@click.option("--role", type=click.Choice(access.ROLES), required=True)
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def add_token(name: str, role: str, data: Path | None) -> None:
    """Make a token and print it, once, on the last line."""
    in_app(
        data, lambda app, now: click.echo(access.add_token(app.config["SITE_ID"], name, role, now))
    )


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def check(data: Path | None) -> None:
    """Fold the whole record from nothing and compare it with what is stored."""

    def act(app: Flask, now: str) -> None:
        found = check_record(app.config["SITE_ID"], now)
        for difference in found["differences"]:
            click.echo(difference)
        click.echo(
            f"{found['events']} events, {found['lots']} lots, "
            f"{len(found['differences'])} differences"
        )
        if found["differences"]:
            raise SystemExit(1)

    in_app(data, act)


def in_app(data: Path | None, act: Callable[[Flask, str], None]) -> None:
    """Run a command on the record in a folder."""
    settings = Settings(data=data or default_data())
    app = create_app(settings)
    with app.app_context():
        act(app, to_text(settings.now_ms()))
