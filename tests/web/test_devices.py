"""Whose a device is: nobody sends, or is let in, under the id of somebody else's phone (ours)."""

import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from sqlalchemy import text

from lathhouse.cli import main
from lathhouse.errors import BadField
from lathhouse.settings import wall_clock_ms
from lathhouse.store import access, name_move, record
from lathhouse.store.models import KnownBrowser, Session
from lathhouse.store.phones import new_phone
from lathhouse.store.work import Then, Work, looking, writing
from lathhouse.sync.server_events import access_said
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery
from tests.web.test_people import MELE, ORLA, Phone, link_for

Data = dict[str, Any]


def paired(nursery: Nursery, role: str, person: str | None = None) -> Phone:
    phone = Phone(nursery)
    assert phone.pair(link_for(nursery, role, person)["link"]).status_code == 200
    return phone


def row_of(nursery: Nursery, device: str) -> Data:
    return {row["id"]: row for row in nursery.rows("phones")}[device]


def test_nobody_pushes_as_another_phone_and_an_owner_s_row_stays_the_owner_s(
    nursery: Nursery,
):
    anna, mele = paired(nursery, "owner", ORLA), paired(nursery, "worker", MELE)
    anna.record("noted", {"text": "hers"})
    before = row_of(nursery, anna.id)
    push = "/api/v1/sync/push"
    forged = mele.event("noted", {"text": "as hers"}) | {"seq": 2}
    said = mele.client.post(push, json={"device": anna.id, "events": [forged]})
    assert said.status_code == 403
    assert "Send under an id of your own" in said.json["detail"]
    for role in ("sensor", "worker", "owner"):
        said = nursery.call("POST", push, {"device": anna.id, "events": []}, role)
        assert said.status_code == 403, role
    assert row_of(nursery, anna.id) == before
    # A phone whose store was emptied goes on under a new id; that is its person's then.
    fresh = str(uuid.uuid4())
    for sender, status in ((mele, 200), (paired(nursery, "worker", MELE), 200)):
        said = sender.client.post(push, json={"device": fresh, "events": []})
        assert said.status_code == status
    other = paired(nursery, "worker")
    assert other.client.post(push, json={"device": fresh, "events": []}).status_code == 403
    # A script goes on with a renewed token of its role, also after an owner has sent as it.
    probe = {"device": str(uuid.uuid4()), "events": []}
    for status, role in ((200, "sensor"), (403, "worker"), (200, "owner"), (200, "sensor")):
        assert nursery.call("POST", push, probe, role).status_code == status, role
        nursery.tokens.pop(role)
    assert anna.client.post(push, json=probe).status_code == 200
    assert nursery.call("POST", push, probe, "sensor").status_code == 200
    assert row_of(nursery, probe["device"])["role"] == "sensor"
    assert mele.client.post(push, json=probe).status_code == 403


def test_nobody_sends_as_the_server_nor_as_what_it_keeps_a_probe_s_readings_under(
    nursery: Nursery,
):
    place = str(uuid.uuid4())
    nursery.device().record("place_changed", None, {"id": place, "name": "House 3"})
    reading = {"place": place, "quantity_kind": "temp_c", "value": 4.2}
    nursery.call("POST", "/api/v1/readings", {"readings": [reading]}, "sensor")
    link_for(nursery, "worker", None)
    own = {row["name"]: row["id"] for row in nursery.rows("phones")}
    anna = paired(nursery, "owner", ORLA)
    for device in (own["server"], own["sensor's script"]):
        before = row_of(nursery, device)
        body = {"device": device, "events": []}
        for role in ("sensor", "worker", "owner"):
            said = nursery.call("POST", "/api/v1/sync/push", body, role)
            assert said.status_code == 403, role
        assert anna.client.post("/api/v1/sync/push", json=body).status_code == 403
        assert row_of(nursery, device) | {"last_sync_at": None} == before | {"last_sync_at": None}


