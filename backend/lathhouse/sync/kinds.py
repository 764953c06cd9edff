"""The shape of every event kind. Unknown fields are kept, unknown kinds are stored whole.

Only what cannot be stored or cannot be true is refused, with one sentence for a person. Fields and
units: DESIGN section 4 and the job's own list of what each record must hold.
"""

import json
import re
from typing import Any

from marshmallow import INCLUDE, Schema, ValidationError

from lathhouse.domain.chambers import BandUpsideDown, settings_of
from lathhouse.domain.instants import DAY_MS, parse_instant, to_text
from lathhouse.errors import BadField, FixedWatch, FromTheFuture, NotAnEvent
from lathhouse.sync.fields import (
    Anything,
    Day,
    Fields,
    Flag,
    Instant,
    Many,
    Money,
    Name,
    Number,
    OneOf,
    Plain,
    Until,
    Uuid,
    Whole,
    Words,
)

KIND = re.compile(r"[a-z][a-z0-9_]{0,59}")
BODY_MAX_CHARACTERS = 64_000
AHEAD_MAX_MS = DAY_MS
SKEW_LEFT_ALONE_MS = 120_000
SEQ_MAX = 2**53
WHERE = ("fridge", "outdoors", "indoors")
CAUSES = (
    "damping_off root_rot dried drowned frost heat wind pest animal weeds spray_damage handling"
    " culled mislabelled stolen unknown"
).split()
QUANTITIES = (
    "temp_c temp_min_c temp_max_c humidity_percent ph ec_ms_cm forecast_low_c forecast_high_c"
    " water_temp_c rain_mm wind_m_s"
).split()

UNSET: Any = {"allow_none": True}
NEEDED: Any = {"required": True}


def percent(**more: Any) -> Number:
    """Return a field of 0 to 100 percent."""
    return Number(0, 100, "percent", **more)


def temperature(**more: Any) -> Number:
    """Return a field of -60 to 60 °C."""
    return Number(-60, 60, "°C", **more)


def litres(**more: Any) -> Number:
    """Return a field of a container's volume."""
    return Number(0.01, 2000, "litres", **more)


STEP: dict[str, Plain] = {"count": Whole(**UNSET), "note": Words(**UNSET)}
SPELL: dict[str, Plain] = {
    "where": OneOf(*WHERE, **UNSET),
    "temp_c": temperature(**UNSET),
    "medium": Words(**UNSET),
}
WHY: dict[str, Plain] = {"why": Words(**NEEDED), "until": Until(**UNSET), "watch": Name(**UNSET)}
ANSWER: dict[str, Plain] = {
    "alert": Uuid(**UNSET),
    "watch": Name(**UNSET),
    "place": Name(**UNSET),
    "phone": Name(**UNSET),
    "nursery": Name(**UNSET),
    "until": Until(**UNSET),
    "why": Words(**UNSET),
}
ROW: dict[str, Plain] = {"id": Name(**NEEDED)}
COVER: dict[str, Plain] = {"place": Name(**UNSET), "until": Until(**UNSET)}

