"""What other sites' pages, hostile bodies and odd addresses get."""

import gzip
import json
import logging
import uuid
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.calculations import CALCULATIONS
from lathhouse.errors import BadField
from lathhouse.settings import BODY_MAX_BYTES
from lathhouse.web.calculations import worked_out
from tests.attack.doors import DOORS
from tests.attack.two_sites import SUBSCRIPTION, paired
from tests.server import Nursery

PROBLEM = "application/problem+json"
UNSAFE = sorted(door for door in DOORS if door[0] != "GET")
# What a form, an image or a script of another site can make a browser send without being asked
# first (Fetch standard, CORS-safelisted request headers), or says of itself.
FOREIGN: list[dict[str, str]] = [
    {"Origin": "https://elsewhere.example"},
    {"Origin": "null"},
    {"Origin": "http://localhost:8080"},
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Content-Type": "text/plain"},
    {"Content-Type": "application/x-www-form-urlencoded"},
    {"Content-Type": "multipart/form-data; boundary=x"},
]


@pytest.mark.parametrize(("method", "rule"), UNSAFE, ids=lambda one: one)
def test_no_page_of_another_site_writes_with_a_phones_cookie(
    same_nursery: Nursery, method: str, rule: str
):
    """Cross-site request forgery, on every route that changes something."""
    phone = paired(same_nursery, "owner").client
    path = rule.replace("<string:", "<").partition("<")[0] + "x" * ("<" in rule)
    path += rule.partition(">")[2]
    for headers in FOREIGN:
        kind = headers.get("Content-Type", "application/json")
        said = phone.open(
            path, method=method, data=b"{}", headers={"Content-Type": kind, **headers}
        )
        assert (said.status_code, said.content_type) == (403, PROBLEM), (headers, said.text)
        assert said.json["type"].endswith("/not-allowed")


def test_no_safe_method_changes_anything(same_nursery: Nursery):
    """GET and HEAD leave the revision as it is, on every route but one (RFC 9110, 9.2.1)."""

    def revision() -> int:
        return int(same_nursery.call("GET", "/api/v1/sync/pull").json["revision"])

    before = revision()
    for method, rule in DOORS:
        if method == "GET":
            for safe in ("GET", "HEAD"):
                same_nursery.call(safe, rule.partition("<")[0] + "x" * ("<" in rule))
    assert revision() == before
    # But for one: that a phone was in touch is noted as it asks, at most every quarter of an hour.
    phone = paired(same_nursery, "viewer").client
    same_nursery.clock.forward(minutes=16)
    before = revision()
    for method, rule in DOORS:
        if method == "GET":
            phone.head(rule.partition("<")[0] + "x" * ("<" in rule))
    assert revision() == before
    cursor = phone.get("/api/v1/sync/pull").json["cursor"]
    assert revision() == before + 1
    for method, rule in DOORS:
        if method == "GET":
            phone.get(rule.partition("<")[0] + "x" * ("<" in rule))
    rows = phone.get(f"/api/v1/sync/pull?after={cursor}").json["rows"]
    assert [name for name, found in rows.items() if found] == []
    assert same_nursery.call("TRACE", "/api/v1/alerts").status_code == 405


@pytest.mark.parametrize(
    "path",
    ["/../pyproject.toml", "/..%2fpyproject.toml", "/%2e%2e/%2e%2e/etc/passwd", "/core/../../x",
     "/....//etc/passwd", "/\\..\\etc", "/%5c..%5cetc", "//etc/passwd", "/.git/config",
     "/core/lot.js%00.txt", "/vendor/VENDOR.md", "/file:///etc/passwd", "/core", "/core/",
     "/index.html/..", "/%c0%ae%c0%ae/etc/passwd"],
)  # fmt: skip
def test_no_trick_of_an_address_reads_another_file(same_nursery: Nursery, path: str):
    said = same_nursery.client.get(f"http://localhost{path}")
    assert said.status_code in (400, 404), said.status_code
    assert said.content_type == PROBLEM
    assert "Location" not in said.headers


def packed(body: bytes) -> bytes:
    """Pack without the hour of packing: tests are named after it, in every process alike."""
    return gzip.compress(body, mtime=0)


BOMBS: list[tuple[int, bytes, dict[str, str]]] = [
    (413, packed(b" " * (BODY_MAX_BYTES + 1)), {"Content-Encoding": "gzip"}),
    (413, b" " * (BODY_MAX_BYTES + 1), {}),
    (400, packed(b"[" * 1_000_000), {"Content-Encoding": "gzip"}),
    (400, packed(b"{}") + packed(b"{}"), {"Content-Encoding": "gzip"}),
    (400, packed(b'{"a": 1}')[:-4], {"Content-Encoding": "gzip"}),
    (415, packed(packed(b"{}")), {"Content-Encoding": "gzip, gzip"}),
    (415, b"{}", {"Content-Encoding": "deflate"}),
    (400, b'{"a":' * 5000 + b"1" + b"}" * 5000, {}),
    (400, b'{"device": ' + b"9" * 5000 + b"}", {}),
    (400, b'{"device": NaN}', {}),
    (422, b'{"device": 1e999, "events": []}', {}),
]


