"""Errors are problem documents (RFC 9457), answers carry safe headers, the API describes itself."""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from lathhouse.errors import PROBLEM_TYPES, Refusal
from lathhouse.web import problems
from lathhouse.web.asgi import Door
from tests.server import Nursery

# RFC 9457 (Nottingham, Wilde and Dalal, 2023) section 3: the example of an account out of credit.
OUT_OF_CREDIT = {
    "type": "https://example.com/probs/out-of-credit",
    "title": "You do not have enough credit.",
    "detail": "Your current balance is 30, but that costs 50.",
    "instance": "/account/12345/msgs/abc",
    "balance": 30,
    "accounts": ["/account/12345", "/account/67890"],
}
# RFC 9457 section 3.1.1: the second example has no type, which then counts as about:blank.
NO_TYPE = {
    "title": "Your request is not valid.",
    "errors": [{"detail": "must be a positive integer", "pointer": "#/age"}],
}
PAGE_POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
DATA_POLICY = (
    "default-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'; sandbox"
)
MEMBERS = ("type", "title", "status", "detail", "instance")


class OutOfCredit(Refusal):
    """The example of the RFC as one of our refusals."""

    status, slug, title = 403, "out-of-credit", "You do not have enough credit."


def read_problem(said: Any) -> dict[str, Any]:
    """Read a problem document as RFC 9457 section 3 tells a client to."""
    assert said.content_type == "application/problem+json"
    body = json.loads(said.get_data())
    return {
        "type": body.get("type", "about:blank"),
        "title": body["title"],
        "status": said.status_code,
        "extensions": sorted(body.keys() - set(MEMBERS)),
    }


def test_the_example_of_rfc_9457_section_3_is_said_as_it_stands_there():
    extra = {name: OUT_OF_CREDIT[name] for name in ("instance", "balance", "accounts")}
    said = problems.answer_refusal(OutOfCredit(str(OUT_OF_CREDIT["detail"]), **extra))
    assert read_problem(said) == {
        "type": PROBLEM_TYPES + "out-of-credit",
        "title": "You do not have enough credit.",
        "status": 403,
        "extensions": ["accounts", "balance"],
    }
    body = said.get_json()
    assert body["status"] == said.status_code
    assert {**body, "type": OUT_OF_CREDIT["type"]} == {**OUT_OF_CREDIT, "status": 403}


def test_the_example_of_rfc_9457_section_3_1_1_has_no_type():
    said = problems.problem({**NO_TYPE, "status": 422})
    assert read_problem(said) == {
        "type": "about:blank",
        "title": "Your request is not valid.",
        "status": 422,
        "extensions": ["errors"],
    }


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/nowhere", 404),
        ("GET", "/api/v1/nowhere", 404),
        ("POST", "/api/v1/nowhere", 404),
        ("DELETE", "/api/nowhere", 404),
        ("GET", "/api/v1/crops/weed", 404),
        ("POST", "/api/v1/calculations/fate", 404),
        ("POST", "/api/v1/alerts/none/acknowledge", 404),
        ("DELETE", "/api/v1/alerts", 405),
        ("GET", "/api/v1/sync/push", 405),
        ("PUT", "/health", 405),
    ],
)
def test_every_error_is_a_problem_document(
    same_nursery: Nursery, method: str, path: str, status: int
):
    said = same_nursery.call(method, path, {} if method == "POST" else None)
    assert (said.status_code, said.content_type) == (status, "application/problem+json")
    assert said.json["status"] == status
    assert said.json["type"].startswith(PROBLEM_TYPES)
    assert said.json["detail"].endswith(".")
    assert said.json["title"]


