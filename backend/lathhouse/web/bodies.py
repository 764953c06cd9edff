"""The JSON schemas of requests and answers that no field class describes, for the API's document.

A schema says what an answer always holds; more may come with it. The bodies that come in are
checked by their views, in sentences.
"""

from typing import Any

from lathhouse.domain.calculations import CALCULATIONS

Data = dict[str, Any]
TEXT: Data = {"type": "string"}
WHOLE: Data = {"type": "integer"}
COUNT: Data = {"type": "integer", "minimum": 0}
NUMBER: Data = {"type": "number"}
FLAG: Data = {"type": "boolean"}
ANY_OBJECT: Data = {"type": "object"}
ANYTHING: Data = {}
ID: Data = {"type": "string", "format": "uuid"}
OCTETS: Data = {"type": "string", "format": "binary"}
TIME: Data = {"type": "string", "format": "date-time"}
ROLE: Data = {"enum": ["owner", "worker", "viewer"]}
ANY_ROLE: Data = {"enum": ["owner", "worker", "viewer", "sensor"]}


def maybe(schema: Data) -> Data:
    """Return a schema that takes null too."""
    return {"anyOf": [schema, {"type": "null"}]}


def listed(schema: Data) -> Data:
    """Return a list of these."""
    return {"type": "array", "items": schema}


def holding(needed: Data, optional: Data | None = None) -> Data:
    """Return an object that holds these; others may come with them."""
    properties = {**needed, **(optional or {})}
    return {"type": "object", "properties": properties, "required": list(needed)}


PROBLEM: Data = {"$ref": "#/components/schemas/Problem"}
SUBJECT = holding({"kind": TEXT, "id": TEXT})
ALERT = holding(
    {
        "id": ID, "watch": TEXT, "level": {"enum": ["due", "late", "alarm"]}, "since": TIME,
        "state": {"enum": ["open", "acknowledged", "shelved", "cleared"]}, "subject": SUBJECT,
        "lot": maybe(TEXT), "place": maybe(TEXT), "says": TEXT, "next_action": TEXT,
        "raised_at": TIME, "cleared_at": maybe(TIME),
    }
)  # fmt: skip
ROWS = "lots places people protocols watches alerts phones nursery solutions".split()
STORED = {"stored": listed(TEXT), "already": listed(TEXT)}
RECORD = {"revision": COUNT, "epoch": TEXT, "server_time": maybe(TIME)}
PUSHED = holding(
    {
        **STORED, **RECORD, "next_seq": COUNT, "backed_up_seq": COUNT,
        "refused": listed(holding({"id": maybe(TEXT), "problem": PROBLEM})),
    }
)  # fmt: skip
PULLED = holding(
    {
        **RECORD, "rows": holding({name: listed(ANY_OBJECT) for name in ROWS}),
        "gone": listed(ANYTHING), "cursor": TEXT, "more": FLAG, "time_doubted": maybe(TEXT),
    }
)  # fmt: skip
LOGGED = {"received_at": TIME, "at": TIME, "device": TEXT, "position": COUNT}
HISTORY = holding(
    {
        "events": listed(
            holding({"id": ID, "seq": COUNT, "kind": TEXT, "data": ANY_OBJECT, **LOGGED})
        ),
        "next": maybe(TEXT),
    }
)
ALERTS = holding({"alerts": listed(ALERT), "more": FLAG})
FIGURES = holding(
    {"watches": listed(holding({"watch": TEXT, "raised": COUNT, "standing": COUNT})),
     "raised": COUNT, "days": NUMBER, "per_day": maybe(NUMBER), "whole": FLAG}
)  # fmt: skip
SESSION = holding({"role": ANY_ROLE, "person": maybe(TEXT), "demo": FLAG})
CROP_NAMES = {name: maybe(TEXT) for name in ("botanical", "common", "family")}
PHONE = holding(
    {"id": TEXT, "name": maybe(TEXT), "person": maybe(TEXT), "role": maybe(TEXT),
     "paired_at": maybe(TIME), "last_sync_at": maybe(TIME), "cut_off_at": maybe(TIME),
     "cloned_since": maybe(TIME), "lets_in": FLAG}
)  # fmt: skip
TRUST = holding({"help": TEXT, "fingerprint": TEXT})
MOVE = holding({"from": TEXT, "to": TEXT, "begun_at": TIME, "address": TEXT, "trust": maybe(TRUST)})
TRIED = holding({"raised": COUNT, "standing_before": COUNT, "weeks": listed(COUNT)})
PREVIEW = holding(
    {"since": TIME, "until": TIME, "now": TRIED, "then": TRIED, "alerts": listed(ANY_OBJECT),
     "gone": listed(ANY_OBJECT), "looked_at": COUNT, "of": COUNT, "whole": FLAG,
     "stopped": maybe(holding({"label": TEXT, "at": maybe(TIME)}))}
)  # fmt: skip
DELIVERY = holding(
    {"id": TEXT, "channel": {"enum": ["push", "mail"]}, "kind": TEXT, "state": TEXT,
     "why": maybe(TEXT), "due_at": TIME, "made_at": TIME, "ended_at": maybe(TIME),
     "attempts": COUNT, "to": TEXT, "phones": holding({"asked": COUNT, "taken": COUNT})}
)  # fmt: skip
MORNING = holding(
    {"day": TEXT, "made_at": TIME, "alarms": listed(ANY_OBJECT), "alarms_left": COUNT,
     "stops": listed(ANY_OBJECT), "nothing_due": listed(TEXT), "lots_left": COUNT, "text": TEXT}
)  # fmt: skip
FEED = {"made_at": maybe(TIME), "mark": maybe(TEXT)}
READING = holding(
    {"place": TEXT, "value": NUMBER}, {"id": ID, "quantity_kind": TEXT, "read_at": TIME}
)
FORECAST = holding({"date": {**TEXT, "format": "date"}}, {"low_c": NUMBER, "high_c": NUMBER})
RESULT = holding({"result": ANYTHING, "says": maybe(TEXT)})

