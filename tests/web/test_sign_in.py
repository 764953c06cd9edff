"""Passphrases: setting, signing in, changing, forgetting; guessing is slow and locks nobody out.

OWASP ASVS 5.0 (2025): V6.2 (passphrases), V6.3.1 and V6.3.8 (limits; nobody is told which names
there are), V7.2.4 (a new session id at sign-in), V7.3 and V7.4 (how sessions end).
"""

import json
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from argon2 import PasswordHasher, extract_parameters
from flask.testing import FlaskClient

from lathhouse.app import create_app
from lathhouse.store import passphrases
from lathhouse.store.models import Event, Passphrase, Session
from lathhouse.store.work import looking
from lathhouse.web.callers import address_of
from lathhouse.web.sign_in import PER_ACCOUNT, PER_ADDRESS, PER_KNOWN
from tests.server import Nursery

GOOD, OTHER_GOOD = "quiet gate under snow", "a wet thumb, four flats"
ORLA, MELE = str(uuid.uuid4()), str(uuid.uuid4())
DEVICE = str(uuid.uuid4())


REAL = passphrases.HASHER
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


@pytest.fixture
def here(one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch) -> Iterator[Nursery]:
    """A nursery of two people; Mele has a passphrase. Hashing is cheap but where it matters."""
    monkeypatch.setattr(passphrases, "HASHER", CHEAP)
    passphrases._nobodys.cache_clear()
    script = one_nursery.device()
    for person, name, role in ((ORLA, "Orla", "owner"), (MELE, "Mele", "worker")):
        script.record("person_changed", None, {"id": person, "name": name, "role": role})
    assert by_link(one_nursery, one_nursery.app.test_client(), MELE, GOOD).status_code == 200
    yield one_nursery
    passphrases._nobodys.cache_clear()


def by_link(nursery: Nursery, browser: FlaskClient, person: str, new: str) -> Any:
    """Set a passphrase by an owner's link."""
    made = nursery.call("POST", f"/api/v1/people/{person}/passphrase-link", {})
    assert made.status_code == 201
    body = {"secret": made.json["link"].rsplit("/", 1)[1], "new": new, "device": str(uuid.uuid4())}
    return browser.post("/api/v1/passphrases/redeem", json=body)


def sign_in(
    browser: FlaskClient, name: str, text: str, *, at: str = "192.0.2.7", device: str = DEVICE
) -> Any:
    body = {"name": name, "passphrase": text, "device": device, "phone": "a laptop"}
    return browser.post("/api/v1/session/sign-in", json=body, environ_base={"REMOTE_ADDR": at})


def kept(nursery: Nursery, table: Any) -> list[dict[str, Any]]:
    with nursery.app.app_context():
        return looking(nursery.site, nursery.clock.text(), lambda work: work.rows(table))


def test_a_person_signs_in_by_name_and_passphrase_and_may_what_they_may(here: Nursery):
    browser = here.app.test_client()
    said = sign_in(browser, " mele ", GOOD)
    assert (said.status_code, said.json["role"], said.json["proved"]) == (200, "worker", MELE)
    session, known = said.headers.getlist("Set-Cookie")
    for cookie in (session, known):
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
    told = browser.get("/api/v1/session").json
    assert (told["person"], told["has_passphrase"], told["by_passphrase"]) == (MELE, True, True)
    assert browser.get("/api/v1/phones").status_code == 403
    listed = here.call("GET", "/api/v1/phones").json["phones"]
    assert ("a laptop", MELE) in {(row["name"], row["person"]) for row in listed}