@pytest.mark.parametrize("sender", ["token:sensor's script", None])
def test_a_script_goes_on_whose_row_was_written_by_an_earlier_version(
    nursery: Nursery, sender: str | None
):
    """Such a row names its token, or from before that nobody."""
    probe = str(uuid.uuid4())
    row = {**new_phone(probe, nursery.clock.text()), "role": "sensor", "silent_ok": True}
    row |= {"sender": sender} if sender else {}
    with nursery.app.app_context():
        writing(nursery.site, nursery.clock.text(), lambda work: record.append(work, [], row))
    body = {"device": probe, "events": []}
    for status, role in ((403, "worker"), (200, "owner"), (200, "sensor"), (200, "sensor")):
        assert nursery.call("POST", "/api/v1/sync/push", body, role).status_code == status, role
        nursery.tokens.pop(role)


def test_a_link_lets_nobody_in_under_the_id_of_another_s_phone(nursery: Nursery):
    anna = paired(nursery, "owner", ORLA)
    before = row_of(nursery, anna.id)
    for role, person in (("viewer", None), ("worker", MELE)):
        thief, link = Phone(nursery), link_for(nursery, role, person)["link"]
        own, thief.id = thief.id, anna.id
        said = thief.pair(link)
        assert said.status_code == 403
        assert "Ask the owner" in said.json["detail"]
        thief.id = own
        assert thief.pair(link).status_code == 200, "the link is good still"
    assert row_of(nursery, anna.id) == before


def test_a_phone_that_lost_its_cookie_is_paired_again_and_a_second_one_of_its_id_is_shown(
    nursery: Nursery,
):
    for role, person, again in (
        ("worker", MELE, ("worker", MELE)),
        ("worker", None, ("worker", None)),
        ("worker", MELE, ("owner", None)),
    ):
        phone = paired(nursery, role, person)
        phone.record("noted", {"text": "before"})
        twin = Phone(nursery)  # the same store, put back on another phone, without its cookie
        twin.id, twin.seq = phone.id, phone.seq
        assert twin.pair(link_for(nursery, *again)["link"]).status_code == 200
        assert phone.record("noted", {"text": "one"}).json["stored"]
        assert row_of(nursery, phone.id)["cloned_since"] is None
        assert twin.record("noted", {"text": "other"}).json["stored"]
        listed = nursery.call("GET", "/api/v1/phones").json["phones"]
        (shown,) = (row for row in listed if row["id"] == phone.id)
        assert shown["cloned_since"] == nursery.clock.text()
        assert phone.pair(link_for(nursery, *again)["link"]).status_code == 200
        assert row_of(nursery, phone.id)["cloned_since"], "the twin is let in still"
        nursery.call("POST", f"/api/v1/phones/{phone.id}/cut-off", {})
        assert phone.pair(link_for(nursery, *again)["link"]).status_code == 200
        assert row_of(nursery, phone.id)["cloned_since"] is None, "paired again, it is one phone"
        assert twin.record("noted", {"text": "more"}).status_code == 401


def test_who_only_says_whose_a_phone_is_changes_nothing_of_that_person_s(nursery: Nursery):
    """A worker says on a phone of their own, or on the shed's, that a colleague records now."""
    cleo = str(uuid.uuid4())
    script = nursery.device()
    rows = [{"id": MELE, "name": "Mele", "role": "worker"}]
    rows += [{"id": cleo, "name": "Cleo", "role": "worker", "email": "cleo@nursery.example"}]
    for row in rows:
        script.record("person_changed", None, row)
    for phone in (paired(nursery, "worker", MELE), paired(nursery, "worker")):
        said = phone.client.post("/api/v1/session/person", json={"person": cleo})
        assert said.status_code == 200
        change = {**rows[1], "email": "mele@nursery.example", "quiet_from": "00:01"}
        (refused,) = phone.record("person_changed", change).json["refused"]
        assert refused["problem"]["type"].endswith("/owners-only")
    found = {row["id"]: row for row in nursery.rows("people")}[cleo]
    assert (found["email"], found.get("quiet_from")) == ("cleo@nursery.example", None)


