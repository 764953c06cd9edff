"""Nobody walks in: every door, every role, paired phones, links that are good once."""

import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from lathhouse.app import create_app
from lathhouse.domain.instants import to_text
from lathhouse.settings import Settings
from lathhouse.store import access
from lathhouse.store.models import Pairing, Session, Token
from lathhouse.store.work import looking
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery
from tests.web.samples import event

PROBLEM = "application/problem+json"
# What needs no credentials: signing in, the health check and the app's own files.
OPEN_DOORS = {
    ("/health", "GET"),
    ("/ready", "GET"),
    # Open on this very machine; from elsewhere guarded by itself (test_operations.py).
    ("/metrics", "GET"),
    ("/api/v1/session", "GET"),
    ("/api/v1/pairings/redeem", "POST"),
    ("/api/v1/session/sign-in", "POST"),
    ("/api/v1/passphrases/redeem", "POST"),
    # Guarded by the secret in its address alone.
    ("/api/v1/calendar/<string:secret>.ics", "GET"),
    ("/", "GET"),
    ("/<file:path>", "GET"),
}
ALERT = "5d1f6f0e-5b0e-4c55-9c1e-0f7a52b0d7c4"
# (method, path, body, roles that may)
DOORS: list[tuple[str, str, Any, set[str]]] = [
    ("POST", "/api/v1/sync/push", "push", {"owner", "worker"}),
    ("POST", "/api/v1/sync/push", "reading", {"owner", "worker", "sensor"}),
    ("POST", "/api/v1/sync/offer", {"device": ALERT, "ids": []}, {"owner", "worker", "sensor"}),
    ("GET", "/api/v1/sync/pull?after=0", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/events", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/alerts", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/alerts/past", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/alerts/figures?days=30", None, {"owner", "worker", "viewer"}),
    ("POST", f"/api/v1/alerts/{ALERT}/acknowledge", {}, {"owner", "worker"}),
    ("POST", f"/api/v1/alerts/{ALERT}/shelve", {"until": "2026-09-12", "why": "x"},
     {"owner", "worker"}),
    ("POST", "/api/v1/calculations/watch",
     {"watch": "look-due", "events": [], "now": "2026-09-10T08:00:00Z"},
     {"owner", "worker", "viewer"}),
    ("POST", "/api/v1/watches/look-due/preview", {"days": 0}, {"owner"}),
    ("POST", "/api/v1/readings", {"readings": []}, {"owner", "worker", "sensor"}),
    ("POST", "/api/v1/forecasts", {"forecast": []}, {"owner", "worker", "sensor"}),
    ("POST", "/api/v1/saved-files", {"text": ""}, {"owner", "worker"}),
    ("POST", "/api/v1/pairings", {"role": "worker"}, {"owner"}),
    ("GET", "/api/v1/phones", None, {"owner"}),
    ("GET", "/api/v1/tokens", None, {"owner"}),
    ("POST", "/api/v1/tokens", {"name": "probe", "role": "sensor"}, {"owner"}),
    ("POST", f"/api/v1/tokens/{ALERT}/revoke", {}, {"owner"}),
    ("POST", f"/api/v1/people/{ALERT}/passphrase-link", {}, {"owner"}),
    # A person's own, on a phone or in a browser: a script has none of it.
    ("POST", "/api/v1/session/sign-out", {}, set()),
    ("POST", "/api/v1/session/passphrase", {}, set()),
    ("POST", f"/api/v1/phones/{ALERT}/cut-off", {}, {"owner"}),
    ("GET", "/api/v1/crops", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/crops/acer-palmatum", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/morning", None, {"owner", "worker", "viewer"}),
    ("GET", "/api/v1/calendar", None, {"owner", "worker", "viewer"}),
    ("POST", "/api/v1/calendar", {}, {"owner", "worker", "viewer"}),
    ("DELETE", "/api/v1/calendar", None, {"owner", "worker", "viewer"}),
    # A phone's own: a script has none of it, whatever its role. An owner's reads the whole log.
    ("GET", "/api/v1/reminders", None, set()),
    ("POST", "/api/v1/reminders/subscriptions", {}, set()),
    ("DELETE", "/api/v1/reminders/subscriptions/x", None, set()),
    ("POST", "/api/v1/reminders/test", {}, set()),
    ("POST", "/api/v1/session/person", {}, set()),
    ("GET", "/api/v1/deliveries", None, {"owner"}),
    ("GET", f"/api/v1/photos/{'0' * 64}", None, {"owner", "worker", "viewer"}),
    ("PUT", f"/api/v1/photos/{'0' * 64}", {}, {"owner", "worker"}),
    ("GET", "/api/v1/name-move", None, {"owner", "worker", "viewer"}),
    ("POST", "/api/v1/name-move/link", {}, set()),
    ("POST", "/api/v1/name-move/end", {}, {"owner"}),
    ("GET", "/api/openapi.json", None, set(access.ROLES)),
]  # fmt: skip


