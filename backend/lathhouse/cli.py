"""Commands: serve, move-name, owner-link, tokens, check, backup, restore, take-file, key."""

import logging
import os
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import click
from flask import Flask
from sqlalchemy.exc import DBAPIError

from lathhouse import logs
from lathhouse.app import create_app, database_app
from lathhouse.domain.instants import parse_instant, to_ms, to_text
from lathhouse.errors import BadField, Refusal
from lathhouse.folder import held, holds_record, make_folder
from lathhouse.reminders.clock import catch_up
from lathhouse.serving import Serving, run
from lathhouse.settings import Settings, backups_in, default_data, wall_clock_ms
from lathhouse.store import access
from lathhouse.store.backup import back_up, new_key, read_key, unseal
from lathhouse.store.check import check as check_record
from lathhouse.store.kept_files import put_ready
from lathhouse.store.restore import epoch_of, read_archive, tokens_on_record
from lathhouse.store.scratch import clear, scratch
from lathhouse.store.site_clock import SiteClock, is_sure
from lathhouse.store.sites import open_site
from lathhouse.store.work import Then
from lathhouse.sync.fields import Name
from lathhouse.sync.saved_file import take_file
from lathhouse.sync.server_events import access_said
from lathhouse.web import name_move, name_steps

PORT = 8321
FILE = click.Path(path_type=Path, exists=True, dir_okay=False)

log = logging.getLogger(__name__)


@click.group()
def main() -> None:
    """Lathhouse: the daily rounds of a small container nursery."""
    logs.set_up(as_json=os.environ.get("LATHHOUSE_LOG") == "json")


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    show_default=True,
    help="Port to listen on; 0 picks one.",
)
@click.option("--demo", is_flag=True, help="Open on an invented nursery.")
@click.option("--lan", is_flag=True, help="Serve HTTPS on this network, with its own authority.")
@click.option("--name", help="Name on this network, such as nursery.local; kept from then on.")
@click.option("--address", "addresses", multiple=True, help="One more address of this machine.")
@click.option("--certificate", type=FILE, help="Your own certificate, with its chain (PEM).")
@click.option("--private-key", type=FILE, help="The key of your own certificate (PEM).")
@click.option("--behind-proxy", is_flag=True, help="Believe the proxy on this machine.")
@click.option(
    "--workers", type=click.IntRange(1, 64), default=1, show_default=True,
    envvar="LATHHOUSE_WORKERS", help="Processes that answer; more than one with PostgreSQL only.",
)  # fmt: skip
@click.option("--site", envvar="LATHHOUSE_SITE", default="", help="Which nursery of a database.")
def serve(data: Path | None, demo: bool, site: str, **how: Any) -> None:
    """Run the server until it is told to stop."""
    serving = Serving(**how)
    if demo and data is None:
        with tempfile.TemporaryDirectory(prefix="lathhouse-demo-") as folder:
            refusing(lambda: run(Settings(data=Path(folder), demo=True), serving))
        return
    settings = Settings(data=data or default_data(), demo=demo, site=site)
    refusing(lambda: run(settings, serving))


@main.command("move-name")
@click.argument("name", required=False)
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
@click.option("--end", "ends", is_flag=True, help="End the old name; every phone has moved.")
@click.option("--leave", "leave", multiple=True, help="With --end: a phone that stays behind.")
@click.option("--call-off", is_flag=True, help="Keep the old name; no phone has moved yet.")
def move_name(
    name: str | None, data: Path | None, ends: bool, leave: tuple[str, ...], call_off: bool
) -> None:
    """Move the nursery to another NAME on its network: both answer until every phone has moved.

    Without NAME it says how things stand.
    """
    if sum((name is not None, ends, call_off)) > 1:
        raise click.UsageError("Give a NAME, --end or --call-off, one of them.")

    def act(app: Flask, now: str) -> None:
        folder, site = app.config["LATHHOUSE"].data / "lan", app.config["SITE_ID"]
        write = name_steps.writer(app.config["SERVER_DEVICE"], None)
        if ends:
            left = partial(name_move.named, site, leave, now)
            known = name_steps.end(folder, site, left, now, write)
            click.echo(f"The nursery is {known.name} now.")
            return
        if call_off:
            known = name_steps.call_off(folder, site, now, write)
            click.echo(f"The nursery stays {known.name}.")
            return
        if name is not None:
            name_steps.begin(folder, name, site, now, write)
        for line in name_move.report(folder, site, now):
            click.echo(line)

    in_app(data, act)


