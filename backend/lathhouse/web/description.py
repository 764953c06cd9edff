"""What the generated OpenAPI document adds to the routes: the events, and who may come in.

The shapes of events are read off the fields that check them, so that the two cannot differ.
"""

from typing import Any

from flask import Flask
from flask_smorest import Api

from lathhouse.settings import BATCH_MAX
from lathhouse.sync import fields
from lathhouse.sync.shapes import ENVELOPE, KINDS
from lathhouse.web.bodies import add_bodies
from lathhouse.web.gate import COOKIE
from lathhouse.web.requests import PUBLIC

Data = dict[str, Any]
METHODS = ("get", "post", "put", "patch", "delete")
SECURITY = {
    "token": {"type": "http", "scheme": "bearer", "description": "lathhouse tokens add NAME"},
    "phone": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": "A paired phone"},
}


def describe(app: Flask, api: Api) -> Data:
    """Return the OpenAPI document of the running application."""
    said: Data = api.spec.to_dict()
    components = said["components"]
    components["securitySchemes"] = SECURITY
    components["schemas"] |= {kind: object_of(shape) for kind, shape in KINDS.items()}
    components["schemas"] |= {"Event": event_schema(), "Push": push_schema()}
    body = {"application/json": {"schema": {"$ref": "#/components/schemas/Push"}}}
    said["paths"]["/api/v1/sync/push"]["post"]["requestBody"] = {"required": True, "content": body}
    add_bodies(said["paths"])
    for rule in app.url_map.iter_rules():
        path = said["paths"].get(rule.rule.replace("<string:", "{").replace(">", "}"))
        if path is not None:
            _add_security(path, app.view_functions[rule.endpoint])
    return said


def _add_security(path: Data, view: Any) -> None:
    for method in METHODS:
        if method in path:
            roles = getattr(getattr(view.view_class, method), "roles", ())
            open_to_all = PUBLIC in roles
            path[method]["security"] = [] if open_to_all else [{name: []} for name in SECURITY]
            path[method]["x-roles"] = list(roles)


def event_schema() -> Data:
    """Return the schema of an event: its envelope, and the data of its kind."""
    schema = object_of(ENVELOPE)
    data = [{"$ref": f"#/components/schemas/{kind}"} for kind in KINDS]
    schema["properties"] |= {
        "kind": {"type": "string", "examples": list(KINDS)},
        "data": {"anyOf": [*data, {"type": "object"}]},
    }
    schema["required"] = [*schema["required"], "kind"]
    return schema


def push_schema() -> Data:
    """Return the schema of a push's body."""
    events = {"type": "array", "items": {"$ref": "#/components/schemas/Event"}}
    return {
        "type": "object",
        "properties": {
            "device": schema_of(fields.Uuid()),
            "sent_at": schema_of(fields.Instant()),
            "events": {**events, "maxItems": BATCH_MAX},
        },
        "required": ["device", "events"],
    }


def object_of(shape: dict[str, fields.Plain]) -> Data:
    """Return the JSON schema of an object with these fields; others are kept as they come."""
    return {
        "type": "object",
        "properties": {name: schema_of(field) for name, field in shape.items()},
        "required": [name for name, field in shape.items() if field.required],
    }


def schema_of(field: fields.Plain) -> Data:
    """Return the JSON schema of a field."""
    schema = _plain(field)
    if not field.allow_none:
        return schema
    if "enum" in schema:
        schema["enum"] = [*schema["enum"], None]
    elif "type" in schema:
        kinds = schema["type"]
        schema["type"] = [*([kinds] if isinstance(kinds, str) else kinds), "null"]
    return schema


def _plain(field: fields.Plain) -> Data:
    if isinstance(field, fields.Whole | fields.Number):
        kind = "integer" if isinstance(field, fields.Whole) else "number"
        return {"type": kind, "minimum": field.low, "maximum": field.high}
    if isinstance(field, fields.OneOf):
        return {"enum": list(field.words)}
    if isinstance(field, fields.Many):
        return {"type": "array", "items": schema_of(field.of)}
    known: dict[type[fields.Plain], Data] = {
        fields.Flag: {"type": "boolean"},
        fields.Uuid: {"type": "string", "format": "uuid"},
        fields.Instant: {"type": "string", "format": "date-time"},
        fields.Day: {"type": "string", "format": "date"},
        fields.Fields: {"type": "object"},
        fields.Reach: {"type": "object", "additionalProperties": {"type": "boolean"}},
        fields.ClockTime: {"type": "string", "pattern": fields.CLOCK.pattern},
        fields.Code: {"type": ["string", "integer"]},
        fields.Anything: {},
    }
    return dict(known.get(type(field), {"type": "string"}))