def closed_doors(nursery: Nursery) -> list[tuple[str, str]]:
    """Return (method, address) of every route but the open ones, from the route map itself."""
    return [
        (method, re.sub("<[^>]*>", ALERT, rule.rule))
        for rule in nursery.app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
        if (rule.rule, method) not in OPEN_DOORS
    ]


def paired(nursery: Nursery, role: str = "worker", person: str | None = None) -> FlaskClient:
    """Return the browser of a phone that has been paired by an owner's link."""
    link = nursery.call("POST", "/api/v1/pairings", {"role": role, "person": person}).json["link"]
    phone = nursery.app.test_client()
    said = redeem(phone, link.rsplit("/", 1)[1])
    assert said.status_code == 200
    return phone


def redeem(phone: FlaskClient, secret: Any, **more: Any) -> Any:
    body = {"secret": secret, "device": str(uuid.uuid4()), "name": "Shed phone", **more}
    return phone.post("/api/v1/pairings/redeem", json=body)


def owner_secret(nursery: Nursery) -> str | None:
    with nursery.app.app_context():
        return access.owner_link(nursery.site, to_text(nursery.clock.ms))


def push_body(kind: str = "looked") -> dict[str, Any]:
    data = {"quantity_kind": "temp_c", "value": 4} if kind == "read" else {}
    return {"device": str(uuid.uuid4()), "events": [event(kind, data)]}


def test_every_route_without_credentials_is_401_with_a_problem(same_nursery: Nursery):
    doors = closed_doors(same_nursery)
    assert len(doors) >= 12
    for method, path in doors:
        said = same_nursery.call(method, path, {} if method == "POST" else None, role=None)
        assert said.status_code == 401, (method, path, said.status_code)
        assert said.content_type == PROBLEM
        assert said.headers["WWW-Authenticate"] == "Bearer"
        assert "Location" not in said.headers


@pytest.mark.parametrize(
    "path",
    ["/api//v1/alerts", "//api/v1/alerts", "/api/v1/alerts/", "/api/v1//sync/pull",
     "/api/v1/../v1/alerts", "/API/v1/alerts", "/api/v1", "/api/"],
)  # fmt: skip
def test_an_address_written_oddly_is_no_way_in_and_never_a_redirect(
    same_nursery: Nursery, path: str
):
    for role in (None, "owner"):
        said = same_nursery.call("GET", f"http://localhost{path}", role=role)
        assert (said.status_code, said.content_type) == (404, PROBLEM), (role, said.headers)
        assert "Location" not in said.headers


@pytest.mark.parametrize(
    "headers",
    [
        {"Authorization": "Bearer lth_nonsense"},
        {"Authorization": "Bearer "},
        {"Authorization": "Basic b3duZXI6b3duZXI="},
        {"Cookie": "lathhouse_session=nonsense"},
        {"Authorization": "Bearer \u00ff\u00fe"},
    ],
)
def test_credentials_that_do_not_hold_are_401(same_nursery: Nursery, headers: dict[str, str]):
    said = same_nursery.client.get("/api/v1/alerts", headers=headers)
    assert (said.status_code, said.content_type) == (401, PROBLEM)


@pytest.mark.parametrize(("method", "path", "body", "may"), DOORS)
def test_each_role_may_what_it_may(
    same_nursery: Nursery, method: str, path: str, body: Any, may: set[str]
):
    for role in access.ROLES:
        sent = {"push": push_body(), "reading": push_body("read")}.get(str(body), body)
        said = same_nursery.call(method, path, sent, role)
        assert (said.status_code == 403) is (role not in may), (role, said.status_code)
        if role not in may:
            assert said.content_type == PROBLEM
            assert said.json["type"].endswith("/not-allowed")