def test_nobody_takes_a_name_that_another_has_and_a_double_is_told_by_the_passphrase(here: Nursery):
    """A worker who is called as the owner would lock the owner out of signing in by name (ours)."""
    mele, browser = here.app.test_client(), here.app.test_client()
    assert by_link(here, browser, ORLA, OTHER_GOOD).status_code == 200
    assert sign_in(mele, "Mele", GOOD).status_code == 200
    row = {"id": MELE, "role": "worker"}
    # Later than the first names: among changes of one instant chance says which is the last.
    here.clock.forward(minutes=1)
    for seq, name in enumerate(("Orla", " o r L a ", "Mele T"), 1):
        event = {"id": str(uuid.uuid4()), "seq": seq, "kind": "person_changed", "lot": None}
        event |= {"observed_at": here.clock.text(), "by": None, "data": {**row, "name": name}}
        said = mele.post("/api/v1/sync/push", json={"device": DEVICE, "events": [event]}).json
        if name == "Mele T":
            assert said["refused"] == []
            continue
        problem = said["refused"][0]["problem"]
        assert "Choose a name that tells you apart" in problem["detail"]
    # An older record may have two of one name: here by way of a correction.
    data = {"of": event["id"], "data": {"name": "Orla"}}
    here.device().record("amended", None, data)
    for text, person in ((OTHER_GOOD, ORLA), (GOOD, MELE)):
        said = sign_in(here.app.test_client(), "Orla", text, device=str(uuid.uuid4()))
        assert (said.status_code, said.json["person"]) == (200, person)
    assert sign_in(here.app.test_client(), "Orla", "neither of the two").status_code == 403


def test_over_https_the_cookies_are_secure(here: Nursery):
    browser = here.app.test_client()
    body = {"name": "Mele", "passphrase": GOOD, "device": DEVICE}
    said = browser.post("/api/v1/session/sign-in", json=body, base_url="https://localhost")
    assert ["Secure" in one for one in said.headers.getlist("Set-Cookie")] == [True, True]


def test_each_sign_in_gets_a_new_session_and_the_one_before_is_over(here: Nursery):
    browser, thief = here.app.test_client(), here.app.test_client()
    sign_in(browser, "Mele", GOOD)
    first = browser.get_cookie("lathhouse_session")
    assert first is not None
    sign_in(browser, "Mele", GOOD)
    second = browser.get_cookie("lathhouse_session")
    assert second is not None
    assert second.value != first.value
    thief.set_cookie("lathhouse_session", first.value)
    assert thief.get("/api/v1/session").status_code == 401
    # A session that somebody planted is not taken over either: it ends unused.
    thief.set_cookie("lathhouse_session", "planted")
    sign_in(thief, "Mele", GOOD, device=str(uuid.uuid4()))
    now = thief.get_cookie("lathhouse_session")
    assert now is not None
    assert now.value != "planted"


def test_a_wrong_name_and_a_wrong_passphrase_get_the_same_answer_and_the_same_work(
    here: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """What is counted is the work, not the clock: one hash of the same parameters for each."""
    work: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: Any, password: Any) -> Any:
            work.append(str(extract_parameters(hash)))
            return super().verify(hash, password)

    counting = Counting(time_cost=1, memory_cost=8, parallelism=1)
    passphrases._nobodys()
    monkeypatch.setattr(passphrases, "HASHER", counting)
    answers = []
    for name, text in (("Mele", OTHER_GOOD), ("Orla", GOOD), ("Nobody", GOOD), ("\ud800", "x")):
        said = sign_in(here.app.test_client(), name, text)
        answers.append((said.status_code, said.json, sorted(dict(said.headers))))
    assert answers.count(answers[0]) == 4
    assert answers[0][0] == 403
    assert len(work) == 4
    assert len(set(work)) == 1


