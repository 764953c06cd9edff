"""The fields of every event kind, with units in their names and bounds on their values.

Kinds and fields are only ever added. Fields and units: DESIGN section 4 and the job's own list of
what each record must hold.
"""

from typing import Any

from lathhouse.sync.fields import (
    Anything,
    ClockTime,
    Code,
    Day,
    Digest,
    Email,
    Fields,
    Flag,
    Instant,
    Many,
    Money,
    Name,
    Number,
    OneOf,
    Plain,
    Reach,
    Until,
    Uuid,
    Whole,
    Words,
)

SEQ_MAX = 2**53
WHERE = ("fridge", "outdoors", "indoors")
CAUSES = (
    "damping_off root_rot dried drowned frost heat wind pest animal weeds spray_damage handling"
    " culled mislabelled stolen unknown"
).split()
ACCESS = (
    "passphrase_set passphrase_changed passphrase_link_made passphrase_reset signed_out"
    " signed_out_everywhere pairing_link_made token_made token_revoked name_move_begun"
    " name_moved name_move_called_off"
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
    "solution": Uuid(**UNSET),
    "until": Until(**UNSET),
    "why": Words(**UNSET),
}
ROW: dict[str, Plain] = {"id": Name(**NEEDED)}
COVER: dict[str, Plain] = {
    "place": Name(**UNSET),
    "until": Until(**UNSET),
    "for_low_c": temperature(**UNSET),
    "stays": Flag(**UNSET),
}