def test_the_role_matrix_covers_every_route(same_nursery: Nursery):
    match = same_nursery.app.url_map.bind("localhost").match
    tried = {match(path.partition("?")[0], method)[0] for method, path, *_ in DOORS}
    routes = {match(path, method)[0] for method, path in closed_doors(same_nursery)}
    assert routes == tried


def test_f04_a_401_and_a_403_take_nothing_and_a_later_push_is_stored(nursery: Nursery):
    """FAULTS F4: the server says 401 with a problem; the same body is taken once signed in."""
    body = push_body()
    for role, status in ((None, 401), ("viewer", 403)):
        said = nursery.call("POST", "/api/v1/sync/push", body, role)
        assert (said.status_code, said.content_type) == (status, PROBLEM)
        assert "stored" not in said.json
    assert nursery.call("GET", "/api/v1/events").json["events"] == []
    said = nursery.call("POST", "/api/v1/sync/push", body, "worker").json
    assert said["stored"] == [body["events"][0]["id"]]


def test_secrets_are_kept_as_hashes_only(nursery: Nursery):
    token = nursery.token("owner")
    paired(nursery)
    with nursery.app.app_context():
        rows = looking(
            nursery.site,
            to_text(nursery.clock.ms),
            lambda work: [work.rows(table) for table in (Token, Session, Pairing)],
        )
    assert access.hashed(token) == rows[0][0]["hash"]
    assert token not in str(rows)
    assert all(len(row["hash"]) == 64 for table in rows for row in table)


def test_a_revoked_token_opens_nothing(nursery: Nursery):
    token = nursery.token("worker")
    with nursery.app.app_context():
        now = to_text(nursery.clock.ms)
        assert [row["name"] for row in access.list_tokens(nursery.site, now)] == ["worker's script"]
        nursery.revoke("worker's script")
        assert access.list_tokens(nursery.site, now) == []
    headers = {"Authorization": f"Bearer {token}"}
    assert nursery.client.get("/api/v1/alerts", headers=headers).status_code == 401


def test_the_first_owners_link_pairs_once_and_no_other_is_made_after(nursery: Nursery):
    secret = owner_secret(nursery)
    phone = nursery.app.test_client()
    said = redeem(phone, secret)
    assert (said.status_code, said.json["role"]) == (200, "owner")
    said = phone.get("/api/v1/session").json
    assert (said["role"], said["person"], said["demo"]) == ("owner", None, False)
    again = redeem(nursery.app.test_client(), secret)
    assert (again.status_code, again.content_type) == (403, PROBLEM)
    assert owner_secret(nursery) is None


def test_a_link_printed_before_the_last_one_is_good_no_more(nursery: Nursery):
    first, second = owner_secret(nursery), owner_secret(nursery)
    assert redeem(nursery.client, first).status_code == 403
    assert redeem(nursery.client, second).status_code == 200


def test_an_owners_script_is_no_owner_and_the_link_is_made_all_the_same(nursery: Nursery):
    nursery.token("owner")
    said = redeem(nursery.client, owner_secret(nursery))
    assert (said.status_code, said.json["role"]) == (200, "owner")


def test_an_owners_link_lasts_ten_minutes(nursery: Nursery):
    link = nursery.call("POST", "/api/v1/pairings", {"role": "worker"})
    assert (link.status_code, link.json["minutes"]) == (201, 10)
    assert link.json["link"].startswith("http://localhost/#/pair/")
    nursery.clock.forward(minutes=10)
    assert redeem(nursery.client, link.json["link"].rsplit("/", 1)[1]).status_code == 403


