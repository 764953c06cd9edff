"""Push messages as the standards have them: each step, the whole body, the signature, the key."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec

from lathhouse.reminders import webpush
from lathhouse.reminders.webpush import b64u, from_b64u
from tests.reminders.endpoint import CURVE, Browser, mac, verified

# RFC 8291 (Thomson, 2017) section 5 and appendix A; RFC 8292 (Thomson and Beverloo, 2017) section
# 2.4; each value with its place in the file.
FILE = Path(__file__).parent.parent / "reference" / "vectors_webpush.json"
VECTORS = {one["calc"]: one for one in json.loads(FILE.read_text("utf-8"))["vectors"]}


def private(text: str) -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int.from_bytes(from_b64u(text), "big"), CURVE)


def given() -> dict[str, Any]:
    return VECTORS["webpush_steps"]["inputs"]


def test_each_step_gives_the_standards_own_values():
    said, expected = given(), VECTORS["webpush_steps"]["expected"]
    own, theirs = private(said["as_private"]), from_b64u(said["ua_public"])
    assert b64u(webpush.raw(own)) == said["as_public"]
    auth, salt = from_b64u(said["auth_secret"]), from_b64u(said["salt"])
    found = webpush.steps(own, theirs, auth, salt)
    for name in ("ecdh_secret", "key_info", "ikm", "cek", "nonce"):
        assert b64u(getattr(found, name)) == expected[name], name
    # The two extracts lie within HKDF; here they are by themselves.
    assert b64u(mac(auth, found.ecdh_secret)) == expected["prk_key"]
    assert b64u(mac(salt, found.ikm)) == expected["prk"]


def test_the_body_of_the_standards_example_is_ours_to_the_octet_and_is_opened_again():
    said, whole = given(), VECTORS["webpush_open"]
    plain = from_b64u(said["plaintext_b64u"])
    own, salt = private(said["as_private"]), from_b64u(said["salt"])
    theirs, auth = from_b64u(said["ua_public"]), from_b64u(said["auth_secret"])
    body = webpush.encrypt(plain, theirs, auth, own, salt)
    assert b64u(body) == whole["inputs"]["body_b64u"]
    browser = Browser(private(said["ua_private"]), auth)
    assert browser.open(body).decode() == whole["expected"]["plaintext"]
    assert browser.open_by_library(body) == plain


@pytest.mark.parametrize("length", [0, 1, 1000, webpush.PLAIN_MAX_BYTES])
def test_a_fresh_message_is_opened_by_the_browser_and_by_an_independent_library(length: int):
    browser, plain = Browser(), os.urandom(length // 2) + b"\x01" * (length - length // 2)
    body = webpush.encrypt(plain, browser.public, browser.auth)
    assert browser.open(body) == plain
    assert browser.open_by_library(body) == plain
    assert len(body) <= 4096


def test_what_does_not_fit_one_record_or_is_no_key_is_refused():
    browser = Browser()
    with pytest.raises(ValueError, match="one record"):
        webpush.encrypt(b"x" * (webpush.PLAIN_MAX_BYTES + 1), browser.public, browser.auth)
    with pytest.raises(ValueError, match="Invalid EC key"):
        webpush.encrypt(b"x", b"\x04" + b"\x01" * 64, browser.auth)


def test_the_standards_own_token_is_verified_and_a_changed_one_is_not():
    said, expected = (VECTORS["vapid_verify"][name] for name in ("inputs", "expected"))
    header = f"vapid t={said['jwt']}, k={said['public_key']}"
    assert {**expected["claims"], "key": said["public_key"]} == verified(header)
    with pytest.raises(InvalidSignature):
        verified(header.replace(said["jwt"][:60], said["jwt"][:59] + "A"))


def test_our_token_says_to_whom_until_when_and_from_whom():
    """At most 24 hours: RFC 8292 section 2, kept well below since clocks differ."""
    key, now = ec.generate_private_key(CURVE), 1_789_000_000
    said = verified(webpush.signed(key, "https://push.example.net", "mailto:o@example.com", now))
    assert (said["aud"], said["sub"]) == ("https://push.example.net", "mailto:o@example.com")
    most = VECTORS["fact"]["expected"]["max_hours_after_request"] * 3600
    assert 3600 < said["exp"] - now < most
    assert said["key"] == b64u(webpush.raw(key))


def test_the_signing_key_is_made_once_and_only_its_owner_reads_it(tmp_path: Path):
    first = webpush.own_key(tmp_path)
    (file,) = tmp_path.iterdir()
    assert file.stat().st_mode & 0o777 == 0o600
    assert webpush.raw(webpush.own_key(tmp_path)) == webpush.raw(first)
