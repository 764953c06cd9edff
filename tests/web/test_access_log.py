"""Whoever changes who is let in, or what is watched, is in the log: every writing route, generated.

OWASP ASVS 5.0 (2025), V16.3: what concerns sign-in and permission is logged.
"""

import ipaddress
import shutil
import sqlite3
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, nullcontext
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click
import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient
from sqlalchemy import Connection, Engine, event, text

from lathhouse.cli import main
from lathhouse.domain.watches import load_rules
from lathhouse.store import record
from lathhouse.store.models import db
from lathhouse.sync.owners import OWNERS_KINDS
from lathhouse.web import name_steps
from lathhouse.web.lan import Network
from lathhouse.web.names import settled_name
from tests.server import Nursery
from tests.web.samples import RIGHT

GOOD, NEXT = "quiet gate under snow", "a wet thumb, four flats"
MELE = "5d1f6f0e-5b0e-4c55-9c1e-0f7a52b0d7c4"
# Writing routes that change nobody's rights and nothing that is watched, each with why.
QUIET = {
    "/api/v1/photos/<string:sha256>": "a record's picture: the record that names it is an event",
    "/api/v1/saved-files": "a push by another way: what it brings are events",
    "/api/v1/sync/offer": "it only asks",
    "/api/v1/calculations/<string:name>": "it only works out",
    "/api/v1/watches/<string:watch_id>/preview": "it only works out; the change is a push",
    "/api/v1/reminders/subscriptions": "where a phone takes its own messages",
    "/api/v1/reminders/subscriptions/<string:subscription>": "where a phone takes its own messages",
    "/api/v1/reminders/test": "a message to oneself, in the log of messages",
    "/api/v1/calendar": "a person's own calendar address",
}
# Routes that put a record on record: what they write is the event itself, held by their own tests.
RECORDS = {
    "/api/v1/sync/push",
    "/api/v1/readings",
    "/api/v1/forecasts",
    "/api/v1/alerts/<string:alert_id>/acknowledge",
    "/api/v1/alerts/<string:alert_id>/shelve",
}
# Kinds whose examples are whole rows of the shipped data.
WHOLE: dict[str, dict[str, Any]] = {
    "protocol_changed": {
        "id": "acer-ours",
        "botanical": "Acer ours",
        "stages": [{"kind": "germinate"}],
    },
    "watch_changed": {**load_rules()[0], "id": "ours"},
}