def test_a_paired_phone_is_known_by_name_person_and_role(nursery: Nursery):
    person = str(uuid.uuid4())
    phone = paired(nursery, "worker", person)
    said = phone.get("/api/v1/session").json
    assert (said["role"], said["person"], said["proved"]) == ("worker", person, person)
    assert said["demo"] is False
    (row,) = [one for one in nursery.rows("phones") if one["name"] != "server"]
    assert (row["name"], row["person"], row["role"]) == ("Shed phone", person, "worker")
    assert row["paired_at"] == row["last_sync_at"] == nursery.clock.text()
    body = {**push_body(), "device": row["id"]}
    assert phone.post("/api/v1/sync/push", json=body).json["refused"] == []
    names = {one["id"]: one["name"] for one in nursery.rows("phones")}
    assert names[row["id"]] == "Shed phone"


def test_a_phone_paired_and_never_heard_of_again_is_noticed(nursery: Nursery):
    paired(nursery)
    nursery.clock.forward(days=6)
    nursery.tick()
    assert "phone-silent" in nursery.alerts()


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"secret": 7}, "secret must be the text"),
        ({"secret": "x", "device": "phone"}, "device must be a UUID"),
        ({"secret": "x", "name": "a\nb"}, "name must be a name"),
    ],
)
def test_pairing_with_nonsense_is_refused_in_words(
    same_nursery: Nursery, body: dict[str, Any], says: str
):
    said = redeem(same_nursery.client, **{"secret": "x", **body})
    assert (said.status_code, said.content_type) == (422, PROBLEM)
    assert says in said.json["detail"]


def test_a_link_for_nobody_there_is_or_for_a_sensor_is_refused(same_nursery: Nursery):
    for body in ({"role": "sensor"}, {"role": "worker", "person": {"x": 1}}, {"person": "\0"}):
        said = same_nursery.call("POST", "/api/v1/pairings", body)
        assert (said.status_code, said.content_type) == (422, PROBLEM)


def test_the_cookie_is_out_of_reach_and_secure_where_the_line_is(one_nursery: Nursery):
    secret = owner_secret(one_nursery)
    plain = redeem(one_nursery.client, secret).headers["Set-Cookie"]
    assert "HttpOnly" in plain
    assert "SameSite=Strict" in plain
    assert "Path=/" in plain
    assert "Secure" not in plain
    link = one_nursery.call("POST", "/api/v1/pairings", {}).json["link"]
    body = {"secret": link.rsplit("/", 1)[1], "device": str(uuid.uuid4())}
    safe = one_nursery.app.test_client().post(
        "/api/v1/pairings/redeem", json=body, base_url="https://localhost"
    )
    assert "Secure" in safe.headers["Set-Cookie"]


def test_a_session_ends_and_then_says_401(nursery: Nursery):
    phone = paired(nursery)
    assert phone.get("/api/v1/alerts").status_code == 200
    nursery.clock.forward(days=access.SESSION_DAYS)
    assert phone.get("/api/v1/alerts").status_code == 401
    assert phone.get("/api/v1/session").status_code == 401


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost.elsewhere.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
    ],
)
def test_another_sites_page_cannot_write_with_a_phones_cookie(
    one_nursery: Nursery, headers: dict[str, str]
):
    phone = paired(one_nursery)
    said = phone.post("/api/v1/sync/push", json=push_body(), headers=headers)
    assert (said.status_code, said.content_type) == (403, PROBLEM)
    events = one_nursery.call("GET", "/api/v1/events").json["events"]
    kinds = [event["kind"] for event in events]
    assert kinds == ["access_changed", "phone_changed"], "nothing but its pairing"


def test_another_sites_page_cannot_pair_a_browser(one_nursery: Nursery):
    secret = owner_secret(one_nursery)
    body = {"secret": secret, "device": str(uuid.uuid4())}
    said = one_nursery.client.post(
        "/api/v1/pairings/redeem", json=body, headers={"Origin": "https://elsewhere.example"}
    )
    assert said.status_code == 403
    assert redeem(one_nursery.client, secret).status_code == 200


def test_the_apps_own_pages_write_with_the_cookie(one_nursery: Nursery):
    phone = paired(one_nursery)
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert phone.post("/api/v1/sync/push", json=push_body(), headers=own).status_code == 200


@pytest.fixture
def demo(tmp_path: Path, clock: Clock):
    """A demo's server, without its events."""
    settings = Settings(data=tmp_path, demo=True, now_ms=clock)
    opened = Nursery(create_app(settings), clock)
    yield opened
    close_nursery(opened)


