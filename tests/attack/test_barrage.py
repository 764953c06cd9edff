"""Three thousand random requests from the API's own document: no fault, and no answer unlike it."""

from collections.abc import Iterator

import pytest

from tests.attack.barrage import Target, barrage

REQUESTS, SEED = 3000, 20260910
METHODS = ("get", "post", "put", "patch", "delete")


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    """The demo nursery's server."""
    opened = Target(tmp_path_factory.mktemp("barrage"))
    yield opened
    opened.close()


def test_random_requests_meet_no_fault_and_no_answer_unlike_the_document(target: Target):
    """Statuses, types, headers and bodies; the command sends as many as wanted."""
    assert barrage(target, REQUESTS, SEED) == {}
    assert sum(target.answers.values()) > REQUESTS * 0.7
    # Not all of them were refused at the door.
    assert target.answers[200] > REQUESTS * 0.2


def test_every_operation_is_described_with_what_it_takes_and_answers(target: Target):
    """A new route needs its schemas in web/bodies.py; it is named here otherwise."""
    paths = target.nursery.call("GET", "/api/openapi.json").json["paths"]
    rules = target.nursery.app.url_map.iter_rules()
    served = {
        rule.rule.replace("<string:", "{").replace(">", "}")
        for rule in rules
        if rule.rule.startswith("/api/v1/")
    }
    assert served == set(paths)
    every = [
        (method, path, one)
        for path, methods in paths.items()
        for method, one in methods.items()
        if method in METHODS
    ]
    mute = [
        f"{method} {path}"
        for method, path, one in every
        if not any("content" in said for code, said in one["responses"].items() if code[0] == "2")
    ]
    assert mute == [], "needs its answer's schema in web/bodies.py"
    bodiless = [
        f"{method} {path}"
        for method, path, one in every
        if method in ("post", "put", "patch") and "requestBody" not in one
    ]
    assert bodiless == [], "needs its body's schema in web/bodies.py"