def test_a_passphrase_is_kept_as_argon2id_and_made_anew_when_the_parameters_rise(
    here: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """OWASP Password Storage Cheat Sheet: Argon2id, at least 19 MiB, 2 passes, 1 lane."""
    (weak,) = kept(here, Passphrase)
    monkeypatch.setattr(passphrases, "HASHER", REAL)
    assert sign_in(here.app.test_client(), "Mele", GOOD).status_code == 200
    (row,) = kept(here, Passphrase)
    found = extract_parameters(row["hash"])
    assert row["hash"] != weak["hash"]
    assert row["hash"].startswith("$argon2id$v=19$")
    least = (19 * 1024, 2, 1)
    assert (found.memory_cost, found.time_cost, found.parallelism) >= least
    assert sign_in(here.app.test_client(), "Mele", GOOD).status_code == 200
    assert kept(here, Passphrase) == [row]


def test_a_crowd_at_the_door_never_hashes_more_than_two_at_once(
    here: Nursery, monkeypatch: pytest.MonkeyPatch
):
    """Each takes 32 MiB for its time; that two at once are enough for a nursery is ours."""
    left: list[int] = []

    def turns_left() -> int:
        turns = [n for n in range(10) if passphrases.AT_ONCE.acquire(blocking=False)]
        for _ in turns:
            passphrases.AT_ONCE.release()
        return len(turns)

    class Watched(PasswordHasher):
        def hash(self, *given: Any, **more: Any) -> str:
            left.append(turns_left())
            return super().hash(*given, **more)

        def verify(self, *given: Any, **more: Any) -> Any:
            left.append(turns_left())
            return super().verify(*given, **more)

    monkeypatch.setattr(passphrases, "HASHER", Watched(time_cost=1, memory_cost=8, parallelism=1))
    assert turns_left() == 2
    browser = here.app.test_client()
    assert sign_in(browser, "Mele", GOOD).status_code == 200
    change = {"old": GOOD, "new": OTHER_GOOD}
    assert browser.post("/api/v1/session/passphrase", json=change).status_code == 200
    assert sign_in(browser, "Nobody", GOOD).status_code == 403
    assert left
    assert set(left) == {1}, "each try and each new hash takes a turn, and there are two"
    assert turns_left() == 2, "each is given back"


def test_a_change_asks_for_the_old_one_and_signs_other_browsers_out(here: Nursery):
    browser, other, phone = (here.app.test_client() for _ in range(3))
    link = here.call("POST", "/api/v1/pairings", {"role": "worker", "person": MELE}).json["link"]
    secret = link.rsplit("/", 1)[1]
    phone.post("/api/v1/pairings/redeem", json={"secret": secret, "device": str(uuid.uuid4())})
    sign_in(browser, "Mele", GOOD)
    sign_in(other, "Mele", GOOD, device=str(uuid.uuid4()))
    door = "/api/v1/session/passphrase"
    assert browser.post(door, json={"new": OTHER_GOOD}).status_code == 422
    assert browser.post(door, json={"new": OTHER_GOOD, "old": "no"}).status_code == 403
    short = browser.post(door, json={"new": "short", "old": GOOD})
    assert "at least 12" in short.json["detail"]
    named = browser.post(door, json={"new": "mele mele on the hill", "old": GOOD})
    assert "the name Mele" in named.json["detail"]
    assert browser.post(door, json={"new": OTHER_GOOD, "old": GOOD}).status_code == 200
    assert browser.get("/api/v1/session").status_code == 200
    assert other.get("/api/v1/session").status_code == 401
    # A phone that the owner let in stays in.
    assert phone.get("/api/v1/session").status_code == 200
    assert sign_in(other, "Mele", GOOD).status_code == 403
    assert sign_in(other, "Mele", OTHER_GOOD, device=str(uuid.uuid4())).status_code == 200


def test_a_phone_that_is_only_carried_by_somebody_sets_no_passphrase_of_theirs(here: Nursery):
    shared = here.app.test_client()
    link = here.call("POST", "/api/v1/pairings", {"role": "worker"}).json["link"]
    secret = link.rsplit("/", 1)[1]
    shared.post("/api/v1/pairings/redeem", json={"secret": secret, "device": str(uuid.uuid4())})
    assert shared.post("/api/v1/session/person", json={"person": MELE}).status_code == 200
    said = shared.post("/api/v1/session/passphrase", json={"new": OTHER_GOOD, "old": GOOD})
    assert said.status_code == 403


def test_the_owners_link_for_who_forgot_is_good_once_and_for_an_hour(here: Nursery):
    made = here.call("POST", f"/api/v1/people/{MELE}/passphrase-link", {}).json
    secret = made["link"].rsplit("/", 1)[1]
    body = {"secret": secret, "new": "short", "device": DEVICE}
    browser = here.app.test_client()
    # It pairs no phone, and a passphrase that is not taken does not use it up.
    assert browser.post("/api/v1/pairings/redeem", json=body).status_code == 403
    assert browser.post("/api/v1/passphrases/redeem", json=body).status_code == 422
    body["new"] = OTHER_GOOD
    assert browser.post("/api/v1/passphrases/redeem", json=body).status_code == 200
    assert browser.post("/api/v1/passphrases/redeem", json=body).status_code == 403
    late = here.call("POST", f"/api/v1/people/{MELE}/passphrase-link", {}).json
    here.clock.forward(minutes=late["minutes"])
    body["secret"] = late["link"].rsplit("/", 1)[1]
    assert browser.post("/api/v1/passphrases/redeem", json=body).status_code == 403


def test_signing_out_ends_this_session_or_all_of_ones_own(here: Nursery):
    one, two, others = (here.app.test_client() for _ in range(3))
    by_link(here, others, ORLA, OTHER_GOOD)
    sign_in(one, "Mele", GOOD)
    sign_in(two, "Mele", GOOD, device=str(uuid.uuid4()))
    assert one.post("/api/v1/session/sign-out", json={}).status_code == 200
    assert (one.get("/api/v1/session").status_code, two.get("/api/v1/session").status_code) == (
        401,
        200,
    )
    sign_in(one, "Mele", GOOD)
    said = two.post("/api/v1/session/sign-out", json={"everywhere": True})
    # The browser of the link is one of them.
    assert said.json["ended"] == 3
    assert one.get("/api/v1/session").status_code == 401
    assert others.get("/api/v1/session").status_code == 200


def test_a_browser_is_forgotten_after_two_months_idle_and_a_phone_in_use_stays(here: Nursery):
    """Idle 60 days by passphrase, 400 days in all; a paired phone stays while it is in use."""
    browser, phone = here.app.test_client(), here.app.test_client()
    link = here.call("POST", "/api/v1/pairings", {"role": "worker", "person": MELE}).json["link"]
    secret = link.rsplit("/", 1)[1]
    phone.post("/api/v1/pairings/redeem", json={"secret": secret, "device": str(uuid.uuid4())})
    sign_in(browser, "Mele", GOOD)
    for _ in range(7):
        here.clock.forward(days=59)
        assert phone.get("/api/v1/session").status_code == 200
        last = browser.get("/api/v1/session").status_code
    assert last == 401
    sign_in(browser, "Mele", GOOD)
    here.clock.forward(days=61)
    assert browser.get("/api/v1/session").status_code == 401
    assert phone.get("/api/v1/session").status_code == 200


def test_strangers_at_one_account_are_slowed_and_its_own_browser_is_let_in(here: Nursery):
    own = here.app.test_client()
    assert sign_in(own, "Mele", GOOD).status_code == 200
    for number in range(PER_ACCOUNT):
        stranger = here.app.test_client()
        said = sign_in(stranger, "Mele", "guessed again", at=f"198.51.100.{number}")
        assert said.status_code == 403
    late = sign_in(here.app.test_client(), "Mele", GOOD, at="203.0.113.9")
    assert (late.status_code, late.json["type"].rsplit("/", 1)[1]) == (429, "too-often")
    assert 0 < int(late.headers["Retry-After"]) <= 600
    assert "Wait 10 minutes" in late.json["detail"]
    # The name that nobody has is slowed in the same way.
    for number in range(PER_ACCOUNT):
        sign_in(here.app.test_client(), "Nobody", "guessed again", at=f"198.51.100.{number + 99}")
    assert sign_in(here.app.test_client(), "Nobody", "x", at="203.0.113.8").status_code == 429
    # It has tries of its own, even at the stranger's address, and they end too.
    assert sign_in(own, "Mele", GOOD, at="198.51.100.1").status_code == 200
    for _ in range(PER_KNOWN):
        assert sign_in(own, "Mele", "mistyped it").status_code == 403
    assert sign_in(own, "Mele", GOOD).status_code == 429
    here.clock.forward(minutes=10)
    assert sign_in(own, "Mele", GOOD).status_code == 200
    assert sign_in(here.app.test_client(), "Mele", GOOD, at="203.0.113.9").status_code == 200


def test_an_address_guesses_twenty_times_whatever_the_names_and_a_restart_forgets_none(
    here: Nursery,
):
    for number in range(PER_ADDRESS):
        said = sign_in(here.app.test_client(), f"Name {number}", "guessed", at="2001:db8:0:1::7")
        assert said.status_code == 403
    # Another application on the same record is what a restart is.
    again = create_app(here.app.config["LATHHOUSE"])
    body = {"name": "Mele", "passphrase": GOOD, "device": DEVICE}
    said = again.test_client().post(
        "/api/v1/session/sign-in", json=body, environ_base={"REMOTE_ADDR": "2001:db8:0:1::8"}
    )
    assert said.status_code == 429
    assert sign_in(here.app.test_client(), "Mele", GOOD, at="2001:db8:0:2::8").status_code == 200


def test_an_address_is_counted_as_what_one_has_of_it():
    assert address_of("2001:db8::1") == address_of("2001:db8::2:3")
    assert address_of("::ffff:192.0.2.1") == address_of("192.0.2.1")
    assert address_of("192.0.2.1") != address_of("192.0.2.2")
    assert address_of(None) == address_of("by pipe")


def test_a_signed_in_person_takes_over_no_phone_that_is_another_persons(here: Nursery):
    orlas = str(uuid.uuid4())
    link = here.call("POST", "/api/v1/pairings", {"role": "owner", "person": ORLA}).json["link"]
    body = {"secret": link.rsplit("/", 1)[1], "device": orlas, "name": "Orla's phone"}
    assert here.app.test_client().post("/api/v1/pairings/redeem", json=body).status_code == 200
    said = sign_in(here.app.test_client(), "Mele", GOOD, device=orlas)
    assert (said.status_code, "another person's" in said.json["detail"]) == (403, True)
    (row,) = [
        one for one in here.call("GET", "/api/v1/phones").json["phones"] if one["id"] == orlas
    ]
    assert (row["name"], row["person"], row["role"]) == ("Orla's phone", ORLA, "owner")


def test_whoever_is_made_a_viewer_records_no_more_on_the_phones_they_have(here: Nursery):
    browser = here.app.test_client()
    sign_in(browser, "Mele", GOOD)
    # Of two changes at the same instant, either may count as the later one.
    here.clock.forward(minutes=1)
    here.device().record("person_changed", None, {"id": MELE, "name": "Mele", "role": "viewer"})
    body = {"device": DEVICE, "events": []}
    assert browser.post("/api/v1/sync/push", json=body).status_code == 403
    assert browser.get("/api/v1/session").json["role"] == "viewer"


def test_what_is_changed_of_sign_in_is_in_the_log_without_any_secret(here: Nursery):
    browser = here.app.test_client()
    sign_in(browser, "Mele", GOOD)
    browser.post("/api/v1/session/passphrase", json={"new": OTHER_GOOD, "old": GOOD})
    made = here.call("POST", "/api/v1/tokens", {"name": "probe", "role": "sensor"}).json
    (row,) = [
        one for one in here.call("GET", "/api/v1/tokens").json["tokens"] if one["name"] == "probe"
    ]
    here.call("POST", f"/api/v1/tokens/{row['id']}/revoke", {})
    browser.post("/api/v1/session/sign-out", json={"everywhere": True})
    events = [json.loads(one["body"]) for one in kept(here, Event)]
    said = [one["data"]["what"] for one in events if one["kind"] == "access_changed"]
    assert said == [
        "passphrase_link_made",
        "passphrase_reset",
        "passphrase_changed",
        "token_made",
        "token_revoked",
        "signed_out_everywhere",
    ]
    whole = json.dumps(events) + str(kept(here, Session))
    for secret in (GOOD, OTHER_GOOD, made["token"], "argon2"):
        assert secret not in whole


def test_a_token_is_shown_once_listed_with_its_last_use_and_revoked(here: Nursery):
    made = here.call("POST", "/api/v1/tokens", {"name": "fridge probe", "role": "sensor"})
    assert made.status_code == 201
    headers = {"Authorization": f"Bearer {made.json['token']}"}

    def listed() -> dict[str, Any]:
        rows = here.call("GET", "/api/v1/tokens").json["tokens"]
        (row,) = [one for one in rows if one["name"] == "fridge probe"]
        return row

    row = listed()
    assert (row["role"], row["used_at"]) == ("sensor", None)
    assert made.json["token"] not in str(row)
    here.clock.forward(days=3)
    client = here.app.test_client()
    assert (
        client.post("/api/v1/readings", json={"readings": []}, headers=headers).status_code == 200
    )
    assert client.get("/api/v1/events", headers=headers).status_code == 403
    assert listed()["used_at"] == here.clock.text()
    for wrong in ({"name": "", "role": "sensor"}, {"name": "x", "role": "king"}):
        assert here.call("POST", "/api/v1/tokens", wrong).status_code == 422
    assert here.call("POST", f"/api/v1/tokens/{row['id']}/revoke", {}).status_code == 200
    assert here.call("POST", f"/api/v1/tokens/{row['id']}/revoke", {}).status_code == 404
    said = client.post("/api/v1/readings", json={"readings": []}, headers=headers)
    assert said.status_code == 401