KINDS: dict[str, dict[str, Plain]] = {
    "lot_started": {
        "crop": Name(**NEEDED),
        "label": Name(**NEEDED),
        "quantity": Number(0, 1e9, **UNSET),
        "unit": OneOf("seeds", "g", "seedlings", "plants", **UNSET),
        "place": Name(**UNSET),
        "parents": Many(Uuid(), **UNSET),
        "parent": Uuid(**UNSET),
        "container_l": litres(**UNSET),
        "provenance": Anything(**UNSET),
    },
    "lot_closed": {"why": Words(**NEEDED)},
    **dict.fromkeys(
        (
            "seed_cleaned soak_started water_changed aerated soak_ended sanitise_ended warm_ended"
            " cold_ended watered"
        ).split(),
        STEP,
    ),
    "tested": {
        "test": OneOf("float", "cut", "germination", "viability", **NEEDED),
        "sound": Whole(**NEEDED),
        "out_of": Whole(1, **NEEDED),
    },
    "solution_mixed": {
        "solution": Uuid(**NEEDED),
        "product_strength": Number(0, 1_000_000, **NEEDED),
        "product_unit": Name(**NEEDED),
        "wanted": Number(0, 1_000_000, **NEEDED),
        "wanted_unit": Name(**NEEDED),
        "volume_ml": Number(0, 1_000_000, "mL", **NEEDED),
        "product_ml": Number(0, 1_000_000, "mL", **NEEDED),
        "water_ml": Number(0, 1_000_000, "mL", **NEEDED),
        "method": OneOf("make_up_to", "add_to", **UNSET),
        "ppm": Number(0, 1_000_000, "ppm", **UNSET),
    },
    "solution_discarded": {"solution": Uuid(**NEEDED), "why": Words(**UNSET)},
    "sanitise_started": {
        "solution": Uuid(**UNSET),
        "percent_by_volume": percent(**UNSET),
        "limit_minutes": Number(0.1, 1440, "minutes", **UNSET),
    },
    "warm_started": SPELL,
    "cold_started": SPELL,
    "sown": {
        "flats": Whole(**UNSET),
        "per_flat": Whole(**UNSET),
        "depth_mm": Number(0, 500, "mm", **UNSET),
        "spacing_mm": Number(0, 2000, "mm", **UNSET),
        "medium": Words(**UNSET),
    },
    "looked": {
        "as_expected": Flag(**UNSET),
        "moisture": Whole(1, 5, **UNSET),
        "fungus": OneOf("none", "spots", "spreading", **UNSET),
        "sign": Words(**UNSET),
        "sprouted_percent": percent(**UNSET),
        "temp_c": temperature(**UNSET),
        "note": Words(**UNSET),
        "root_fill": Whole(1, 5, **UNSET),
        "health": Whole(1, 5, **UNSET),
        "surface_growth": Whole(0, 3, **UNSET),
        "weeds": Whole(0, 3, **UNSET),
        "pest": Words(**UNSET),
        "pest_count": Whole(**UNSET),
        "smell": Words(**UNSET),
        "turned": Flag(**UNSET),
        "picked_out": Whole(**UNSET),
        "swelled": Whole(**UNSET),
        "swelled_of": Whole(**UNSET),
    },
    "counted": {"emerged": Whole(**NEEDED), "out_of": Whole(**NEEDED), "flat": Name(**UNSET)},
    "potted_on": {
        "quantity": Whole(**NEEDED),
        "container_l": litres(**NEEDED),
        "into": Uuid(**UNSET),
    },
    "lost": {
        "quantity": Whole(**NEEDED),
        "out_of": Whole(**NEEDED),
        "cause": OneOf(*CAUSES, **NEEDED),
    },
    "moved": {"place": Name(**NEEDED)},
    "covered": COVER,
    "uncovered": COVER,
    "read": {
        "place": Name(**UNSET),
        "quantity_kind": OneOf(*QUANTITIES, **NEEDED),
        "value": Number(-1000, 100_000, **NEEDED),
        "for_night_of": Day(**UNSET),
        "by_sensor": Name(**UNSET),
    },
    "scarified": {
        "method": OneOf("acid", "hot_water", "nick", "sand", **NEEDED),
        "minutes": Number(0, 10_000, "minutes", **UNSET),
    },
    "rinsed_neutral": {"strip_ph": Number(0, 14, **UNSET)},
    **dict.fromkeys(("emergence_closed", "held_over", "deferred", "decided"), WHY),
    "acknowledged": ANSWER,
    "shelved": ANSWER,
    "round_closed": {
        "place": Name(**UNSET),
        "skipped": Many(Uuid(), **UNSET),
        "why": Words(**UNSET),
    },
    "stocktaken": {
        "quantity": Number(0, 1e9, **NEEDED),
        "unit": OneOf("seeds", "g", "seedlings", "plants", **NEEDED),
    },
    "graded": {"grade": Name(**NEEDED), "quantity": Whole(**NEEDED), "out_of": Whole(**NEEDED)},
    "promised": {
        "quantity": Whole(**NEEDED),
        "container_l": litres(**NEEDED),
        "buyer": Name(**NEEDED),
        "deliver_on": Day(**NEEDED),
        "grade": Name(**UNSET),
    },
    "treated": {
        "product": Name(**NEEDED),
        "reason": Words(**NEEDED),
        "rate_value": Number(0, 1e6, **NEEDED),
        "rate_unit": Name(**NEEDED),
        "operator": Name(**NEEDED),
        "started_at": Instant(**NEEDED),
        "ended_at": Instant(**NEEDED),
        "rei_hours": Number(0, 10_000, "hours", **NEEDED),
        "places": Many(Name(), **NEEDED),
        "sale_hold_days": Number(0, 3650, "days", **UNSET),
        "wind_m_s": Number(0, 100, "m/s", **UNSET),
        "wind_from_deg": Number(0, 360, "degrees", **UNSET),
        "temp_c": temperature(**UNSET),
        "humidity_percent": percent(**UNSET),
        "label_seen": Flag(**UNSET),
    },
    "sold": {
        "quantity": Whole(**NEEDED),
        "container_l": litres(**NEEDED),
        "buyer": Name(**NEEDED),
        "price_each": Money(**UNSET),
        "currency": Name(**UNSET),
        "order": Name(**UNSET),
        "grade": Name(**UNSET),
        "passport": Anything(**UNSET),
    },
    "priced": {
        "container_l": litres(**NEEDED),
        "grade": Name(**UNSET),
        "price_each": Money(**NEEDED),
        "currency": Name(**NEEDED),
        "from_date": Day(**NEEDED),
    },
    "noted": {"text": Words(**NEEDED), "tags": Many(Name(), **UNSET)},
    "photographed": {
        "sha256": Name(**NEEDED),
        "width_px": Whole(1, 100_000, **UNSET),
        "height_px": Whole(1, 100_000, **UNSET),
        "caption": Words(**UNSET),
    },
    "place_changed": {**ROW, "name": Name(**NEEDED), "order": Number(0, 1e6, **UNSET)},
    "person_changed": {**ROW, "name": Name(**NEEDED)},
    "protocol_changed": {**ROW, "botanical": Name(**NEEDED), "stages": Many(Fields(), **NEEDED)},
    "watch_changed": {**ROW, "subjects": Many(Name(), **NEEDED), "clock": Anything(**UNSET)},
    "nursery_changed": {
        **ROW,
        "timezone": Name(**NEEDED),
        "working_days": Many(Whole(1, 7), **NEEDED),
    },
    "amended": {"of": Uuid(**NEEDED), "data": Fields(**NEEDED)},
    "voided": {"of": Uuid(**NEEDED), "why": Words(**UNSET)},
}
WITHOUT_A_LOT = frozenset(
    "solution_mixed solution_discarded covered uncovered read round_closed acknowledged shelved"
    " deferred decided treated noted photographed priced place_changed person_changed"
    " protocol_changed watch_changed nursery_changed amended voided".split()
)
ENVELOPE: dict[str, Plain] = {
    "id": Uuid(**NEEDED),
    "seq": Whole(0, SEQ_MAX, **NEEDED),
    "lot": Uuid(**UNSET),
    "observed_at": Instant(**NEEDED),
    "recorded_at": Instant(**UNSET),
    "by": Uuid(**UNSET),
    "typed": Flag(**UNSET),
    "mends": Uuid(**UNSET),
}