def test_a_viewer_reads_nobody_else_s_mail_address(nursery: Nursery):
    script = nursery.device()
    for person, name in ((MELE, "mele"), (ORLA, "orla")):
        row = {"id": person, "name": name, "email": f"{name}@nursery.example"}
        script.record("person_changed", None, row)
    change = {"of": str(uuid.uuid4()), "data": {"email": "orla@other.example"}}
    script.record("amended", None, change)
    viewer = paired(nursery, "viewer", MELE)
    asked = "/api/v1/events?limit=100"
    as_script = nursery.call("GET", asked, role="viewer").get_data(as_text=True)
    as_script += nursery.call("GET", "/api/v1/sync/pull", role="viewer").get_data(as_text=True)
    assert "example" not in as_script
    own = viewer.client.get(asked).get_data(as_text=True)
    assert ("mele@nursery" in own, "orla@" in own) == (True, False)
    assert "orla@other" in nursery.call("GET", asked, role="worker").get_data(as_text=True)


def test_a_phone_whose_role_changes_gets_people_s_rows_anew_as_it_may_read_them(
    nursery: Nursery,
):
    """A viewer's rows lack others' addresses; an owner's phone would send them back so."""
    script = nursery.device()
    mail = {"mele": "mele@nursery.example", "orla": "orla@nursery.example"}
    mele, orla = (
        {"id": person, "name": name, "email": mail[name]}
        for person, name in ((MELE, "mele"), (ORLA, "orla"))
    )
    for row in (mele, orla):
        script.record("person_changed", None, row)
    phone = paired(nursery, "viewer", MELE)
    cursor = "0"

    def pulled() -> dict[str, str | None]:
        nonlocal cursor
        page = phone.client.get(f"/api/v1/sync/pull?after={cursor}").json
        cursor = page["cursor"]
        return {row["name"]: row.get("email") for row in page["rows"]["people"]}

    of_viewer = {**mail, "orla": None}
    assert [pulled(), pulled()] == [of_viewer, {}]
    script.record("person_changed", None, {**orla, "order": 1})
    assert pulled() == {"orla": None}
    assert phone.pair(link_for(nursery, "owner", MELE)["link"]).status_code == 200
    assert [pulled(), pulled()] == [mail, {}]
    script.record("person_changed", None, {**mele, "role": "viewer"})
    assert [pulled(), pulled()] == [of_viewer, {}]
    whole = {row["name"]: row["email"] for row in nursery.rows("people")}
    assert whole == mail


def test_each_pairing_gets_a_cookie_of_its_own_and_the_one_before_lets_nobody_in(
    nursery: Nursery,
):
    phone, cookies = paired(nursery, "worker", MELE), []
    for _ in range(2):
        cookies.append(phone.client.get_cookie("lathhouse_session"))
        phone.pair(link_for(nursery, "worker", MELE)["link"])
    cookies.append(phone.client.get_cookie("lathhouse_session"))
    values = [cookie.value for cookie in cookies if cookie]
    assert len(set(values)) == 3
    for value, status in zip(values, (401, 401, 200), strict=True):
        browser = nursery.app.test_client()
        browser.set_cookie("lathhouse_session", value)
        assert browser.get("/api/v1/session").status_code == status


def test_a_token_gets_no_name_that_another_has(nursery: Nursery):
    asked = [
        nursery.call("POST", "/api/v1/tokens", {"name": name, "role": "sensor"})
        for name in ("fridge", " Fridge", "shed")
    ]
    assert [said.status_code for said in asked] == [201, 422, 201]
    assert asked[1].json["detail"].startswith("Another token is for Fridge already.")
    unnamed = nursery.call("POST", "/api/v1/tokens", {"name": "", "role": "sensor"})
    assert unnamed.json["detail"].startswith("What it is for must be")
    (fridge,) = (
        row["id"]
        for row in nursery.call("GET", "/api/v1/tokens").json["tokens"]
        if row["name"] == "fridge"
    )
    assert nursery.call("POST", f"/api/v1/tokens/{fridge}/revoke", {}).status_code == 200
    again = {"name": "fridge", "role": "sensor"}
    assert nursery.call("POST", "/api/v1/tokens", again).status_code == 201


