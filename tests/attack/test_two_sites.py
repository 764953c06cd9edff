"""Nobody reads or touches another nursery's record: every route, everybody, another site's ids.

Insecure direct object references (OWASP ASVS 5.0, V8.2.2; CWE-639), from the route map itself.
"""

import json
import re
import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from lathhouse.domain.instants import to_text
from tests.attack.doors import ALL, DOORS, PHONES, SCRIPTS, STRANGERS
from tests.attack.two_sites import (
    MARK,
    Caller,
    Other,
    callers,
    rows_of,
    settle_beside,
    told_of,
)
from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery


class House:
    """Our server, the other nursery in its database, and everybody who comes to the door."""

    def __init__(self, nursery: Nursery) -> None:
        self.nursery, self.other = nursery, settle_beside(nursery)
        self.callers: dict[str, Caller] = callers(nursery, self.other)

    def others_rows(self) -> dict[str, list[dict[str, Any]]]:
        with self.nursery.app.app_context():
            return rows_of(self.other.site, to_text(self.nursery.clock.ms))


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One database for the whole file: whatever is asked here leaves the other's rows alone."""
    folder = tmp_path_factory.mktemp("two")
    nursery = open_nursery(address_for(folder / "l.sqlite"), folder / "data", Clock())
    yield House(nursery)
    close_nursery(nursery)


def routes(nursery: Nursery) -> set[tuple[str, str]]:
    """Return (method, rule) of every route of the application."""
    return {
        (method, rule.rule)
        for rule in nursery.app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }


def test_every_route_says_what_it_answers_about_another_nursery(house: House):
    """A route without a line in DOORS is named here; so is a line without a route."""
    assert sorted(routes(house.nursery) - DOORS.keys()) == [], "needs a line in attack/doors.py"
    assert sorted(DOORS.keys() - routes(house.nursery)) == [], "is no route any more"
    assert house.callers.keys() == ALL


def test_the_other_nursery_has_one_of_everything(house: House):
    """Otherwise nothing could leak, and these tests would hold of themselves."""
    rows = house.others_rows()
    mute = {"backups", "refusals", "calendar_entries"}
    assert sorted(name for name, found in rows.items() if not found and name not in mute) == []
    assert MARK in json.dumps(rows["subjects"])


def address(rule: str, ids: str | None, query: str, other: Other) -> str:
    """Return a rule's address with the other nursery's ids in it."""
    path = re.sub("<[^>]*>", other[ids] if ids else "", rule)
    return f"{path}?{query.format(**other.ids)}" if query else path


@pytest.mark.parametrize(("method", "rule"), DOORS, ids=lambda one: one)
def test_nobody_is_told_of_another_nursery(house: House, method: str, rule: str):
    """Each answer is the one expected, says nothing of the other's rows, and changes none."""
    door, other, before = DOORS[method, rule], house.other, house.others_rows()
    path = address(rule, door.ids, door.query, other)
    body = door.body(other)
    sent = path + json.dumps(body, default=repr)
    for name, caller in house.callers.items():
        # Nobody sends as another's device, and no two tokens have one name: each has its own.
        if rule.endswith("/sync/push"):
            body = {**body, "device": str(uuid.uuid5(uuid.NAMESPACE_OID, name))}
        elif (method, rule) == ("POST", "/api/v1/tokens"):
            body = {**body, "name": name}
        said = caller.ask(method, path, body)
        expected = door.said if name in door.may else 401 if name in STRANGERS else door.others
        assert said.status_code == expected, (name, said.status_code, said.get_data(as_text=True))
        assert told_of(said, other, sent) == [], name
        if expected >= 400:
            assert said.content_type == "application/problem+json", name
    assert house.others_rows() == before


def test_what_is_asked_for_by_query_comes_back_empty(house: House):
    """Not only unmarked: a filter by another nursery's ids finds nothing at all."""
    for name in (SCRIPTS | PHONES) & DOORS["GET", "/api/v1/events"].may:
        found = house.callers[name].ask("GET", f"/api/v1/events?lot={house.other['lot']}", None)
        assert found.json == {"events": [], "next": None}, name


def test_a_record_under_another_nurserys_id_is_a_record_of_our_own(house: House):
    """It is stored, never called already there: that would tell that the id is taken."""
    owner = house.callers["owner's token"]
    offered = {"device": house.other["device"], "ids": [house.other["delivery"]]}
    assert owner.ask("POST", "/api/v1/sync/offer", offered).json["missing"] == offered["ids"]
    event = {"id": house.other["device"], "seq": 1, "kind": "noted", "data": {"text": "ours"}}
    event |= {"lot": None, "observed_at": "2026-09-10T08:00:00+10:00"}
    pushed = {"device": "00000000-0000-4000-8000-00000000bbbb", "events": [event]}
    assert owner.ask("POST", "/api/v1/sync/push", pushed).json["stored"] == [event["id"]]