# What is said of a reading depends on what was read.
READINGS: dict[str, Number] = {
    **dict.fromkeys(
        "temp_c temp_min_c temp_max_c forecast_low_c forecast_high_c water_temp_c".split(),
        temperature(),
    ),
    "humidity_percent": percent(),
    "ph": Number(0, 14),
    "ec_ms_cm": Number(0, 100, "mS/cm"),
    "rain_mm": Number(0, 2000, "mm"),
    "wind_m_s": Number(0, 120, "m/s"),
}

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
        "percent_by_volume": percent(**UNSET),
        "bottle_age_days": Number(0, 7300, "days", **UNSET),
        "why": Words(**UNSET),
    },
    "solution_discarded": {"solution": Uuid(**NEEDED), "why": Words(**UNSET)},
    "sanitise_started": {
        "solution": Uuid(**UNSET),
        "percent_by_volume": percent(**UNSET),
        "limit_minutes": Number(0.1, 1440, "minutes", **UNSET),
        "why": Words(**UNSET),
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
        "new_flush": Flag(**UNSET),
    },
    "counted": {"emerged": Whole(**NEEDED), "out_of": Whole(**NEEDED), "flat": Code(**UNSET)},
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
        "quantity_kind": OneOf(*READINGS, **NEEDED),
        "value": Number(-1000, 100_000, **NEEDED),
        "for_night_of": Day(**UNSET),
        "for_day": Day(**UNSET),
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
    "given_back": ANSWER,
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
        "registration_number": Name(**UNSET),
        "active_ingredient": Words(**UNSET),
        "reason": Words(**NEEDED),
        "target": Words(**UNSET),
        "rate_value": Number(0, 1e6, **NEEDED),
        "rate_unit": Name(**NEEDED),
        "quantity_value": Number(0, 1e6, **UNSET),
        "quantity_unit": Name(**UNSET),
        "area_m2": Number(0, 1e7, "m²", **UNSET),
        "plants": Whole(**UNSET),
        "water_l": Number(0, 1e6, "litres", **UNSET),
        "method": Words(**UNSET),
        "operator": Name(**NEEDED),
        "licence": Name(**UNSET),
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
        "crop_eppo": Name(**UNSET),
        "bbch": Code(**UNSET),
    },
    "sold": {
        "quantity": Whole(**NEEDED),
        "container_l": litres(**NEEDED),
        "buyer": Name(**NEEDED),
        "price_each": Money(**UNSET),
        "currency": Name(**UNSET),
        "order": Name(**UNSET),
        "grade": Name(**UNSET),
        "passport": Fields(**UNSET),
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
        "sha256": Digest(**NEEDED),
        "width_px": Whole(1, 100_000, **UNSET),
        "height_px": Whole(1, 100_000, **UNSET),
        "caption": Words(**UNSET),
    },
    "place_changed": {
        **ROW,
        "name": Name(**NEEDED),
        "order": Number(0, 1e6, **UNSET),
        "kind": Name(**UNSET),
        "daily": Flag(**UNSET),
        "frost_free": Flag(**UNSET),
        "sensor_height_m": Number(0, 30, "m", **UNSET),
    },
    "person_changed": {
        **ROW,
        "name": Name(**NEEDED),
        "role": Name(**UNSET),
        "works": Many(Whole(1, 7), **UNSET),
        "email": Email(**UNSET),
        "reach": Reach(**UNSET),
        "order": Whole(**UNSET),
        "agreed_to_wake": Flag(**UNSET),
        "quiet_from": ClockTime(**UNSET),
        "quiet_to": ClockTime(**UNSET),
    },
    "protocol_changed": {**ROW, "botanical": Name(**NEEDED), "stages": Many(Fields(), **NEEDED)},
    "watch_changed": {**ROW, "subjects": Many(Name(), **NEEDED), "clock": Anything(**UNSET)},
    "nursery_changed": {
        **ROW,
        "name": Name(**UNSET),
        "timezone": Name(**NEEDED),
        "working_days": Many(Whole(1, 7), **NEEDED),
        "hemisphere": OneOf("south", "north", **UNSET),
        "latitude_deg": Number(-90, 90, "degrees", **UNSET),
        "longitude_deg": Number(-180, 180, "degrees", **UNSET),
        "elevation_m": Number(-500, 9000, "m", **UNSET),
        "season_starts": Fields(**UNSET),
        "units": OneOf("metric", "us", **UNSET),
        "currency": Name(**UNSET),
        "poisons_phone": Name(**UNSET),
        **dict.fromkeys(("work_from", "work_to", "quiet_from", "quiet_to"), ClockTime(**UNSET)),
    },
    "phone_changed": {
        **ROW,
        "name": Name(**UNSET),
        "person": Uuid(**UNSET),
        "role": Name(**UNSET),
        "cut_off_at": Instant(**UNSET),
        # The name under which it was let in, the phone that follows it under another, and since
        # when it stays behind at a name that has ended.
        "host": Name(**UNSET),
        "moved_to": Uuid(**UNSET),
        "left_behind_at": Instant(**UNSET),
    },
    # Written by the server when somebody is let in or no more; it never holds a secret.
    "access_changed": {
        "what": OneOf(*ACCESS, **NEEDED),
        "person": Uuid(**UNSET),
        "device": Uuid(**UNSET),
        "name": Name(**UNSET),
        "role": Name(**UNSET),
    },
    "amended": {"of": Uuid(**NEEDED), "data": Fields(**NEEDED)},
    "voided": {"of": Uuid(**NEEDED), "why": Words(**UNSET)},
}
# What an owner sets of a chamber; the defaults are the domain's.
CHAMBER: dict[str, Plain] = {
    **{name: temperature() for name in "low_c high_c aim_c hard_low_c hard_high_c".split()},
    "margin_c": Number(0, 20, "°C"),
    **{
        name: Whole(0, 100_000)
        for name in "minutes_out minutes_out_long minutes_hard minutes_back".split()
    },
    "interval_minutes": Whole(1, 100_000),
    "by_hand": Flag(),
}
# Where a lot came from: all of it optional, none of it checked further than it can be wrong.
PROVENANCE: dict[str, Plain] = {
    "collected_on": Day(**UNSET),
    "collector": Words(**UNSET),
    "place_text": Words(**UNSET),
    "lat": Number(-90, 90, "degrees", **UNSET),
    "lon": Number(-180, 180, "degrees", **UNSET),
    "elevation_m": Number(-500, 9000, "m", **UNSET),
    "mother_plants": Whole(**UNSET),
    "wild_or_cultivated": Words(**UNSET),
    "permit": Words(**UNSET),
    "supplier": Words(**UNSET),
    "supplier_lot": Words(**UNSET),
    "purity_percent": percent(**UNSET),
    "germination_percent": percent(**UNSET),
    "tested_on": Until(**UNSET),
    "weed_status_checked_on": Day(**UNSET),
}
WITHOUT_A_LOT = frozenset(
    "solution_mixed solution_discarded covered uncovered read round_closed acknowledged shelved"
    " given_back deferred decided treated noted photographed priced place_changed person_changed"
    " protocol_changed watch_changed nursery_changed phone_changed access_changed amended"
    " voided".split()
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