# (method, address): the body that is sent.
SENT: dict[tuple[str, str], Data] = {
    ("post", "/api/v1/sync/offer"): holding({"device": ID, "ids": listed(TEXT)}),
    ("post", "/api/v1/alerts/{alert_id}/acknowledge"): holding({}, {"why": maybe(TEXT)}),
    ("post", "/api/v1/alerts/{alert_id}/shelve"): holding({"until": TEXT, "why": TEXT}),
    ("post", "/api/v1/pairings"): holding({}, {"role": ROLE, "person": maybe(ID)}),
    ("post", "/api/v1/pairings/redeem"): holding({"secret": TEXT, "device": ID}, {"name": TEXT}),
    ("post", "/api/v1/session/sign-in"): holding(
        {"name": TEXT, "passphrase": TEXT, "device": ID}, {"phone": TEXT}
    ),
    ("post", "/api/v1/session/sign-out"): holding({}, {"everywhere": FLAG}),
    ("post", "/api/v1/name-move/link"): ANY_OBJECT,
    ("post", "/api/v1/name-move/end"): holding({}, {"leave": listed(TEXT)}),
    ("post", "/api/v1/session/passphrase"): holding({"new": TEXT}, {"old": maybe(TEXT)}),
    ("post", "/api/v1/people/{person}/passphrase-link"): ANY_OBJECT,
    ("post", "/api/v1/passphrases/redeem"): holding({"secret": TEXT, "new": TEXT, "device": ID}),
    ("post", "/api/v1/tokens"): holding({"name": TEXT, "role": ANY_ROLE}),
    ("post", "/api/v1/tokens/{token_id}/revoke"): ANY_OBJECT,
    ("post", "/api/v1/calculations/{name}"): ANY_OBJECT,
    ("post", "/api/v1/readings"): {"anyOf": [READING, holding({"readings": listed(READING)})]},
    ("post", "/api/v1/forecasts"): holding({"forecast": listed(FORECAST)}),
    ("post", "/api/v1/saved-files"): holding({"text": TEXT}),
    ("post", "/api/v1/phones/{phone}/cut-off"): ANY_OBJECT,
    ("post", "/api/v1/watches/{watch_id}/preview"): holding(
        {}, {"rule": ANY_OBJECT, "days": {**WHOLE, "minimum": 1, "maximum": 366}}
    ),
    ("post", "/api/v1/reminders/subscriptions"): holding(
        {"endpoint": TEXT, "keys": holding({"p256dh": TEXT, "auth": TEXT})}
    ),
    ("post", "/api/v1/reminders/test"): holding({}, {"channel": {"enum": ["push", "mail"]}}),
    ("post", "/api/v1/session/person"): holding({"person": maybe(ID)}),
    ("post", "/api/v1/calendar"): ANY_OBJECT,
    ("put", "/api/v1/photos/{sha256}"): OCTETS,
}