@main.command("owner-link")
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
@click.option(
    "--at", default=f"http://127.0.0.1:{PORT}/", show_default=True,
    help="The address of the server, as the owner's phone opens it.",
)  # fmt: skip
def owner_link(data: Path | None, at: str) -> None:
    """Print a link that lets an owner's phone in, once, where the one before is lost or broken.

    Earlier owner's links that nobody opened are good no more. Cut the lost phone off with the new.
    """

    def act(app: Flask, now: str) -> None:
        told = telling_access(app, "pairing_link_made", role="owner")
        secret = access.another_owner_link(app.config["SITE_ID"], now, told)
        click.echo("Open this once, within 30 days, on the owner's new phone:")
        click.echo(f"{at.rstrip('/')}/#/pair/{secret}")

    in_app(data, act)


@main.group()
def tokens() -> None:
    """Tokens for scripts and sensors."""


@tokens.command("add")
@click.argument("name")
@click.option("--role", type=click.Choice(access.ROLES), required=True)
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def add_token(name: str, role: str, data: Path | None) -> None:
    """Make a token and print it, once, on the last line."""

    def act(app: Flask, now: str) -> None:
        if not Name().fits(name):
            raise BadField(f"A token's name {Name.says}.", field="name")
        told = telling_access(app, "token_made", name=name, role=role)
        secret = access.make_token(app.config["SITE_ID"], name, role, now, told)
        click.echo(secret)

    # A working site at once, so that scripts can be let in before the first start.
    in_app(data, act, makes=True)


def telling_access(app: Flask, what: str, **more: str) -> Then:
    """Return what puts on record that this command changed who is let in."""
    told = access_said(what, None, **more)
    return lambda work, found: app.config["SERVER_DEVICE"].add(work, [told])


@tokens.command("list")
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def list_tokens(data: Path | None) -> None:
    """Name the tokens that hold, with their ids and roles."""

    def act(app: Flask, now: str) -> None:
        for token in access.list_tokens(app.config["SITE_ID"], now):
            used, name = token["used_at"] or "never used", printed(token["name"])
            click.echo(f"{token['id']}  {token['made_at']}  {token['role']:7}  {used:24}  {name}")

    in_app(data, act)


def printed(name: str) -> str:
    """Return a name for a terminal: an earlier version's command took any, on several lines too."""
    return "".join(sign if sign.isprintable() else "?" for sign in name)


def token_meant(site_id: str, said: str, now: str) -> dict[str, Any]:
    """Return the one token that an id or a name means.

    Raises:
        click.ClickException: there is none, or several have the name; then it says their ids.
    """
    found = access.tokens_meant(site_id, said, now)
    if len(found) == 1:
        return found[0]
    if not found:
        says = f"No token has the id or the name {printed(said)}; see: lathhouse tokens list."
        raise click.ClickException(says)
    ids = ", ".join(one["id"] for one in found)
    says = f"{len(found)} tokens are called {printed(said)}. Revoke each by its id: {ids}."
    raise click.ClickException(says)


@tokens.command("revoke")
@click.argument("token")
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def revoke_token(token: str, data: Path | None) -> None:
    """Let a TOKEN in no more: its id, as `tokens list` prints it, or its name.

    A name that several tokens have is refused, with their ids.
    """

    def act(app: Flask, now: str) -> None:
        site_id = app.config["SITE_ID"]
        meant = token_meant(site_id, token, now)
        told = telling_access(app, "token_revoked", name=meant["name"])
        access.revoke_token(site_id, meant["id"], now, told)
        click.echo(f"{meant['id']} revoked: {printed(meant['name'])}")

    in_app(data, act)


def counted(number: int, one: str) -> str:
    """Return so many of something in words: 1 lot, 2 lots."""
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def check(data: Path | None) -> None:
    """Fold the whole record from nothing and compare it with what is stored."""

    def act(app: Flask, now: str) -> None:
        found = check_record(app.config["SITE_ID"], now)
        for said in (*found["differences"], *found["awaited"]):
            click.echo(said)
        if found["photos"] or found["awaited"]:
            pictures = counted(found["photos"], "picture")
            click.echo(f"{pictures}, {len(found['awaited'])} have not come yet")
        counts = (found["events"], found["lots"], len(found["differences"]))
        click.echo(", ".join(map(counted, counts, ("event", "lot", "difference"))))
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
        settings = app.config["LATHHOUSE"]
        folder = to or backups_in(settings)
        click.echo(back_up(app.config["SITE_ID"], folder, now, recipient, settings.data))

    in_app(data, act)


