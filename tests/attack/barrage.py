"""Random requests made from the API's own document, right ones and wrong ones, by schemathesis.

    python -m tests.attack.barrage --requests 20000 --seed 1

No answer may be a fault (5xx), none may differ from the document in status, type, headers or body.
The same seed sends the same requests. The exit status is the number of operations that failed.
"""

import argparse
import tempfile
import uuid
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zlib import crc32

import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings, strategies
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.specs.openapi import checks as conformance

from lathhouse.app import create_app
from lathhouse.demo.load import load
from lathhouse.reminders.clock import catch_up
from lathhouse.settings import Settings
from lathhouse.store.models import db
from tests.photos import jpeg, name_of, put
from tests.server import NO_BOUND, Clock, Nursery

CHECKS = [
    schemathesis.checks.not_a_server_error,
    conformance.status_code_conformance,
    conformance.content_type_conformance,
    conformance.response_headers_conformance,
    conformance.response_schema_conformance,
]
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
# What only a phone may ask.
PHONES_OWN = ("/reminders", "/session/person")
PICTURE = jpeg()
schemathesis.openapi.media_type(
    "image/jpeg", strategies.one_of(strategies.just(PICTURE), strategies.binary(max_size=500))
)
Tried = Callable[[Any], None]


class Target:
    """The demo nursery's server, a script and a phone of its owner, and real ids to ask for."""

    def __init__(self, folder: Path) -> None:
        clock = Clock()
        app = create_app(Settings(data=folder, now_ms=clock, requests_a_minute=NO_BOUND))
        with app.app_context():
            load(app.config["SITE_ID"], clock(), 0)
            catch_up(app.config["SITE_ID"], clock())
        self.nursery = Nursery(app, clock)
        self.script = {"Authorization": f"Bearer {self.nursery.token('owner')}"}
        self.phone = dict([self._paired().split("=", 1)])
        self.ids = self._ids()
        self.answers: Counter[int] = Counter()

    def _paired(self) -> str:
        link = self.nursery.call("POST", "/api/v1/pairings", {"role": "owner"}).json["link"]
        body = {"secret": link.rsplit("/", 1)[1], "device": str(uuid.uuid4())}
        said = self.nursery.client.post("/api/v1/pairings/redeem", json=body)
        return str(said.headers["Set-Cookie"].partition(";")[0])

    def _ids(self) -> dict[str, str]:
        alerts = self.nursery.call("GET", "/api/v1/alerts?limit=1").json["alerts"]
        # Another's than the script's, which renews its own again and again.
        secret = self.nursery.call("POST", "/api/v1/calendar", {}, "viewer").json["address"]
        return {
            "alert_id": alerts[0]["id"],
            "crop_id": "acer-palmatum",
            "watch_id": "look-due",
            "sha256": self._photo(),
            "secret": secret.rsplit("/", 1)[1].removesuffix(".ics"),
        }

    def _photo(self) -> str:
        """Put a record with its picture there, and return its name."""
        self.nursery.device().record("photographed", None, {"sha256": name_of(PICTURE)})
        assert put(self.nursery, PICTURE).status_code == 200
        return name_of(PICTURE)

    def operations(self) -> list[Any]:
        """Return every operation of the API's document."""
        schema = schemathesis.openapi.from_wsgi(
            "/api/openapi.json", self.nursery.app, headers=self.script
        )
        return [found.ok() for found in schema.get_all_operations()]

    def try_one(self, case: Any) -> None:
        """Send one request, every other one about something that there is, and judge the answer."""
        for name, known in self.ids.items():
            drawn = (case.path_parameters or {}).get(name)
            if drawn is not None and crc32(repr(drawn).encode()) % 2:
                case.path_parameters[name] = known
        # Signed in, rather than with the random secrets that the document's ways in give.
        of_phone = any(part in case.operation.path for part in PHONES_OWN)
        case.cookies = self.phone if of_phone else {}
        drawn_headers = case.headers or {}
        for name in ("Authorization", "Cookie"):
            drawn_headers.pop(name, None)
        # Unpacked: the in-process transport does not read a packed answer.
        headers = {"Accept-Encoding": "identity", **({} if of_phone else self.script)}
        response = case.call(headers=headers)
        self.answers[response.status_code] += 1
        case.validate_response(response, checks=CHECKS)

    def close(self) -> None:
        """Let go of the database."""
        with self.nursery.app.app_context():
            db.engine.dispose()


def barrage(
    target: Target, requests: int, number: int, tell: Callable[[str], None] = lambda _: None
) -> dict[str, str]:
    """Send about so many requests; return {operation: what went wrong} of those that failed."""
    operations = target.operations()
    each = max(requests // (len(operations) * len(MODES)), 1)
    failed: dict[str, str] = {}
    for operation in operations:
        for mode in MODES:
            try:
                fire(operation.as_strategy(generation_mode=mode), target.try_one, each, number)
            except Unsatisfiable:
                # Nothing is wrong for it: no body, no query, and any text does as its address.
                continue
            except (Exception, BaseExceptionGroup) as error:
                # Told of together with the other operations', at the end.
                failed[f"{operation.label}, {mode.value}"] = f"{type(error).__name__}: {error}"
        tell(f"{operation.label}: {sum(target.answers.values())} sent, {len(failed)} failed")
    return failed


def fire(cases: Any, tried: Tried, examples: int, number: int) -> None:
    """Have so many cases of one operation tried."""

    @seed(number)
    @settings(
        max_examples=examples,
        database=None,
        deadline=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases)
    def each(case: Any) -> None:
        tried(case)

    each()


def main() -> int:
    """Run it from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        target = Target(Path(folder))
        failed = barrage(target, asked.requests, asked.seed, print)
        target.close()
    for name, said in failed.items():
        print(f"--- {name}\n{said}\n")
    told = ", ".join(f"{count} x {status}" for status, count in sorted(target.answers.items()))
    print(f"{sum(target.answers.values())} requests: {told}; {len(failed)} operations failed")
    return len(failed)


if __name__ == "__main__":
    raise SystemExit(main())