def test_the_command_revokes_by_id_and_refuses_a_name_that_several_tokens_have(
    tmp_path: Path,
):
    """Also by a name that is another's id, and with names of an earlier version, which took any."""
    at = tmp_path / "at"
    nursery = open_nursery(address_for(at / "lathhouse.sqlite"), at, Clock())
    odd = "shed\nprobe\x1b[2J"

    def add(name: str) -> str:
        nursery.clock.forward(minutes=1)
        with nursery.app.app_context():
            access.add_token(nursery.site, name, "sensor", nursery.clock.text())
        return listed()[-1].split()[0]

    def command(*words: str, status: int = 0) -> str:
        done = CliRunner().invoke(main, ["tokens", *words, "--data", str(at)])
        assert done.exit_code == status, done.output
        return done.output.strip()

    def listed() -> list[str]:
        return command("list").splitlines()

    twins, other = [add("fridge"), add("fridge")], add("")
    refused = command("add", "Fridge ", "--role", "sensor", status=1)
    assert refused.startswith("Error: Another token is for Fridge already.")
    named_as_another, strange = add(other), add(odd)
    said = command("revoke", "fridge", status=1)
    assert said == f"Error: 2 tokens are called fridge. Revoke each by its id: {', '.join(twins)}."
    assert command("revoke", "fridg", status=1).startswith("Error: No token has the id or the name")
    assert [line.split()[0] for line in listed()] == [*twins, other, named_as_another, strange]
    assert command("revoke", twins[0]) == f"{twins[0]} revoked: fridge"
    assert command("revoke", "fridge") == f"{twins[1]} revoked: fridge"
    assert command("revoke", other).startswith(f"{other} revoked")
    assert command("revoke", other) == f"{named_as_another} revoked: {other}"
    assert command("revoke", odd) == f"{strange} revoked: shed?probe?[2J"
    assert listed() == []
    told = [one["data"].get("name") for one in nursery.call("GET", "/api/v1/events").json["events"]]
    assert told == ["fridge", "fridge", None, other, None]
    close_nursery(nursery)


def test_a_token_whose_name_the_log_does_not_take_is_revoked_all_the_same(
    nursery: Nursery, tmp_path: Path
):
    """An earlier version's command took any name, and none of these can be made any more."""
    odd = ("", "shed\tprobe", "\x07", "p" * 201)
    for name in odd:
        said = CliRunner().invoke(
            main, ["tokens", "add", name, "--role", "sensor", "--data", str(tmp_path / "x")]
        )
        assert "must be a name of 1 to 200 characters on one line." in said.output
        with nursery.app.app_context():
            access.add_token(nursery.site, name, "sensor", nursery.clock.text())
    rows = nursery.call("GET", "/api/v1/tokens").json["tokens"]
    for row in (one for one in rows if one["name"] in odd):
        said = nursery.call("POST", f"/api/v1/tokens/{row['id']}/revoke", {})
        assert (said.status_code, said.json) == (200, {"revoked": row["name"]})
    events = nursery.call("GET", "/api/v1/events?limit=100").json["events"]
    told = [one["data"] for one in events if one["data"].get("what") == "token_revoked"]
    assert sorted(one.get("name", "") for one in told) == ["", "", "", "shed probe"]


def test_an_owner_whose_phone_broke_gets_in_by_a_command(tmp_path: Path):
    at = tmp_path / "at"
    nursery = open_nursery(address_for(at / "lathhouse.sqlite"), at, Clock())
    nursery.clock.ms = wall_clock_ms()  # which the command goes by
    broken = paired(nursery, "owner")
    address = "https://nursery.example:8443"
    command = ["owner-link", "--data", str(at), "--at", address]
    said = [CliRunner().invoke(main, command).output.splitlines()[-1] for _ in range(2)]
    assert all(one.startswith(f"{address}/#/pair/") for one in said)
    fresh = Phone(nursery)
    nursery.clock.ms = wall_clock_ms()
    assert fresh.pair(said[0]).status_code == 403, "a second link takes the place of the first"
    assert fresh.pair(said[1]).json["role"] == "owner"
    assert fresh.client.post(f"/api/v1/phones/{broken.id}/cut-off", json={}).status_code == 200
    made = [
        event["data"].get("what") for event in fresh.client.get("/api/v1/events").json["events"]
    ]
    assert made.count("pairing_link_made") == 3
    close_nursery(nursery)