@main.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--data", type=click.Path(path_type=Path), help="Empty folder for the record.")
@click.option("--key", type=click.Path(path_type=Path, exists=True), help="The secret key's file.")
def restore(file: Path, data: Path | None, key: Path | None) -> None:
    """Fill an empty folder or database from a backup; phones then send what came after it."""
    settings = Settings(data=data or default_data())

    def act(now: str) -> None:
        clear(settings.data)
        with scratch(settings.data) as inside:
            plain = unseal(file, read_key(key), inside / "plain.zip") if key else file
            manifest = read_archive(plain, settings.data)
        site_id = open_site(now, manifest["site"])
        kept = put_ready(settings.data, epoch_of(site_id))
        catch_up(site_id, parse_instant(now))
        found = check_record(site_id, now)
        for difference in found["differences"]:
            click.echo(difference)
        click.echo(f"{counted(manifest['events'], 'event')} as of {manifest['made_at']}.")
        click.echo(say_compared(found))
        click.echo(say_kept(kept))
        say_let_in(site_id, now)
        if found["differences"]:
            raise SystemExit(1)

    def hold() -> None:
        make_folder(settings)
        with held(settings.data), database_app(settings).app_context():
            act(to_text(settings.now_ms()))

    refusing(hold)


def say_compared(found: dict[str, Any]) -> str:
    """Say what a restore has compared with what."""
    lots, parted = counted(found["lots"], "lot"), counted(len(found["differences"]), "difference")
    says = "The chain over them holds, link by link; each table reads back as the file has it."
    return f"{says} {lots} folded again from them: {parted}."


def say_let_in(site_id: str, now: str) -> None:
    """Name the tokens that hold again, and what the log does not know of any of them."""
    made = tokens_on_record(site_id, now)
    for token in access.list_tokens(site_id, now):
        # As its making was told: of a name that the log does not take, without it.
        told = access_said("token_made", None, name=token["name"], role=token["role"])["data"]
        known = (told.get("name"), told.get("role")) in made
        unknown = "" if known else " The log does not say that it was made: revoke it."
        click.echo(f"Let in again: {printed(token['name'])} ({token['role']}).{unknown}")
    click.echo("Tokens and phones cut off after that are let in again; see: tokens list.")


def say_kept(kept: list[str]) -> str:
    """Say which of the files beside the record came back with it."""
    if kept:
        return f"Back in the folder too: {', '.join(kept)}."
    says = "It holds no keys, as a plain backup does not: phones subscribe to reminders again by"
    return f"{says} themselves; set mail up, and trust a new authority, where there was one."


@main.command("take-file")
@click.argument("file", type=FILE)
@click.option("--data", type=click.Path(path_type=Path), help="Folder that holds the record.")
def take_saved_file(file: Path, data: Path | None) -> None:
    """Store the unsent records that a phone has saved as a file; what is there stays once."""

    def act(app: Flask, now: str) -> None:
        nobody = dict.fromkeys(("person", "proved", "device"))
        taker = {**nobody, "role": "owner", "from": "command"}
        text = file.read_bytes().decode("utf-8", errors="replace")
        sure = is_sure(app.config["LATHHOUSE"].now_ms)
        said = take_file(app.config["SITE_ID"], text, to_ms(now), taker, sure=sure)
        for one in said["refused"]:
            problem = one["problem"].get("detail") or one["problem"].get("title")
            click.echo(f"refused: {one['kind']} of {one['observed_at']}: {problem}")
        click.echo(
            f"{said['stored']} stored, {said['already']} there already, "
            f"{len(said['refused'])} refused"
        )

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
    except OSError as error:
        log.debug("refused", exc_info=True)
        where = f"{error.filename}: " if error.filename else ""
        if isinstance(error, FileExistsError | NotADirectoryError):
            raise click.ClickException(f"{error.filename} is no folder. Give one.") from error
        raise click.ClickException(f"{where}{error.strerror or error}.") from error
    except DBAPIError as error:
        log.debug("refused", exc_info=True)
        says = str(error.orig).strip().rstrip(".")
        raise click.ClickException(f"The database cannot be used: {says}.") from error


def in_app(data: Path | None, act: Callable[[Flask, str], None], *, makes: bool = False) -> None:
    """Run a command on the record in a folder.

    Args:
        makes: whether it may begin a record where there is none.
    """
    settings = Settings(data=data or default_data(), now_ms=SiteClock(wall_clock_ms))
    if not makes and not holds_record(settings):
        says = "Give the folder that serve uses: --data FOLDER"
        raise click.ClickException(f"There is no record in {settings.data}. {says}")
    app = refusing(lambda: create_app(settings))
    with app.app_context():
        refusing(lambda: act(app, to_text(settings.now_ms())))