@pytest.mark.parametrize(
    ("host", "peer"),
    [("localhost", "127.0.0.1"), ("127.0.0.1:8321", "127.0.0.1"), ("[::1]:8321", "::1"),
     ("[::1]", "::ffff:127.0.0.1")],
)  # fmt: skip
def test_a_demo_on_loopback_signs_its_visitor_in_and_says_so(demo: Nursery, host: str, peer: str):
    there = {"base_url": f"http://{host}", "environ_overrides": {"REMOTE_ADDR": peer}}
    said = demo.client.get("/api/v1/session", **there)
    assert (said.status_code, said.json["role"], said.json["demo"]) == (200, "owner", True)
    assert demo.client.get("/api/v1/alerts", **there).status_code == 200
    again = demo.client.get("/api/v1/session", **there)
    assert again.json["demo"] is True
    assert "Set-Cookie" not in again.headers


@pytest.mark.parametrize(
    ("host", "peer"),
    [("localhost", "192.168.1.7"), ("nursery.example", "127.0.0.1"), ("10.0.0.2", "10.0.0.2"),
     ("localhost.elsewhere.example", "127.0.0.1"), ("[::1", "127.0.0.1")],
)  # fmt: skip
def test_a_demo_signs_nobody_in_from_elsewhere(demo: Nursery, host: str, peer: str):
    said = demo.client.get(
        "/api/v1/session",
        headers={"Host": host},
        environ_overrides={"REMOTE_ADDR": peer, "HTTP_X_FORWARDED_FOR": "127.0.0.1"},
    )
    assert said.status_code in (400, 401)
    assert "Set-Cookie" not in said.headers


@pytest.mark.parametrize(
    "headers",
    [
        {"X-Forwarded-For": "127.0.0.1"}, {"X-Real-IP": "127.0.0.1"},
        {"Forwarded": "for=127.0.0.1;host=localhost"}, {"X-Forwarded-Host": "localhost"},
        {"X-Forwarded-Proto": "https", "X-Forwarded-For": "::1"},
    ],
)  # fmt: skip
def test_no_header_makes_a_stranger_a_demos_visitor(demo: Nursery, headers: dict[str, str]):
    there = {"environ_overrides": {"REMOTE_ADDR": "192.168.1.7"}, "headers": headers}
    said = demo.client.get("/api/v1/session", base_url="http://localhost", **there)
    assert (said.status_code, said.content_type) == (401, PROBLEM)
    assert "Set-Cookie" not in said.headers
    assert demo.client.get("/api/v1/alerts", **there).status_code == 401


def test_a_real_nursery_signs_nobody_in(same_nursery: Nursery):
    said = same_nursery.client.get("/api/v1/session")
    assert (said.status_code, said.content_type) == (401, PROBLEM)


def test_a_token_says_who_it_is(same_nursery: Nursery):
    said = same_nursery.call("GET", "/api/v1/session", role="viewer").json
    assert (said["role"], said["person"], said["proved"]) == ("viewer", None, None)
    assert (said["demo"], said["by_passphrase"], said["device"]) == (False, False, None)


def test_two_nurseries_do_not_know_each_others_tokens(tmp_path: Path, clock: Clock):
    folders = [tmp_path / "a", tmp_path / "b"]
    one, two = (open_nursery(address_for(f.with_suffix(".sqlite")), f, clock) for f in folders)
    headers = {"Authorization": f"Bearer {one.token('owner')}"}
    assert one.client.get("/api/v1/alerts", headers=headers).status_code == 200
    assert two.client.get("/api/v1/alerts", headers=headers).status_code == 401
    close_nursery(one)
    close_nursery(two)


def test_readings_from_two_phones_are_of_a_device_each(one_nursery: Nursery):
    nursery = one_nursery
    place = str(uuid.uuid4())
    row = {"id": place, "name": "Shed fridge", "kind": "chamber"}
    nursery.device().record("place_changed", None, row)
    for value in (4, 5):
        said = paired(nursery).post("/api/v1/readings", json={"place": place, "value": value})
        assert len(said.json["stored"]) == 1, said.json
    events = nursery.call("GET", "/api/v1/events?limit=1000").json["events"]
    assert len({event["device"] for event in events if event["kind"] == "read"}) == 2
    assert nursery.differences() == []
