"""Commands: serve, tokens, check, backup, restore, key."""

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
from lathhouse.domain.instants import parse_instant, to_text
from lathhouse.errors import Refusal
from lathhouse.reminders.clock import Clock, catch_up
from lathhouse.reminders.nightly import Nightly
from lathhouse.settings import Settings, backups_in, default_data
from lathhouse.store import access
from lathhouse.store.archive import read_archive
from lathhouse.store.backup import back_up, new_key, unseal
from lathhouse.store.check import check as check_record
from lathhouse.store.sites import open_site
from lathhouse.web.asgi import Door

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
    address = address_of(host, listening.getsockname()[1])
    app = create_app(settings)
    with app.app_context():
        prepare(app, settings, address)
    clock = Clock(app, app.config["SITE_ID"], settings.now_ms)
    clock.start()
    nightly = Nightly(app, app.config["SITE_ID"], backups_in(settings), settings.now_ms)
    if not settings.demo:
        nightly.start()
    click.echo(f"Lathhouse is at {address}")
    sys.stdout.flush()
    try:
        asyncio.run(answer(app, listening))
    finally:
        nightly.stop()
        clock.stop()


def address_of(host: str, port: int) -> str:
    """Return the address to open: where we listen everywhere, this machine's own name for it."""
    name = "localhost" if host in ("0.0.0.0", "::", "") else host
    return f"http://{f'[{name}]' if ':' in name else name}:{port}/"


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


async def answer(app: Flask, listening: socket.socket) -> None:
    """Serve until SIGTERM or SIGINT, finishing what was accepted."""
    config = Config()
    config.bind = [f"fd://{listening.fileno()}"]
    config.read_timeout = READ_TIMEOUT_SECONDS
    config.graceful_timeout = 5
    config.accesslog = None
    config.errorlog = logging.getLogger("hypercorn.error")
    config.include_server_header = False
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for name in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(name, stop.set)
    door: Any = Door(app.wsgi_app)
    await hypercorn_serve(door, config, mode="asgi", shutdown_trigger=stop.wait)


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


@tokens.command("list")
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def list_tokens(data: Path | None) -> None:
    """Name the tokens that hold, with their roles."""

    def act(app: Flask, now: str) -> None:
        for token in access.list_tokens(app.config["SITE_ID"], now):
            click.echo(f"{token['made_at']}  {token['role']:7}  {token['name']}")

    in_app(data, act)


@tokens.command("revoke")
@click.argument("name")
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def revoke_token(name: str, data: Path | None) -> None:
    """Let the tokens of this name in no more."""

    def act(app: Flask, now: str) -> None:
        count = access.revoke_tokens(app.config["SITE_ID"], name, now)
        if count == 0:
            raise click.ClickException(f"No token is called {name}; see: lathhouse tokens list.")
        click.echo(f"{count} revoked")

    in_app(data, act)


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


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
@click.option("--to", type=click.Path(path_type=Path), help="Folder for it; else backups in DATA.")
@click.option("--seal-for", "recipient", help="Seal it for this age public key (age1…).")
def backup(data: Path | None, to: Path | None, recipient: str | None) -> None:
    """Copy the whole record into one file, also while the server runs, and prove the copy."""

    def act(app: Flask, now: str) -> None:
        folder = to or backups_in(app.config["LATHHOUSE"])
        click.echo(back_up(app.config["SITE_ID"], folder, now, recipient))

    in_app(data, act)


@main.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--data", type=click.Path(path_type=Path), help="Empty folder for the record.")
@click.option("--key", type=click.Path(path_type=Path, exists=True), help="The secret key's file.")
def restore(file: Path, data: Path | None, key: Path | None) -> None:
    """Fill an empty folder or database from a backup; phones then send what came after it."""

    def act(app: Flask, now: str) -> None:
        with tempfile.TemporaryDirectory(prefix="lathhouse-restore-") as scratch:
            plain = unseal(file, key.read_text(), Path(scratch) / "plain.zip") if key else file
            manifest = read_archive(plain)
        site_id = open_site(now)
        catch_up(site_id, parse_instant(now))
        found = check_record(site_id, now)["differences"]
        for difference in found:
            click.echo(difference)
        click.echo(f"{manifest['events']} events as of {manifest['made_at']}, each compared.")
        click.echo("Tokens and phones cut off after that are let in again; see: tokens list.")
        if found:
            raise SystemExit(1)

    in_app(data, act)


@main.command("key")
def make_key() -> None:
    """Make a pair of keys for sealed backups and print both; keep the secret off this machine."""
    secret, public = refusing(new_key)
    click.echo(f"Secret, to open backups, kept elsewhere: {secret}")
    click.echo(f"Public, for --seal-for: {public}")


def refusing(act: Callable[[], Any]) -> Any:
    """Do something, and say a refusal as a command says it."""
    try:
        return act()
    except Refusal as refusal:
        raise click.ClickException(refusal.detail) from refusal


def in_app(data: Path | None, act: Callable[[Flask, str], None]) -> None:
    """Run a command on the record in a folder."""
    settings = Settings(data=data or default_data())
    app = create_app(settings)
    with app.app_context():
        refusing(lambda: act(app, to_text(settings.now_ms())))
