"""What every route must say to everybody who asks it for another nursery's things.

A new route needs a line here: `test_two_sites.py` fails by its name otherwise. `may` says who is
let in at all; everybody else gets 401 without credentials that hold, 403 with too small a role.
`said` is the answer to whoever is let in, and asks with ids that are another nursery's.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.attack.two_sites import MARK, PASSPHRASE, PICTURE, SUBSCRIPTION, Other
from tests.saved_file import write_saved_file

SCRIPTS = {"owner's token", "worker's token", "viewer's token", "sensor's token"}
PHONES = {"owner's phone", "worker's phone", "viewer's phone"}
OWNERS = {"owner's token", "owner's phone"}
WRITERS = OWNERS | {"worker's token", "worker's phone"}
READERS = WRITERS | {"viewer's token", "viewer's phone"}
SENSORS = WRITERS | {"sensor's token"}
STRANGERS = {
    "nobody", "cut-off phone", "revoked token", "other site's token", "other site's phone",
}  # fmt: skip
ALL = SCRIPTS | PHONES | STRANGERS
Make = Callable[[Other], Any]


def nothing(_: Other) -> Any:
    """Send no body."""
    return None


def empty(_: Other) -> Any:
    """Send an empty object."""
    return {}


@dataclass(frozen=True)
class Door:
    """A route's expectation; `ids` fills the gaps of its address, and `query` follows it."""

    may: set[str]
    said: int
    ids: str | None = None
    query: str = ""
    body: Make = nothing
    # What those who are known, and not let in, get where it is not 403.
    others: int = 403


def pushed(other: Other) -> Any:
    """Send records about the other nursery's lot, alert and event, under one of its event's ids."""
    about = [
        ("acknowledged", None, {"alert": other["alert"]}),
        ("amended", None, {"of": other["event"], "data": {"note": "ours now"}}),
        ("noted", other["pushed"], {"text": "what is this lot?"}),
    ]
    at = "2026-09-10T08:00:00+10:00"
    events = [
        {"id": f"00000000-0000-4000-8000-{seq:012}", "seq": seq, "kind": kind, "lot": lot}
        | {"observed_at": at, "by": None, "data": data}
        for seq, (kind, lot, data) in enumerate(about, start=1)
    ]
    events.append({**events[0], "id": other["event"], "seq": 4})
    return {"device": "00000000-0000-4000-8000-00000000aaaa", "events": events}


def saved(other: Other) -> Any:
    """Send a file of records as the other nursery's phone, which says nothing of its home."""
    head = {"site": None, "device": other["phone"], "made_at": "", "skew_ms": 0}
    return {"text": write_saved_file({**head, "events": pushed(other)["events"]})}


