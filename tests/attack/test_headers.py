"""The headers of every answer, and the cookies: OWASP ASVS 5.0, V3.3 and V3.4."""

import re
import uuid
from typing import Any

import pytest

from tests.attack.doors import DOORS
from tests.server import Nursery

SEALED = "https://localhost"


def directives(said: Any) -> dict[str, list[str]]:
    """Return a policy as {directive: sources} (CSP 3, section 2.2)."""
    policy = said.headers["Content-Security-Policy"]
    parts = [part.split() for part in policy.split(";") if part.strip()]
    return {name: sources for name, *sources in parts}


@pytest.mark.parametrize(("method", "rule"), DOORS, ids=lambda one: one)
def test_every_answer_of_every_route_is_closed_to_scripts_frames_and_guessing(
    same_nursery: Nursery, method: str, rule: str
):
    path = re.sub("<[^>]*>", "nothing", rule)
    for role in ("owner", None):
        said = same_nursery.call(method, path, {} if method == "POST" else None, role)
        policy = directives(said)
        assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == ["'none'"]
        every = [source for sources in policy.values() for source in sources]
        assert not [one for one in every if "unsafe" in one or one in ("*", "http:", "https:")]
        assert policy["default-src"] in (["'self'"], ["'none'"])
        assert said.headers["X-Content-Type-Options"] == "nosniff"
        assert said.headers["Referrer-Policy"] == "no-referrer"
        assert said.headers["Cross-Origin-Opener-Policy"] == "same-origin"
        assert said.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "Access-Control-Allow-Origin" not in said.headers
        kind = said.content_type or ""
        assert "charset=utf-8" in kind or not kind.startswith("text/")
        if rule.startswith("/api/"):
            kept = said.headers["Cache-Control"]
            assert kept == "no-store" or (".ics" in rule and "private" in kept)


def test_https_is_kept_to_for_a_year_by_all_subdomains_and_only_said_over_https(
    same_nursery: Nursery,
):
    for path in ("/", "/api/v1/alerts", "/health", "/nowhere"):
        sealed = same_nursery.client.get(path, base_url=SEALED)
        said = sealed.headers["Strict-Transport-Security"]
        assert int(re.match(r"max-age=(\d+)", said)[1]) >= 365 * 86_400  # type: ignore[index]
        assert "includeSubDomains" in said
        plain = same_nursery.client.get(path)
        assert "Strict-Transport-Security" not in plain.headers


def paired(nursery: Nursery, where: str) -> Any:
    link = nursery.call("POST", "/api/v1/pairings", {}).json["link"]
    body = {"secret": link.rsplit("/", 1)[1], "device": str(uuid.uuid4())}
    phone = nursery.app.test_client(use_cookies=False)
    return phone.post("/api/v1/pairings/redeem", json=body, base_url=where)


def ask(nursery: Nursery, cookies: str, where: str = SEALED) -> int:
    phone = nursery.app.test_client(use_cookies=False)
    headers = {"Cookie": cookies}
    return int(phone.get("/api/v1/session", headers=headers, base_url=where).status_code)


def test_over_https_a_cookie_is_this_hosts_alone(same_nursery: Nursery):
    """RFC 6265bis 4.1.3.2: `__Host-` asks for Secure, Path=/ and no Domain."""
    said = paired(same_nursery, SEALED).headers["Set-Cookie"]
    name, *attributes = [part.strip() for part in said.split(";")]
    assert name.startswith("__Host-lathhouse_session=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Strict"} <= set(attributes)
    assert not [one for one in attributes if one.lower().startswith("domain")]
    assert ask(same_nursery, name) == 200
    # Over a plain line nobody could have set it so: it is no way in there.
    assert ask(same_nursery, name, "http://localhost") == 401


def test_a_planted_cookie_does_not_go_before_the_sealed_one(same_nursery: Nursery):
    good = paired(same_nursery, SEALED).headers["Set-Cookie"].partition(";")[0]
    assert ask(same_nursery, f"lathhouse_session=planted; {good}") == 200
    secret = good.partition("=")[2]
    assert ask(same_nursery, f"lathhouse_session={secret}; __Host-lathhouse_session=x") == 401


def test_a_phone_that_was_paired_under_the_plain_name_is_still_let_in(same_nursery: Nursery):
    plain = paired(same_nursery, "http://localhost").headers["Set-Cookie"].partition(";")[0]
    assert plain.startswith("lathhouse_session=")
    assert ask(same_nursery, plain) == 200