class Story:
    """An owner's script, a browser of Mele's, and a phone; each step is one writing route."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.browser = nursery, nursery.app.test_client()
        self.device, self.paired = str(uuid.uuid4()), str(uuid.uuid4())
        self.known: dict[str, str] = {}

    def owner(self, path: str, body: Any) -> Any:
        said = self.nursery.call("POST", path, body)
        assert said.status_code < 300, said.json
        return said.json

    def send(self, path: str, body: Any, client: FlaskClient | None = None) -> Any:
        said = (client or self.browser).post(path, json=body)
        assert said.status_code == 200, said.json
        return said.json

    def link(self) -> None:
        made = self.owner("/api/v1/pairings", {"role": "worker"})
        self.known["pair"] = made["link"].rsplit("/", 1)[1]

    def pair(self) -> None:
        body = {"secret": self.known["pair"], "device": self.paired}
        self.send("/api/v1/pairings/redeem", body, self.nursery.app.test_client())

    def forgot(self) -> None:
        made = self.owner(f"/api/v1/people/{MELE}/passphrase-link", {})
        self.known["secret"] = made["link"].rsplit("/", 1)[1]

    def reset(self) -> None:
        body = {"secret": self.known["secret"], "new": GOOD, "device": self.device}
        self.send("/api/v1/passphrases/redeem", body)

    def sign_in(self) -> None:
        body = {"name": "Mele", "passphrase": NEXT, "device": self.device}
        self.send("/api/v1/session/sign-in", body)

    def token(self) -> None:
        self.owner("/api/v1/tokens", {"name": "probe", "role": "sensor"})
        rows = self.nursery.call("GET", "/api/v1/tokens").json["tokens"]
        self.known["token"] = next(row["id"] for row in rows if row["name"] == "probe")

    def begin_move(self) -> None:
        """The owner begins to move the nursery's name, by a command."""
        folder = self.nursery.app.config["LATHHOUSE"].data / "lan"
        settled_name(folder, "rows.test")
        network = Network(folder, (ipaddress.ip_address("127.0.0.1"),), 8321, 8320)
        network.prepare(datetime.now(UTC))
        self.nursery.app.config["NETWORK"] = network
        write = name_steps.writer(self.nursery.app.config["SERVER_DEVICE"], None)
        with self.nursery.app.app_context():
            at = self.nursery.clock.text()
            name_steps.begin(folder, "beds.test", self.nursery.site, at, write)

    def way_over(self) -> str:
        """Return this phone's way over, for which it asks."""
        said = self.browser.post("/api/v1/name-move/link", json={})
        assert said.status_code == 201, said.json
        link: str = said.json["link"]
        assert link.startswith("https://beds.test:8321/#/pair/")
        return link

    def end_name(self) -> None:
        """The old name ends: whoever stayed behind there is let in no more."""
        phones = self.nursery.call("GET", "/api/v1/name-move").json["phones"]
        assert self.browser.get("/api/v1/alerts").status_code == 200
        self.owner("/api/v1/name-move/end", {"leave": [one["id"] for one in phones]})
        assert self.browser.get("/api/v1/alerts").status_code == 401

    def steps(self) -> dict[str, tuple[Callable[[], Any], str]]:
        """Return {rule: (step, the kind of event that it leaves)}, in an order that works."""
        access, phone = "access_changed", "phone_changed"
        change = {"old": GOOD, "new": NEXT}
        return {
            "/api/v1/pairings": (self.link, access),
            "/api/v1/pairings/redeem": (self.pair, phone),
            "/api/v1/phones/<string:phone>/cut-off": (
                lambda: self.owner(f"/api/v1/phones/{self.paired}/cut-off", {}),
                phone,
            ),
            "/api/v1/people/<string:person>/passphrase-link": (self.forgot, access),
            "/api/v1/passphrases/redeem": (self.reset, access),
            "/api/v1/session/passphrase": (
                lambda: self.send("/api/v1/session/passphrase", change),
                access,
            ),
            "/api/v1/name-move/link": (self.way_over, access),
            "/api/v1/name-move/end": (self.end_name, access),
            # Whoever stayed behind at the name that ended signs in anew.
            "/api/v1/session/sign-in": (self.sign_in, phone),
            "/api/v1/session/person": (
                lambda: self.send("/api/v1/session/person", {"person": None}),
                phone,
            ),
            "/api/v1/session/sign-out": (
                lambda: self.send("/api/v1/session/sign-out", {}),
                access,
            ),
            "/api/v1/tokens": (self.token, access),
            "/api/v1/tokens/<string:token_id>/revoke": (
                lambda: self.owner(f"/api/v1/tokens/{self.known['token']}/revoke", {}),
                access,
            ),
        }


def kinds(nursery: Nursery) -> list[str]:
    events = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    return sorted(event["kind"] for event in events)


class Killed(Exception):
    """The server was killed at this place."""


@contextmanager
def killed_at(number: int) -> Iterator[list[int]]:
    """Let the server die just before its commit of this number; at 0, before any event.

    Yields:
        Where it struck, once it has.
    """
    left, struck = [number], list[int]()

    def die(of: Any, *_: Any, **__: Any) -> None:
        if isinstance(of, Connection) and of.get_execution_options().get("reading"):
            return
        left[0] -= 1
        if left[0] <= 0:
            struck.append(number)
            raise Killed

    with pytest.MonkeyPatch.context() as patch:
        if number == 0:
            patch.setattr(record, "append", die)
            yield struck
            return
        event.listen(Engine, "commit", die)
        try:
            yield struck
        finally:
            event.remove(Engine, "commit", die)


# What lets somebody in, or no more, and who carries it.
LETS_IN = (
    "SELECT hash, revoked_at FROM tokens",
    "SELECT hash, revoked_at, person_id FROM sessions",
    "SELECT hash, expires_at, used_at FROM pairings",
    "SELECT person_id, hash FROM passphrases",
)


def let_in(nursery: Nursery) -> list[Any]:
    """Return all that lets somebody in."""
    with nursery.database() as connection:
        return [sorted(map(str, connection.execute(text(query)))) for query in LETS_IN]


def struck_amid(step: Callable[[], Any], number: int) -> bool:
    """Take a step and kill the server there; say whether it struck. What else goes wrong fails."""
    with killed_at(number) as struck:
        try:
            step()
        except (AssertionError, KeyError, Killed):
            # Whoever asked was answered with nothing of use, or with nothing.
            if not struck:
                raise
    return bool(struck)