def test_an_owner_who_was_made_less_keeps_nobody_from_the_owners_link(nursery: Nursery):
    paired(nursery, "owner", ORLA)
    row = {"id": ORLA, "name": "Orla", "role": "owner"}
    # Another owner, who has no phone yet: or Orla stayed what she is.
    nursery.device().record("person_changed", None, {**row, "id": MELE, "name": "Mele"})
    for role, has_link in (("owner", False), ("worker", True)):
        nursery.device().record("person_changed", None, {**row, "role": role})
        nursery.clock.forward(minutes=1)
        with nursery.app.app_context():
            assert bool(access.owner_link(nursery.site, nursery.clock.text())) == has_link


def test_whoever_is_the_last_owner_stays_one(nursery: Nursery):
    """The phone refuses it too; a script, a second phone or a correction comes past that (ours)."""
    script = nursery.device()
    anna, mele = ({"id": one, "name": name} for one, name in ((ORLA, "Anna"), (MELE, "Mele")))

    def said(kind: str, data: Data, minutes: float = 0) -> Data:
        return script.event(kind, None, data, at=nursery.clock.text(minutes=-minutes))

    def refused(*sent: Data) -> list[bool]:
        """Push a batch; say of each of its events whether it was refused for this."""
        answer = script.push(*sent)
        ids = {one["id"] for one in answer["refused"]}
        for one in answer["refused"]:
            problem = one["problem"]
            assert problem["type"].endswith("/last-owner"), problem
            assert problem["detail"].startswith("Nobody here would be an owner without Anna. Make")
        assert len(ids) + len(answer["stored"]) == len(sent)
        return [one["id"] in ids for one in sent]

    made = script.record("person_changed", None, {**anna, "role": "owner"})
    script.record("person_changed", None, {**mele, "role": "worker"})
    nursery.clock.forward(minutes=1)
    # A whole row that says no role, a smaller role, a correction of either kind.
    note = script.event("noted", None, {"text": "rain"})
    assert refused(said("person_changed", anna), note) == [True, False]
    assert refused(said("person_changed", {**anna, "role": "viewer"})) == [True]
    assert refused(said("amended", {"of": made["id"], "data": {"role": "worker"}})) == [True]
    assert refused(said("voided", {"of": made["id"]})) == [True]
    # An amendment that came before what it amends: the slip is seen when that comes.
    again = said("person_changed", {**anna, "role": "owner"})
    early = said("amended", {"of": again["id"], "data": {"role": "worker"}})
    assert (refused(early), refused(again)) == ([False], [True])
    # What is about another field, or was overtaken, is not refused with the rest.
    mail = said("amended", {"of": made["id"], "data": {"email": "anna@example.org"}})
    batch = [said("person_changed", {**anna, "role": "viewer"}), mail]
    assert refused(*batch, said("person_changed", {**anna, "role": "viewer"}, -4)) == [
        True, False, False,
    ]  # fmt: skip
    # A name that is not given up after all is nobody else's.
    renamed = said("person_changed", {**anna, "name": "Annette", "role": "worker"})
    answer = script.push(renamed, said("person_changed", {**mele, "name": "Anna"}))
    slugs = [one["problem"]["type"].rpartition("/")[2] for one in answer["refused"]]
    assert (answer["stored"], sorted(slugs)) == ([], ["bad-field", "last-owner"])
    # A batch is judged by what it comes to, also one from before that others have overtaken.
    less, again = {**anna, "role": "worker"}, {**anna, "role": "owner"}
    assert refused(said("person_changed", less), said("person_changed", again, 1)) == [False] * 2
    assert refused(said("person_changed", less, -2)) == [False]
    mine = said("person_changed", {**mele, "role": "owner"}, 2)
    assert refused(mine, said("person_changed", less, 2)) == [False] * 2
    kept = {row["name"]: row["role"] for row in nursery.rows("people")}
    assert kept == {"Anna": "worker", "Mele": "owner"}
    assert nursery.differences() == []