def _schema(shape: dict[str, Plain]) -> Schema:
    made: type[Schema] = Schema.from_dict(dict(shape))
    return made(unknown=INCLUDE)


SCHEMAS = {kind: _schema(shape) for kind, shape in KINDS.items()}
ENVELOPE_SCHEMA = _schema(ENVELOPE)
# What an amendment may say of a field, whatever kind it amends.
ALL_FIELDS: dict[str, list[Plain]] = {}
for _shape in KINDS.values():
    for _name, _field in _shape.items():
        ALL_FIELDS.setdefault(_name, []).append(_field)


def check_event(raw: Any) -> dict[str, Any]:
    """Return an item of a push as an event with all its envelope fields.

    Raises:
        NotAnEvent: it is not an object with a kind and an id.
        BadField: a field is missing, of the wrong shape or impossible.
    """
    if not isinstance(raw, dict):
        raise NotAnEvent("An event is an object with id, seq, kind, lot, observed_at and data.")
    kind = raw.get("kind")
    if not isinstance(kind, str) or not KIND.fullmatch(kind):
        raise NotAnEvent("An event names its kind in small letters, such as looked.", field="kind")
    _load(ENVELOPE_SCHEMA, raw, "")
    data = raw.get("data")
    data = {} if data is None else data
    if not isinstance(data, dict):
        raise BadField("data must be an object with named fields.", field="data")
    event = {"lot": None, "by": None, **raw, "data": data}
    if kind in SCHEMAS:
        _check_known(kind, event, data)
    if len(json.dumps(event, ensure_ascii=False)) > BODY_MAX_CHARACTERS:
        raise BadField(f"A record holds at most {BODY_MAX_CHARACTERS} characters.", field="data")
    return event


def _load(schema: Schema, values: dict[str, Any], prefix: str) -> None:
    if _plainly_fits(schema, values):
        return
    try:
        schema.load(values)
    except ValidationError as error:
        messages: Any = error.messages
        name, says = sorted(messages.items())[0]
        words = says[0] if isinstance(says, list) else str(says)
        words = "is missing" if words.startswith("Missing data") else words
        words = "must not be left empty" if words.startswith("Field may not") else words
        raise BadField(f"{prefix}{name} {words}.", field=f"{prefix}{name}") from error