def kill_everywhere(nursery: Nursery, step: Callable[[], Any], kind: str) -> bool:
    """Kill the server at each of a step's commits in turn, and undo it: both, or neither.

    What lies beside the record, the names and their keys, is undone with it.

    Returns:
        Whether the step was done in the end, all its commits having been reached.
    """
    with nursery.app.app_context():
        file = str(db.engine.url.database)
    folder = nursery.app.config["LATHHOUSE"].data / "lan"
    for number in range(COMMITS_MOST + 1):
        with (
            closing(sqlite3.connect(":memory:")) as kept,
            closing(sqlite3.connect(file)) as live,
            TemporaryDirectory() as aside,
        ):
            live.backup(kept)
            shutil.copytree(folder, aside, dirs_exist_ok=True)
            before, rights = kinds(nursery).count(kind), let_in(nursery)
            struck = struck_amid(step, number)
            told = kinds(nursery).count(kind) > before
            assert told == (let_in(nursery) != rights), f"{kind}, killed at {number}"
            if not struck:
                return told
            kept.backup(live)
            shutil.rmtree(folder)
            shutil.copytree(aside, folder)
    return False


# More than any of them has.
COMMITS_MOST = 12


def test_what_goes_wrong_where_nobody_was_killed_is_not_taken_for_the_kill():
    with pytest.raises(KeyError):
        struck_amid(lambda: {}["link"], COMMITS_MOST)


@pytest.mark.about_sqlite("puts its file back after each kill")
def test_a_server_killed_amid_a_change_of_rights_leaves_the_change_and_its_event_or_neither(
    one_nursery: Nursery,
):
    """Every writing route that changes who is let in, at each of its commits."""
    story = Story(one_nursery)
    person = {"id": MELE, "name": "Mele", "role": "worker"}
    one_nursery.device().record("person_changed", None, person)
    story.begin_move()
    for rule, (step, kind) in story.steps().items():
        assert kill_everywhere(one_nursery, step, kind), rule


def commands(group: click.Group, before: str = "") -> set[str]:
    """Return the names of all commands, such as `tokens add`."""
    found: set[str] = set()
    for name, one in group.commands.items():
        found |= commands(one, f"{name} ") if isinstance(one, click.Group) else {before + name}
    return found


# Commands that change nobody's rights by themselves.
QUIET_COMMANDS = {
    "serve", "tokens list", "check", "backup", "restore", "take-file", "key",
}  # fmt: skip


def in_file(file: Path) -> list[Any]:
    """Return how many changes of access a record tells of, and all that lets somebody in."""
    with closing(sqlite3.connect(file)) as record:
        count = "SELECT count(*) FROM events WHERE kind = 'access_changed'"
        told = record.execute(count).fetchone()[0]
        return [told, *(sorted(map(str, record.execute(query))) for query in LETS_IN)]


@pytest.mark.about_sqlite("the file in a folder, read beside the commands")
def test_a_command_killed_amid_a_change_of_rights_leaves_both_or_neither(
    sqlite_tables: Path, tmp_path: Path
):
    file = shutil.copy(sqlite_tables, tmp_path / "lathhouse.sqlite")
    network = Network(tmp_path / "lan", (ipaddress.ip_address("127.0.0.1"),), 8321, 8320)
    settled_name(tmp_path / "lan", "rows.test")
    network.prepare(datetime.now(UTC))
    steps = {
        "owner-link": [],
        "tokens add": ["probe", "--role", "sensor"],
        "tokens revoke": ["probe"],
        "move-name": ["beds.test"],
    }
    assert sorted(commands(main) ^ (steps.keys() | QUIET_COMMANDS)) == []
    for name, more in steps.items():
        for done in (False, True):
            before = in_file(file)
            line = [*name.split(), *more, "--data", str(tmp_path)]
            with nullcontext() if done else killed_at(0):
                said = CliRunner().invoke(main, line)
            assert isinstance(said.exception, Killed) != done, said.output
            after = in_file(file)
            assert after[0] - before[0] == int(done), name
            assert (after[1:] != before[1:]) == (done and name != "move-name"), name
        assert (network.names().next is None) == (name != "move-name")