def test_cutting_off_a_phone_ends_what_its_person_s_browsers_are_known_by(nursery: Nursery):
    phone = paired(nursery, "worker", MELE)
    nursery.device().record("person_changed", None, {"id": MELE, "name": "Mele"})
    new = {"new": "violet harrow mist tarn"}
    assert phone.client.post("/api/v1/session/passphrase", json=new).status_code == 200
    signed = {"name": "Mele", "passphrase": new["new"], "device": phone.id}
    assert phone.client.post("/api/v1/session/sign-in", json=signed).status_code == 200

    def known() -> int:
        with nursery.app.app_context():
            now = nursery.clock.text()
            return len(looking(nursery.site, now, lambda work: work.rows(KnownBrowser)))

    assert known() == 1
    nursery.call("POST", f"/api/v1/phones/{phone.id}/cut-off", {})
    assert known() == 0


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_pairing_under_way_leaves_no_session_to_a_phone_that_is_cut_off_meanwhile(
    nursery: Nursery,
):
    phone = paired(nursery, "worker", MELE)
    now = nursery.clock.text()
    waiting = text("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")

    def cut_off() -> bool:
        with nursery.app.app_context():
            return access.cut_off(nursery.site, phone.id, now)

    with ThreadPoolExecutor(1) as other, nursery.app.app_context():

        def pair(work: Work) -> Any:
            work.lock({f"phone:{phone.id}"})
            access.let_in(work, "worker", MELE, phone.id, None, None)
            cutting = other.submit(cut_off)
            while not cutting.done() and work.connection.scalar(waiting) == 0:
                pass
            return cutting

        assert writing(nursery.site, now, pair).result()
        open_to = (Session.device_id == phone.id, Session.revoked_at.is_(None))
        assert looking(nursery.site, now, lambda work: work.rows(Session, *open_to)) == []


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_of_two_who_do_the_same_at_once_one_has_done_it(nursery: Nursery):
    """A token is revoked once and has no namesake, and a way over to another name lets one in."""
    site, now, phone = nursery.site, nursery.clock.text(), paired(nursery, "worker", MELE)
    waiting = text("SELECT count(*) FROM pg_locks WHERE NOT granted")
    server = nursery.app.config["SERVER_DEVICE"]

    def at_once(act: Callable[[Then], Any], then: Then) -> list[Any]:
        """Return what came of it for whoever is first, and for who comes before its commit."""
        came = []

        def second() -> Any:
            with nursery.app.app_context():
                try:
                    return act(then)
                except BadField as refusal:
                    return refusal.detail

        def amid(work: Work, found: Any) -> None:
            coming = pool.submit(second)
            while not coming.done() and work.connection.scalar(waiting) == 0:
                pass
            came.append(coming)
            then(work, found)

        with ThreadPoolExecutor(1) as pool, nursery.app.app_context():
            return [act(amid), came[0].result()]

    def revoked(work: Work, found: Data) -> None:
        server.add(work, [access_said("token_revoked", None, name=found["name"])])

    def silent(work: Work, found: Any) -> None:
        assert found

    made = at_once(lambda then: access.make_token(site, "fridge", "sensor", now, then), silent)
    assert made[1].startswith("Another token is for fridge already.")
    with nursery.app.app_context():
        (fridge,) = access.tokens_meant(site, "fridge", now)
        link = name_move.make_link(site, phone.id, "worker", MELE, now)
    done = at_once(lambda then: access.revoke_token(site, fridge["id"], now, then), revoked)
    assert done == [{"name": "fridge"}, None]
    told = [one["data"] for one in nursery.call("GET", "/api/v1/events").json["events"]]
    assert [one.get("what") for one in told].count("token_revoked") == 1

    def move(then: Then) -> Data | None:
        return name_move.redeem(site, link, str(uuid.uuid4()), now, None, then)

    first, other = at_once(move, access.only_write)
    assert (first["from"], other) == (phone.id, None)
