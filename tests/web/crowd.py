"""A crowd that writes to one server at once, each in its own way, and phones that follow it all."""

import threading
import time
import uuid
from http.client import HTTPException
from typing import Any

from lathhouse.domain.instants import to_text
from tests.web.test_serve import Answer, Serving

ROUNDS, PHONES = 3, 8
WITHIN_SECONDS = 120
Data = dict[str, Any]


def now() -> str:
    return to_text(time.time_ns() // 10**6)


class Member(threading.Thread):
    """Somebody who does the same `ROUNDS` times, and asks again whatever has no answer."""

    def __init__(self, server: Serving, tokens: dict[str, str], shared: Data) -> None:
        super().__init__(daemon=True)
        self.server, self.tokens, self.shared = server, tokens, shared
        self.device, self.seq = str(uuid.uuid4()), 0
        self.done = 0
        self.stored: list[str] = []
        self.revisions: list[int] = []
        self.asked_anew = 0
        self.failed: BaseException | None = None

    def run(self) -> None:
        try:
            for number in range(ROUNDS):
                self.act(number)
                self.done += 1
        except BaseException as error:
            self.failed = error

    def act(self, number: int) -> None:
        raise NotImplementedError

    def ask(
        self, method: str, path: str, body: Any = None, token: str = "", **headers: str
    ) -> Answer:
        """Ask until there is an answer: its process may have died, or it was not let in in time."""
        until = time.monotonic() + WITHIN_SECONDS
        while True:
            assert time.monotonic() < until
            try:
                said = self.server.call(method, f"/api/v1/{path}", body, token, **headers)
            except (OSError, HTTPException):
                self.asked_anew += 1
                continue
            if said.status != 503:
                return said

    def event(self, kind: str, lot: str | None, data: Data) -> Data:
        self.seq += 1
        event = {"id": str(uuid.uuid4()), "seq": self.seq, "kind": kind, "lot": lot, "data": data}
        return event | {"observed_at": now(), "by": None}

    def push(self, events: list[Data], token: str = "", **headers: str) -> None:
        """Send a batch twice, as after a lost answer: it is stored once."""
        body, ids = {"device": self.device, "events": events}, [event["id"] for event in events]
        for again in (False, True):
            before = self.asked_anew
            said = self.ask("POST", "sync/push", body, token, **headers)
            assert said.status == 200, said.body
            assert said.json["refused"] == []
            stored, already = said.json["stored"], said.json["already"]
            if again or (self.asked_anew > before and already):
                assert (stored, already) == ([], ids)
            else:
                assert (stored, already) == (ids, [])
            assert said.json["next_seq"] == self.seq + 1
            self.revisions.append(said.json["revision"])
        self.stored += ids


class Grower(Member):
    """Looks at a lot of its own, and at one that everybody looks at."""

    def act(self, number: int) -> None:
        start = {"crop": "acer-palmatum", "label": "26-1", "quantity": 18, "unit": "seeds"}
        own = ("looked", {"moisture": 3}) if number else ("lot_started", start)
        looks = [self.event(own[0], self.device, own[1])]
        looks.append(self.event("looked", self.shared["lot"], {"moisture": 4}))
        self.push(looks, self.tokens["owner"])


class Mover(Member):
    """Changes a place that others change and read, and one of its own."""

    def act(self, number: int) -> None:
        rows = [(self.shared["place"], f"Fridge {number}"), (self.device, f"Bench {number}")]
        self.push(
            [
                self.event("place_changed", None, {"id": place, "name": name, "order": number})
                for place, name in rows
            ],
            self.tokens["owner"],
        )


class Probe(Member):
    """A sensor: all of them are one device, since they have one token."""

    def act(self, number: int) -> None:
        reading = {"place": self.shared["place"], "quantity_kind": "temp_c", "value": 4 + number}
        reading |= {"id": str(uuid.uuid4()), "read_at": now()}
        for name in ("stored", "already"):
            before = self.asked_anew
            said = self.ask("POST", "readings", {"readings": [reading]}, self.tokens["sensor"])
            assert said.status == 200, said.body
            assert said.json[name] == [reading["id"]] or self.asked_anew > before
        self.stored.append(reading["id"])


class Answerer(Member):
    """Takes on, or leaves until later, the alerts that others answer too."""

    def act(self, number: int) -> None:
        owner = self.tokens["owner"]
        found = self.ask("GET", "alerts?state=standing&limit=1000", token=owner).json["alerts"]
        for alert in (one for one in found if one["watch"] == "cold-never-looked"):
            path, later = f"alerts/{alert['id']}", {"until": "2099-01-01", "why": "away"}
            for verb, body in (("shelve", later), ("acknowledge", {})):
                said = self.ask("POST", f"{path}/{verb}", body, owner)
                assert said.status == 200, said.body
                assert said.json["state"] in ("shelved", "acknowledged")


class Pairer(Member):
    """Lets a phone in, which sends something, and cuts it off; what it has not sent stays on it."""

    def act(self, number: int) -> None:
        owner = self.tokens["owner"]
        while (said := self.redeem(owner)).status != 200:
            # Good once: the process that had it died after all was written.
            assert said.status == 403, said.body
            assert self.asked_anew
        cookie = said.headers["set-cookie"].partition(";")[0]
        self.push([self.event("noted", None, {"text": "here"})], cookie=cookie)
        before = self.asked_anew
        said = self.ask("POST", f"phones/{self.device}/cut-off", {}, owner)
        assert said.status == 200 or self.asked_anew > before, said.body
        body = {"device": self.device, "events": [self.event("noted", None, {"text": "unsent"})]}
        self.seq -= 1
        assert self.ask("POST", "sync/push", body, cookie=cookie).status == 401

    def redeem(self, owner: str) -> Answer:
        made = self.ask("POST", "pairings", {"role": "worker", "person": None}, owner)
        assert made.status == 201, made.body
        secret = made.json["link"].rsplit("/", 1)[1]
        phone = {"secret": secret, "device": self.device, "name": "A phone"}
        return self.ask("POST", "pairings/redeem", phone)


CROWD = (*[Grower] * PHONES, Mover, Mover, Probe, Probe, Answerer, Answerer, Pairer, Pairer)


class Puller(Member):
    """A phone that pulls all the while, and reads the log as it grows, never from the start."""

    def __init__(self, server: Serving, token: str, limit: int = 40) -> None:
        super().__init__(server, {"owner": token}, {})
        self.over, self.limit = threading.Event(), limit
        self.cursor, self.after, self.pulls = "0", "", 0
        self.whole_up_to = 0
        self.rows: dict[tuple[str, str], Data] = {}
        self.events: list[Data] = []

    def run(self) -> None:
        try:
            while not self.over.is_set():
                self.look()
        except BaseException as error:
            self.failed = error

    def look(self) -> None:
        """Take what is new, to the end of it."""
        more = True
        while more:
            page = self.get(f"sync/pull?after={self.cursor}&limit={self.limit}")
            for kind, rows in page["rows"].items():
                for row in rows:
                    # All up to there was pulled: nothing may come in below it any more.
                    assert row["revision"] > self.whole_up_to, "a gap was filled later (FAULTS F8)"
                    self.rows[(kind, row["id"])] = row
            self.cursor, more = page["cursor"], page["more"]
            self.whole_up_to = self.whole_up_to if more else page["revision"]
            self.pulls += 1
        self.read_on()

    def read_on(self) -> None:
        """Read the log on from where it ended."""
        page = self.get(f"events?limit=20{self.after}")
        while True:
            for event in page["events"]:
                if event["position"] > len(self.events):
                    assert event["position"] == len(self.events) + 1, "the log had a gap"
                    self.events.append(event)
            if page["next"] is None:
                return
            self.after = f"&after={page['next']}"
            page = self.get(f"events?limit=20{self.after}")

    def get(self, path: str) -> Data:
        said = self.ask("GET", path, token=self.tokens["owner"])
        assert said.status == 200, said.body
        answer: Data = said.json
        return answer

    @property
    def standing(self) -> dict[tuple[str, str], int]:
        """Return {row: its revision} without the alerts that are over: no first pull has those."""
        return {
            at: row["revision"]
            for at, row in self.rows.items()
            if at[0] != "alerts" or row["cleared_at"] is None
        }
