"""What the log says of who came in and who did not, and how often one caller may ask.

OWASP ASVS 5.0 (2025), V16.3.1 to V16.3.3 and V2.4.1.
"""

import json
import logging
from typing import Any

import pytest

from lathhouse import logs
from lathhouse.errors import TooOften
from lathhouse.web import refusals, watches
from lathhouse.web.pace import Pace
from tests.server import Nursery
from tests.web.test_people import Phone, link_for

TYPED = "four flats, a wet thumb"
STRANGER = {"REMOTE_ADDR": "2001:db8:1:2:3:4:5:6"}


@pytest.fixture(autouse=True)
def _from_nothing(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(refusals, "told", refusals.Told())


def lines(caplog: pytest.LogCaptureFixture) -> list[dict[str, Any]]:
    """Return the lines of access as the JSON log writes them, and forget them."""
    records = [one for one in caplog.records if one.name == "lathhouse.access"]
    caplog.clear()
    return [json.loads(logs.JsonLines().format(one)) for one in records]


def test_who_came_in_and_who_did_not_is_told_and_nothing_that_was_typed(
    one_nursery: Nursery, caplog: pytest.LogCaptureFixture
):
    nursery, mele = one_nursery, Phone(one_nursery)
    link = link_for(nursery, "worker")["link"]
    caplog.set_level(logging.INFO, "lathhouse.access")
    assert mele.pair(link).status_code == 200
    mele.pair("x/" + TYPED)
    body = {"name": "Mele", "passphrase": TYPED, "device": mele.id}
    nursery.client.post("/api/v1/session/sign-in", json=body, environ_base=STRANGER)
    bearer = {"Authorization": f"Bearer {TYPED}"}
    nursery.client.get("/api/v1/alerts", headers=bearer, environ_base=STRANGER)
    nursery.client.get("/api/v1/alerts", environ_base=STRANGER)
    mele.client.get("/api/v1/tokens")
    mele.client.post("/api/v1/sync/push", json={}, headers={"Origin": "https://elsewhere.example"})
    found = lines(caplog)
    assert [(one["what"], one["status"], one["level"]) for one in found] == [
        ("paired", 200, "info"),
        ("not-allowed", 403, "warning"),
        ("sign-in-refused", 403, "warning"),
        ("sign-in-needed", 401, "warning"),
        ("not-allowed", 403, "warning"),
        ("not-allowed", 403, "warning"),
    ], "who comes without any credential is nobody who failed"
    assert {one["address"] for one in found} == {"127.0.0.1", "2001:db8:1:2::/64"}
    role = found[4]
    assert (role["role"], role["by"], role["device"]) == ("worker", "session", mele.id)
    assert role["route"] == "/api/v1/tokens"
    whole = json.dumps(found)
    assert TYPED not in whole
    assert link.rsplit("/", 1)[1] not in whole


def test_a_crowd_at_the_door_does_not_fill_the_disk(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(refusals, "LINES_A_MINUTE", 3)
    told = refusals.Told()
    assert [told.left_out(7) for _ in range(5)] == [0, 0, 0, None, None]
    assert [told.left_out(8), told.left_out(8)] == [2, 0]


def test_one_token_asks_so_often_a_minute_and_hinders_no_other(
    one_nursery: Nursery, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
):
    nursery = one_nursery
    nursery.app.extensions["pace"] = Pace(5)
    monkeypatch.setattr("lathhouse.web.pace.time.monotonic", lambda: 90.0)
    said = [nursery.call("GET", "/api/v1/crops") for _ in range(7)]
    assert [one.status_code for one in said] == [200] * 5 + [429] * 2
    assert said[-1].headers["Retry-After"] == "30"
    assert said[-1].json["detail"] == "At most 5 requests a minute. Go on in 30 seconds."
    assert nursery.call("GET", "/api/v1/crops", role="viewer").status_code == 200
    assert {one["what"] for one in lines(caplog)} == {"too-often"}


def test_one_phone_asks_so_often_a_minute_by_its_session_and_hinders_no_other(
    one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    nursery, mele, dev = one_nursery, Phone(one_nursery), Phone(one_nursery)
    for phone in (mele, dev):
        assert phone.pair(link_for(nursery, "worker")["link"]).status_code == 200
    nursery.app.extensions["pace"] = Pace(5)
    monkeypatch.setattr("lathhouse.web.pace.time.monotonic", lambda: 90.0)
    said = [mele.client.get("/api/v1/crops").status_code for _ in range(7)]
    assert said == [200] * 5 + [429] * 2
    assert dev.client.get("/api/v1/crops").status_code == 200


def test_no_more_than_two_trials_of_a_rule_run_at_once(one_nursery: Nursery):
    """Each keeps one of few threads busy for up to 20 s, which are the phones' (limits ours)."""
    nursery, door = one_nursery, "/api/v1/watches/look-due/preview"
    with watches.AT_ONCE, watches.AT_ONCE:
        refused = nursery.call("POST", door, {"days": 1})
    assert (refused.status_code, refused.json["type"].rpartition("/")[2]) == (503, "too-busy")
    assert [nursery.call("POST", door, {"days": 1}).status_code for _ in range(3)] == [200] * 3


def test_the_minute_is_counted_as_it_passes_and_many_callers_are_forgotten(
    monkeypatch: pytest.MonkeyPatch,
):
    pace = Pace(2)
    for at in (0.0, 59.0, 60.0, 61.0):
        pace.count("one", at)
    with pytest.raises(TooOften) as refused:
        pace.count("one", 90.0)
    assert refused.value.extra["retry_after_s"] == 30
    pace.count("another", 90.0)
    monkeypatch.setattr("lathhouse.web.pace.CALLERS_MAX", 2)
    pace.count("a third", 91.0)
    assert len(pace._counts) == 1