# (method, address): the answer where all is well.
ANSWERED: dict[tuple[str, str], Data] = {
    ("post", "/api/v1/sync/push"): PUSHED,
    ("post", "/api/v1/sync/offer"): holding({"missing": listed(TEXT)}),
    ("get", "/api/v1/sync/pull"): PULLED,
    ("get", "/api/v1/events"): HISTORY,
    ("get", "/api/v1/alerts"): ALERTS,
    ("get", "/api/v1/alerts/past"): ALERTS,
    ("get", "/api/v1/alerts/figures"): FIGURES,
    ("post", "/api/v1/alerts/{alert_id}/acknowledge"): ALERT,
    ("post", "/api/v1/alerts/{alert_id}/shelve"): ALERT,
    ("get", "/api/v1/session"): SESSION,
    ("post", "/api/v1/pairings"): holding({"link": TEXT, "drawing": TEXT, "minutes": COUNT}),
    ("post", "/api/v1/pairings/redeem"): SESSION,
    ("post", "/api/v1/session/sign-in"): SESSION,
    ("post", "/api/v1/session/sign-out"): holding({"ended": ANYTHING}),
    ("post", "/api/v1/session/passphrase"): holding({"set": FLAG}),
    ("post", "/api/v1/people/{person}/passphrase-link"): holding({"link": TEXT, "minutes": COUNT}),
    ("post", "/api/v1/passphrases/redeem"): SESSION,
    ("get", "/api/v1/tokens"): holding({"tokens": listed(ANY_OBJECT)}),
    ("post", "/api/v1/tokens"): holding({"token": TEXT, "name": TEXT, "role": ANY_ROLE}),
    ("post", "/api/v1/tokens/{token_id}/revoke"): holding({"revoked": maybe(TEXT)}),
    ("post", "/api/v1/calculations/{name}"): RESULT,
    ("get", "/api/v1/crops"): holding({"crops": listed(holding({"id": TEXT, **CROP_NAMES}))}),
    ("get", "/api/v1/crops/{crop_id}"): holding({"crop": ANY_OBJECT, "sources": ANY_OBJECT}),
    ("post", "/api/v1/readings"): holding({**STORED, "refused": listed(ANY_OBJECT)}),
    ("post", "/api/v1/forecasts"): holding(
        {"stored": listed(TEXT), "unchanged": COUNT, "problems": listed(TEXT)}
    ),
    ("post", "/api/v1/saved-files"): holding(
        {"device": ID, "phone": maybe(TEXT), "made_at": TEXT, "stored": COUNT, "already": COUNT,
         "refused": listed(ANY_OBJECT), "photos": COUNT}
    ),
    ("get", "/api/v1/phones"): holding({"phones": listed(PHONE)}),
    ("post", "/api/v1/phones/{phone}/cut-off"): holding({"cut_off": TEXT}),
    ("get", "/api/v1/name-move"): holding({"move": maybe(MOVE), "phones": listed(PHONE)}),
    ("post", "/api/v1/name-move/link"): holding({"link": TEXT, "minutes": COUNT}),
    ("post", "/api/v1/name-move/end"): holding({"name": TEXT}),
    ("post", "/api/v1/watches/{watch_id}/preview"): PREVIEW,
    ("get", "/api/v1/reminders"): holding(
        {"key": TEXT, "push_ready": FLAG, "mail_ready": FLAG, "subscriptions": listed(TEXT),
         "to": TEXT}
    ),
    ("post", "/api/v1/reminders/subscriptions"): holding({"id": TEXT, "to": TEXT}),
    ("delete", "/api/v1/reminders/subscriptions/{subscription}"): holding({"id": TEXT}),
    ("post", "/api/v1/reminders/test"): holding({"id": TEXT}),
    ("get", "/api/v1/deliveries"): holding({"deliveries": listed(DELIVERY), "more": FLAG}),
    ("post", "/api/v1/session/person"): holding({"role": ANY_ROLE, "person": maybe(ID)}),
    ("get", "/api/v1/morning"): MORNING,
    ("get", "/api/v1/calendar"): holding(FEED),
    ("post", "/api/v1/calendar"): holding({"address": TEXT, "webcal": TEXT, **FEED}),
    ("delete", "/api/v1/calendar"): holding(FEED),
    ("get", "/api/v1/calendar/{secret}.ics"): TEXT,
    ("get", "/api/v1/photos/{sha256}"): OCTETS,
    ("put", "/api/v1/photos/{sha256}"): holding({"sha256": TEXT, "already": FLAG}),
}  # fmt: skip

# Where an answer or a body may be something else than JSON.
ONLY_SENT = {("put", "/api/v1/photos/{sha256}"): "image/jpeg"}
ALSO_SENT = {("post", "/api/v1/forecasts"): ("text/csv",)}
ALSO_ANSWERED = {("get", "/api/v1/morning"): ("text/plain", "text/html")}
ONLY_ANSWERED = {
    ("get", "/api/v1/calendar/{secret}.ics"): "text/calendar",
    ("get", "/api/v1/photos/{sha256}"): "image/jpeg",
}
# Which values there are of a gap in an address.
NAMES = {("/api/v1/calculations/{name}", "name"): list(CALCULATIONS)}


def add_bodies(paths: Data) -> None:
    """Add to the paths of the API's document what is sent, and what is answered."""
    for path, methods in paths.items():
        for method, operation in methods.items():
            if method == "parameters":
                _name_values(path, operation)
                continue
            key = (method, path)
            if key in SENT:
                kind = ONLY_SENT.get(key, "application/json")
                content = _content(SENT[key], ALSO_SENT.get(key, ()), kind)
                operation["requestBody"] = {"required": False, "content": content}
            for status, answer in operation["responses"].items():
                if status.startswith("2") and key in ANSWERED:
                    kind = ONLY_ANSWERED.get(key, "application/json")
                    answer["content"] = _content(ANSWERED[key], ALSO_ANSWERED.get(key, ()), kind)


def _content(schema: Data, also: tuple[str, ...], kind: str = "application/json") -> Data:
    return {kind: {"schema": schema}, **{other: {"schema": TEXT} for other in also}}


def _name_values(path: str, parameters: list[Data]) -> None:
    for parameter in parameters:
        if (path, parameter["name"]) in NAMES:
            parameter["schema"] = {"enum": NAMES[path, parameter["name"]]}