DOORS: dict[tuple[str, str], Door] = {
    ("POST", "/api/v1/sync/push"): Door(WRITERS, 200, body=pushed),
    ("POST", "/api/v1/sync/offer"): Door(
        SENSORS, 200, body=lambda other: {"device": other["device"], "ids": [other["event"]]}
    ),
    ("GET", "/api/v1/sync/pull"): Door(READERS, 200, query="after=0&limit=1000"),
    ("GET", "/api/v1/events"): Door(READERS, 200, query="lot={lot}&limit=1000"),
    ("GET", "/api/v1/alerts"): Door(READERS, 200, query="state=standing&after={alert}"),
    ("GET", "/api/v1/alerts/past"): Door(READERS, 200, query="days=366"),
    ("GET", "/api/v1/alerts/figures"): Door(READERS, 200, query="days=366"),
    ("POST", "/api/v1/alerts/<string:alert_id>/acknowledge"): Door(
        WRITERS, 404, "alert", body=empty
    ),
    ("POST", "/api/v1/alerts/<string:alert_id>/shelve"): Door(
        WRITERS, 404, "alert", body=lambda _: {"until": "2026-09-12", "why": "mine"}
    ),
    ("GET", "/api/v1/session"): Door(SCRIPTS | PHONES, 200),
    ("POST", "/api/v1/pairings"): Door(
        OWNERS, 201, body=lambda other: {"role": "owner", "person": other["person"]}
    ),
    # Open to all: what lets somebody in is the link, and this one is the other nursery's.
    ("POST", "/api/v1/pairings/redeem"): Door(
        ALL, 403, body=lambda other: {"secret": other["link"], "device": other["phone"]}
    ),
    # Open to all: what lets somebody in is a passphrase or a link, the other nursery's here.
    ("POST", "/api/v1/session/sign-in"): Door(
        ALL,
        403,
        body=lambda other: {
            "name": f"{MARK} Orla",
            "passphrase": PASSPHRASE,
            "device": other["phone"],
        },
    ),
    ("POST", "/api/v1/passphrases/redeem"): Door(
        ALL,
        403,
        body=lambda other: {
            "secret": other["link"],
            "new": "quiet gate under snow",
            "device": other["phone"],
        },
    ),
    ("POST", "/api/v1/session/passphrase"): Door(
        PHONES, 403, body=lambda _: {"new": "quiet gate under snow"}
    ),
    # Nobody's own phone signs nobody else out.
    ("POST", "/api/v1/session/sign-out"): Door(PHONES, 403, body=lambda _: {"everywhere": True}),
    ("POST", "/api/v1/people/<string:person>/passphrase-link"): Door(
        OWNERS, 404, "person", body=empty
    ),
    ("GET", "/api/v1/tokens"): Door(OWNERS, 200),
    ("POST", "/api/v1/tokens"): Door(
        OWNERS, 201, body=lambda _: {"name": "probe", "role": "sensor"}
    ),
    ("POST", "/api/v1/tokens/<string:token_id>/revoke"): Door(OWNERS, 404, "lot", body=empty),
    ("POST", "/api/v1/calculations/<string:name>"): Door(READERS, 404, "watch", body=empty),
    ("GET", "/api/v1/crops"): Door(READERS, 200),
    ("GET", "/api/v1/crops/<string:crop_id>"): Door(READERS, 404, "crop"),
    ("POST", "/api/v1/readings"): Door(
        SENSORS, 422, body=lambda other: {"place": other["place"], "value": 4}
    ),
    ("POST", "/api/v1/forecasts"): Door(
        SENSORS, 422, body=lambda other: {"forecast": [], "place": other["place"]}
    ),
    ("POST", "/api/v1/saved-files"): Door(WRITERS, 422, body=saved),
    ("GET", "/api/v1/photos/<string:sha256>"): Door(READERS, 404, "photo"),
    # Even with the right octets: no record of ours names it.
    ("PUT", "/api/v1/photos/<string:sha256>"): Door(WRITERS, 409, "photo", body=lambda _: PICTURE),
    ("GET", "/api/v1/phones"): Door(OWNERS, 200),
    ("POST", "/api/v1/phones/<string:phone>/cut-off"): Door(OWNERS, 404, "phone", body=empty),
    ("GET", "/api/v1/name-move"): Door(READERS, 200),
    # No name is on the move there; a script holds under every name.
    ("POST", "/api/v1/name-move/link"): Door(PHONES, 409, body=empty),
    ("POST", "/api/v1/name-move/end"): Door(OWNERS, 409, body=empty),
    ("POST", "/api/v1/watches/<string:watch_id>/preview"): Door(OWNERS, 404, "watch", body=empty),
    # A phone's own: a script has none of it, whatever its role.
    ("GET", "/api/v1/reminders"): Door(PHONES, 200),
    ("POST", "/api/v1/reminders/subscriptions"): Door(
        PHONES, 201, body=lambda _: {**SUBSCRIPTION, "endpoint": "https://push.example/ours"}
    ),
    # The same answer whether there is one or not.
    ("DELETE", "/api/v1/reminders/subscriptions/<string:subscription>"): Door(
        PHONES, 200, "subscription"
    ),
    ("POST", "/api/v1/reminders/test"): Door(PHONES, 202, body=empty),
    ("GET", "/api/v1/deliveries"): Door(PHONES | OWNERS, 200, query="after={delivery}"),
    ("POST", "/api/v1/session/person"): Door(
        PHONES, 422, body=lambda other: {"person": other["person"]}
    ),
    ("GET", "/api/v1/morning"): Door(READERS, 200),
    ("GET", "/api/v1/calendar"): Door(READERS, 200),
    ("POST", "/api/v1/calendar"): Door(READERS, 201, body=empty),
    ("DELETE", "/api/v1/calendar"): Door(READERS, 200),
    # Guarded by the secret in its address alone, and this one is the other nursery's.
    ("GET", "/api/v1/calendar/<string:secret>.ics"): Door(ALL, 404, "secret"),
    ("GET", "/health"): Door(ALL, 200),
    # Nobody runs the clock there, so it is not ready; the figures are for this very machine.
    ("GET", "/ready"): Door(ALL, 503),
    ("GET", "/metrics"): Door(ALL, 200),
    ("GET", "/api/openapi.json"): Door(SCRIPTS | PHONES, 200),
    ("GET", "/"): Door(ALL, 200),
    ("GET", "/<file:path>"): Door(ALL, 404, "lot"),
}