def _plainly_fits(schema: Schema, values: dict[str, Any]) -> bool:
    """Say whether every field fits; the schema itself is slow, and is asked only to refuse."""
    for name, field in schema.fields.items():
        value = values.get(name)
        if value is None:
            if field.required or (name in values and not field.allow_none):
                return False
        elif not field.fits(value):  # type: ignore[attr-defined]
            return False
    return True


def _check_known(kind: str, event: dict[str, Any], data: dict[str, Any]) -> None:
    _load(SCHEMAS[kind], data, "data.")
    if event["lot"] is None and kind not in WITHOUT_A_LOT:
        raise BadField(f"A record of kind {kind} names its lot.", field="lot")
    if kind in EXTRA_CHECKS:
        EXTRA_CHECKS[kind](data)


def _within(part: str, whole: str, data: dict[str, Any]) -> None:
    if data[part] > data[whole]:
        says = f"data.{part} must be at most data.{whole} ({data[whole]}), not {data[part]}."
        raise BadField(says, field=f"data.{part}")


def _check_amendment(data: dict[str, Any]) -> None:
    for name, value in data["data"].items():
        shapes = ALL_FIELDS.get(name)
        if value is not None and shapes and not any(shape.fits(value) for shape in shapes):
            raise BadField(f"data.data.{name} {shapes[0].says}.", field=f"data.data.{name}")


def _check_watch(data: dict[str, Any]) -> None:
    if data["id"] == "cold-six-weeks":
        raise FixedWatch("The six-week watch stays as it is; add a watch of your own beside it.")
    from lathhouse.domain.rule_check import BadRule, check_rule

    try:
        check_rule(data)
    except BadRule as error:
        raise BadField(f"{error}", field="data") from error


def _check_place(data: dict[str, Any]) -> None:
    chamber = data.get("chamber")
    if chamber is None:
        return
    if not isinstance(chamber, dict):
        raise BadField("data.chamber must be an object with named fields.", field="data.chamber")
    try:
        settings_of(chamber)
    except (BandUpsideDown, TypeError) as error:
        raise BadField(f"data.chamber: {error}.", field="data.chamber") from error


def _check_nursery(data: dict[str, Any]) -> None:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(data["timezone"])
    except (ValueError, OSError) as error:
        says = "data.timezone must be a time zone's name such as Australia/Sydney."
        raise BadField(says, field="data.timezone") from error


def _check_protocol(data: dict[str, Any]) -> None:
    from lathhouse.domain.protocols import BadCrop, check_shape

    try:
        check_shape(data)
    except BadCrop as error:
        raise BadField(f"{error}", field="data.stages") from error


EXTRA_CHECKS = {
    "tested": lambda data: _within("sound", "out_of", data),
    "counted": lambda data: _within("emerged", "out_of", data),
    "lost": lambda data: _within("quantity", "out_of", data),
    "graded": lambda data: _within("quantity", "out_of", data),
    "amended": _check_amendment,
    "watch_changed": _check_watch,
    "place_changed": _check_place,
    "nursery_changed": _check_nursery,
    "protocol_changed": _check_protocol,
}


def corrected_at(event: dict[str, Any], push_skew_ms: int, now_ms: int) -> str:
    """Return an event's corrected instant, as it is fixed at receipt.

    A time typed by hand is never corrected. Otherwise the phone's own measured skew (what must be
    added to its clock), or else that of the push, is added where it is two minutes or more.

    Raises:
        FromTheFuture: it is more than a day ahead of the server even so.
    """
    observed = parse_instant(event["observed_at"])
    clock = event.get("clock")
    skew = clock.get("skew_ms") if isinstance(clock, dict) else None
    if isinstance(skew, bool) or not isinstance(skew, int | float):
        skew = push_skew_ms
    if event.get("typed") is not True and abs(skew) >= SKEW_LEFT_ALONE_MS:
        observed += int(skew)
    if observed > now_ms + AHEAD_MAX_MS:
        says = f"observed_at is {event['observed_at']}; it must be at most a day ahead of now."
        raise FromTheFuture(says, field="observed_at")
    try:
        return to_text(observed)
    except OverflowError as error:
        raise BadField(
            "observed_at is not a time that can be kept.", field="observed_at"
        ) from error
