"""Identifiers and instants as their standards print them, on both sides."""

import hashlib
import json
import os
import random
import uuid
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.ids import alert_id, uuid7
from lathhouse.domain.instants import BadInstant, parse_instant, to_text
from tests.parity.twins import called_in_browser, in_browser

TABLE = json.loads(
    (Path(__file__).parent.parent / "reference" / "vectors_protocols.json").read_text("utf-8")
)
VECTORS = {vector["id"]: vector for vector in TABLE["vectors"]}


def vector(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a vector's inputs and what is expected; its source stands beside it."""
    found = VECTORS[name]
    assert found["source"] in TABLE["sources"]
    assert found["where"]
    return found["inputs"], found["expected"]


def parsed_in_python(text: str) -> int | None:
    """Return the milliseconds of a time, or None where it is refused."""
    try:
        return parse_instant(text)
    except BadInstant:
        return None


def parsed_in_browser(page: Page, texts: list[str]) -> list[int | None]:
    """Return what the phone makes of times; a refusal must be a BadInstant."""
    calls = [
        {"kind": "call", "module": "instants", "name": "parseInstant", "args": [text]}
        for text in texts
    ]
    answers = in_browser(page, calls)
    assert all(answer.get("refused", "BadInstant") == "BadInstant" for answer in answers)
    return [answer.get("value") for answer in answers]


def test_the_uuid7_of_rfc_9562_comes_out_of_its_parts(core_page: Page):
    inputs, expected = vector("uuid7")
    ours = uuid7(inputs["unix_ts_ms"], bytes.fromhex(inputs["random_hex"]))
    noise = {"hex": inputs["random_hex"]}
    theirs = called_in_browser(core_page, "ids", "uuid7", inputs["unix_ts_ms"], noise)["value"]
    assert [ours, theirs] == [expected["uuid"]] * 2


def test_ids_made_without_arguments_have_the_version_and_variant_of_the_examples(core_page: Page):
    inputs, expected = vector("P08")
    example = inputs["uuids"][expected["versions"].index(7)]
    for made in (
        uuid7(1_645_557_742_000, os.urandom(10)),
        called_in_browser(core_page, "ids", "uuid7")["value"],
        example,
    ):
        assert (uuid.UUID(made).version, uuid.UUID(made).variant) == (7, uuid.RFC_4122)
        assert made == str(uuid.UUID(made))


def test_the_uuid5_of_rfc_9562(core_page: Page):
    inputs, expected = vector("uuid5")
    args = (inputs["namespace"], inputs["name"])
    assert called_in_browser(core_page, "alert_ids", "uuid5", *args)["value"] == expected["uuid"]
    assert str(uuid.uuid5(uuid.UUID(args[0]), args[1])) == expected["uuid"]


def test_the_phones_sha_1_is_that_of_python_around_every_block_boundary(core_page: Page):
    """The padding of FIPS 180-4 section 5.1.1 changes at 55, 56, 63 and 64 bytes."""
    texts = [random.Random(n).randbytes(n) for n in [*range(1, 131), 1000]]
    calls = [
        {"kind": "call", "module": "alert_ids", "name": "sha1", "args": [{"hex": text.hex()}]}
        for text in texts
    ]
    for text, answer in zip(texts, in_browser(core_page, calls), strict=True):
        assert bytes(answer["value"].values()) == hashlib.sha1(text).digest(), len(text)


@pytest.mark.parametrize("subject", ["p1", "Bänke №1", "0192F0C1-7B1A-7C3E-9D52-3F1C2A4B5D6E", ""])
def test_an_alert_has_the_same_id_on_both_sides(core_page: Page, subject: str):
    args = (subject, "cold-look", "2026-05-01T08:00:00.000Z")
    assert called_in_browser(core_page, "alert_ids", "alertId", *args)["value"] == alert_id(*args)


@pytest.mark.parametrize("name", ["rfc3339-examples", "P33"])
def test_times_of_rfc_3339_are_read_with_their_offsets_and_leap_seconds(core_page: Page, name: str):
    inputs, expected = vector(name)
    wanted = [parse_instant(text) for text in expected["utc"]]
    assert [parse_instant(text) for text in inputs["values"]] == wanted
    assert parsed_in_browser(core_page, inputs["values"]) == wanted


def test_what_rfc_3339_does_not_allow_is_refused(core_page: Page):
    inputs, expected = vector("P34")
    assert expected["accepted"] == [False] * len(inputs["values"])
    nothing = [None] * len(inputs["values"])
    assert [parsed_in_python(text) for text in inputs["values"]] == nothing
    assert parsed_in_browser(core_page, inputs["values"]) == nothing


def test_the_order_of_canonical_text_is_the_order_of_time(core_page: Page):
    inputs, expected = vector("P35")
    assert sorted(inputs["values"]) == expected["text_order"]
    in_time = sorted(inputs["values"], key=lambda text: to_text(parse_instant(text)))
    assert in_time == expected["time_order"]
    theirs = dict(
        zip(inputs["values"], parsed_in_browser(core_page, inputs["values"]), strict=True)
    )
    assert sorted(inputs["values"], key=lambda text: theirs[text] or 0) == expected["time_order"]


def test_a_thousand_times_right_or_slightly_wrong_are_read_alike(core_page: Page):
    pick = random.Random(3339)
    texts = ["0001-01-01T00:00:00+10:00", "9999-12-31T23:59:59-10:00", "0000-01-01T00:00:00Z"]
    for _ in range(1000):
        day = f"{pick.randint(1, 9999):04}-{pick.randint(0, 13):02}-{pick.randint(0, 32):02}"
        clock = (
            f"{pick.randint(0, 24):02}:{pick.randint(0, 60):02}:{pick.choice([0, 59, 60, 61]):02}"
        )
        fraction = pick.choice(["", ".5", ".123456789", ".", ",5"])
        offset = pick.choice(["Z", "z", "+10:00", "-00:00", "+23:59", "+24:00", "+0100", ""])
        texts.append(f"{day}{pick.choice('TTTTt ')}{clock}{fraction}{offset}")
    ours = [parsed_in_python(text) for text in texts]
    assert parsed_in_browser(core_page, texts) == ours
    assert sum(ms is not None for ms in ours) > 100