def test_every_route_that_changes_who_is_let_in_leaves_an_event(nursery: Nursery):
    """A new writing route must say here what it leaves in the log, or why nothing."""
    story = Story(nursery)
    person = {"id": MELE, "name": "Mele", "role": "worker"}
    nursery.device().record("person_changed", None, person)
    story.begin_move()
    steps = story.steps()
    writing = {
        rule.rule
        for rule in nursery.app.url_map.iter_rules()
        if (rule.methods or set()) - {"GET", "HEAD", "OPTIONS"}
    }
    assert sorted(writing ^ (steps.keys() | QUIET.keys() | RECORDS)) == []
    for rule, (step, kind) in steps.items():
        before = kinds(nursery)
        step()
        after = kinds(nursery)
        assert after.count(kind) > before.count(kind), rule


def carried_by_mele(nursery: Nursery, whose: str | None) -> Story:
    """Return an owner's phone that Mele is said to carry: somebody's own, or a shared one."""
    story, body = Story(nursery), {"role": "owner", "person": whose}
    made = nursery.call("POST", "/api/v1/pairings", body).json
    secret = made["link"].rsplit("/", 1)[1]
    story.send("/api/v1/pairings/redeem", {"secret": secret, "device": story.device})
    story.send("/api/v1/session/person", {"person": MELE})
    return story


def names_told(nursery: Nursery, after: int) -> list[tuple[str, str | None, bool]]:
    """Return (kind, by, by_said) of each event after so many."""
    events = nursery.call("GET", "/api/v1/events?limit=1000").json["events"][after:]
    return [(one["kind"], one["by"], one.get("by_said", False)) for one in events]


def test_a_name_that_was_only_said_on_a_shared_phone_proves_no_act_through_the_server(
    one_nursery: Nursery,
):
    """Who carries a shared phone is said (ours); on one's own phone it is proved."""
    nursery, script = one_nursery, one_nursery.device()
    script.record("person_changed", None, {"id": MELE, "name": "Mele", "role": "owner"})
    lots = [script.start_lot(at=nursery.clock.text(days=30), label=f"26-01{n}") for n in (1, 2)]
    for lot in lots:
        script.record("cold_started", lot, {}, at=nursery.clock.text(days=10))
    nursery.tick()
    alerts = nursery.call("GET", "/api/v1/alerts?state=standing").json["alerts"]
    looks = [one["id"] for one in alerts if one["watch"] == "cold-look"]
    for whose, look in zip((None, MELE), looks, strict=True):
        story = carried_by_mele(nursery, whose)
        before = len(kinds(nursery))
        assert story.browser.post("/api/v1/pairings", json={}).status_code == 201
        story.send(f"/api/v1/alerts/{look}/acknowledge", {})
        story.send(f"/api/v1/phones/{story.device}/cut-off", {})
        acts = ("access_changed", "acknowledged", "phone_changed")
        assert names_told(nursery, before) == [(kind, MELE, whose is None) for kind in acts]
    found = nursery.call("GET", "/api/v1/alerts?state=acknowledged").json["alerts"]
    said = {one["id"]: one.get("acknowledged_by_said", False) for one in found}
    assert said == dict(zip(looks, (True, False), strict=True))


def test_who_was_said_to_carry_a_phone_stays_said_of_its_successor_under_another_name(
    one_nursery: Nursery,
):
    nursery = one_nursery
    nursery.device().record("person_changed", None, {"id": MELE, "name": "Mele", "role": "owner"})
    story = carried_by_mele(nursery, None)
    story.begin_move()
    before = len(kinds(nursery))
    secret = story.way_over().rsplit("/", 1)[1]
    story.browser = nursery.app.test_client()
    story.send("/api/v1/pairings/redeem", {"secret": secret, "device": story.paired})
    story.send("/api/v1/name-move/end", {"leave": [story.paired]})
    told = names_told(nursery, before)
    access, phone = "access_changed", "phone_changed"
    assert [kind for kind, *_ in told] == [access, phone, phone, access, phone]
    assert {(by, said) for _, by, said in told} == {(MELE, True)}


def test_what_only_the_owner_changes_comes_as_events_alone(one_nursery: Nursery):
    """People, watches, protocols, the nursery: each kind, taken and found in the log."""
    script = one_nursery.device()
    for kind in sorted(OWNERS_KINDS):
        data = WHOLE.get(kind) or RIGHT[kind][0]
        event = script.record(kind, None, data)
        found = one_nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
        assert [one["data"] for one in found if one["id"] == event["id"]] == [data], kind