@pytest.mark.parametrize(("status", "body", "headers"), BOMBS, ids=lambda one: repr(one)[:24])
def test_a_bomb_is_refused_in_words(
    same_nursery: Nursery, status: int, body: bytes, headers: dict[str, str]
):
    """Bodies that unpack, nest or count beyond all bounds, on each door that reads one."""
    token = {"Authorization": f"Bearer {same_nursery.token('owner')}", **headers}
    for rule in ("/api/v1/sync/push", "/api/v1/readings", "/api/v1/pairings"):
        kind = {"Content-Type": "application/json"}
        said = same_nursery.client.post(rule, data=body, headers={**token, **kind})
        if status == 422 and rule != "/api/v1/sync/push":
            continue
        assert (said.status_code, said.content_type) == (status, PROBLEM), (rule, said.text)


def test_of_two_values_of_one_name_the_last_counts_as_on_the_phone(same_nursery: Nursery):
    """ECMA-262 and Python agree; what was checked is what is kept."""
    body = b'{"person": 7, "role": "worker", "role": "sensor", "person": null}'
    said = same_nursery.client.post(
        "/api/v1/pairings",
        data=body,
        headers={
            "Authorization": f"Bearer {same_nursery.token('owner')}",
            "Content-Type": "application/json",
        },
    )
    assert (said.status_code, said.json["field"]) == (422, "role")


NASTY: list[Any] = [
    None, "", "x", "\0\ud800", "١", True, False, -1, 0, 1e308, -1e308, 1e-308, 10**40, 2**63,
    [], [None], {}, {"x": {}}, "9" * 500, "2026-02-30", "0000-00-00T00:00:00Z",
]  # fmt: skip
REFERENCE = Path(__file__).parents[1] / "reference"


def asked() -> list[tuple[str, dict[str, Any]]]:
    """Return (calculation, inputs) of the published examples, three of each."""
    found: dict[str, list[dict[str, Any]]] = {}
    for file in sorted(REFERENCE.glob("vectors_*.json")):
        for vector in json.loads(file.read_text("utf-8")).get("vectors", []):
            name = vector.get("calculation") or vector.get("calc") or vector.get("fn")
            if name in CALCULATIONS and isinstance(vector.get("inputs"), dict):
                found.setdefault(name, []).append(vector["inputs"])
    return [(name, inputs) for name, every in found.items() for inputs in every[:3]]


def test_no_odd_input_makes_a_calculation_fall_over():
    """Each input of each example replaced by each oddity: a result, or a refusal in words."""
    tried, faults = 0, []
    for name, inputs in asked():
        for field in inputs:
            for odd in NASTY:
                tried += 1
                try:
                    worked_out(name, {**inputs, field: odd})
                except BadField:
                    continue
                except Exception as error:
                    # Gathered, so that one run names them all.
                    faults.append(f"{name}({field}={odd!r}): {type(error).__name__}: {error}")
    assert tried > 1000
    assert faults == []


def test_no_secret_is_told_in_the_log(
    one_nursery: Nursery, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
):
    """Tokens, cookies, links, calendars' and push services' addresses; also where a fault is."""
    caplog.set_level(logging.DEBUG)
    nursery = one_nursery
    phone = paired(nursery, "owner").client
    address = phone.post("/api/v1/calendar", json={}).json["address"]
    phone.post("/api/v1/reminders/subscriptions", json=SUBSCRIPTION)
    link = nursery.call("POST", "/api/v1/pairings", {}).json["link"]
    # On another browser: pairing this one anew would end its session and its calendar.
    said = nursery.app.test_client().post(
        "/api/v1/pairings/redeem",
        json={"secret": link.rsplit("/", 1)[1], "device": str(uuid.uuid4())},
    )
    secrets = {
        "token": nursery.token("owner"),
        "link": link.rsplit("/", 1)[1],
        "calendar": address.rsplit("/", 1)[1].removesuffix(".ics"),
        "endpoint": SUBSCRIPTION["endpoint"],
        "cookie": said.headers["Set-Cookie"].partition(";")[0].partition("=")[2],
    }
    assert phone.get(address).status_code == 200

    def fall_over(*given: Any, **_: Any) -> None:
        raise RuntimeError("something broke")

    for broken in ("calendar.agenda.given", "session.access.redeem", "events.history"):
        monkeypatch.setattr(f"lathhouse.web.{broken}", fall_over)
    assert phone.get(address).status_code == 500
    body = {"secret": secrets["link"], "device": str(uuid.uuid4())}
    assert phone.post("/api/v1/pairings/redeem", json=body).status_code == 500
    assert nursery.call("GET", "/api/v1/events").status_code == 500
    assert "something broke" in caplog.text
    assert [name for name, secret in secrets.items() if secret in caplog.text] == []


def test_a_fault_of_the_database_is_told_without_the_values(same_nursery: Nursery):
    """A statement that fails names its columns, and none of what was to go into them."""
    from sqlalchemy import text
    from sqlalchemy.exc import DBAPIError

    from lathhouse.store.models import db

    with (
        same_nursery.app.app_context(),
        db.engine.connect() as connection,
        pytest.raises(DBAPIError) as caught,
    ):
        connection.execute(text("SELECT nothing FROM nowhere WHERE x = :x"), {"x": "a secret"})
    assert "a secret" not in str(caught.value)