def test_a_405_says_what_the_address_takes(same_nursery: Nursery):
    said = same_nursery.call("DELETE", "/api/v1/alerts")
    assert set(said.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS"}
    assert "it takes GET" in said.json["detail"]
    assert same_nursery.call("OPTIONS", "/api/v1/alerts").status_code == 200


def test_a_fault_of_ours_is_a_problem_that_tells_no_secrets(
    one_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    def fall_over(*_: Any) -> None:
        raise RuntimeError("the secret recipe")

    monkeypatch.setattr("lathhouse.web.events.history", fall_over)
    said = one_nursery.call("GET", "/api/v1/events")
    assert (said.status_code, said.content_type) == (500, "application/problem+json")
    assert "recipe" not in said.text


@pytest.mark.parametrize(
    "path", ["/", "/sw.js", "/health", "/nowhere", "/api/v1/alerts", "/api/openapi.json"]
)
def test_every_answer_carries_the_safe_headers(same_nursery: Nursery, path: str):
    for role in ("owner", None):
        said = same_nursery.call("GET", path, role=role)
        policy = said.headers["Content-Security-Policy"]
        assert policy == (DATA_POLICY if path.startswith("/api/") else PAGE_POLICY)
        assert said.headers["X-Content-Type-Options"] == "nosniff"
        assert said.headers["Referrer-Policy"] == "no-referrer"
        assert "geolocation=()" in said.headers["Permissions-Policy"]
        if path.startswith("/api/"):
            assert said.headers["Cache-Control"] == "no-store"


def test_health_needs_nothing_and_says_nothing_else(same_nursery: Nursery):
    said = same_nursery.call("GET", "/health", role=None)
    assert (said.status_code, said.json) == (200, {"ok": True})


def refs(part: Any) -> set[str]:
    """Return every reference in a document."""
    if isinstance(part, list):
        return set().union(*map(refs, part))
    if not isinstance(part, dict):
        return set()
    own = {part["$ref"]} if isinstance(part.get("$ref"), str) else set()
    return own.union(*map(refs, part.values()))


def test_the_api_describes_itself(same_nursery: Nursery):
    said = same_nursery.call("GET", "/api/openapi.json").json
    assert said["openapi"].startswith("3.1")
    routes = {
        (rule.rule.replace("<string:", "{").replace(">", "}"), method)
        for rule in same_nursery.app.url_map.iter_rules()
        if rule.rule.startswith("/api/v1/")
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    described = {
        (path, method.upper())
        for path, methods in said["paths"].items()
        for method in methods
        if method != "parameters"
    }
    assert described == routes
    for ref in refs(said):
        part = said
        for name in ref.removeprefix("#/").split("/"):
            part = part[name]
    error = said["components"]["responses"]["DEFAULT_ERROR"]
    assert list(error["content"]) == ["application/problem+json"]


def test_the_api_describes_every_event_kind_and_who_may_come_in(same_nursery: Nursery):
    said = same_nursery.call("GET", "/api/openapi.json").json
    looked = said["components"]["schemas"]["looked"]["properties"]
    assert looked["moisture"] == {"type": ["integer", "null"], "minimum": 1, "maximum": 5}
    assert looked["fungus"]["enum"] == ["none", "spots", "spreading", None]
    counted = said["components"]["schemas"]["counted"]
    assert counted["required"] == ["emerged", "out_of"]
    assert set(said["components"]["securitySchemes"]) == {"token", "phone"}
    push = said["paths"]["/api/v1/sync/push"]["post"]
    assert push["requestBody"]["content"]["application/json"]["schema"]["$ref"].endswith("/Push")
    assert said["paths"]["/api/v1/pairings/redeem"]["post"]["security"] == []


def test_the_outer_door_is_closed_to_what_is_no_request(same_nursery: Nursery):
    """A lifespan message of the HTTP server is let through and answered with nothing."""
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "lifespan.startup"}

    async def send(message: Any) -> None:
        sent.append(message)

    door = Door(same_nursery.app.wsgi_app)
    # In a thread of its own: a browser's loop may be running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, door({"type": "lifespan"}, receive, send)).result()
    assert sent == []
