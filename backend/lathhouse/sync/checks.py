"""What must hold between the fields of one record, beyond each field's own bounds."""

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from lathhouse.domain.chambers import BandUpsideDown, settings_of
from lathhouse.domain.instants import parse_instant
from lathhouse.domain.protocols import BadCrop, check_shape
from lathhouse.domain.rule_check import BadRule, check_rule
from lathhouse.domain.seasons import own_starts
from lathhouse.domain.working_time import USUAL
from lathhouse.errors import BadField, FixedWatch
from lathhouse.sync.fields import Plain, Whole
from lathhouse.sync.shapes import CHAMBER, KINDS, PROVENANCE, READINGS

Data = dict[str, Any]
WHOLE = Whole()
SUBJECTS = ("place", "phone", "nursery", "person", "solution")

# What an amendment may say of a field, whatever kind it amends.
ALL_FIELDS: dict[str, list[Plain]] = {}
for _shape in KINDS.values():
    for _name, _field in _shape.items():
        ALL_FIELDS.setdefault(_name, []).append(_field)


def check_together(kind: str, lot: str | None, data: Data) -> None:
    """Check a record's fields against each other; each of them fits by itself already.

    Raises:
        BadField: they cannot all be right.
        FixedWatch: it changes the watch that stays as it is.
    """
    check = CHECKS.get(kind)
    if check is not None:
        check(data)
    if kind in ("acknowledged", "shelved", "given_back"):
        _check_answer(lot, data)


def _refuse(name: str, says: str) -> BadField:
    return BadField(f"data.{name} {says}.", field=f"data.{name}")


def _within(part: str, whole: str) -> Callable[[Data], None]:
    def check(data: Data) -> None:
        said, most = data.get(part), data.get(whole)
        if said is not None and most is not None and said > most:
            raise _refuse(part, f"must be at most data.{whole} ({most}), not {said}")

    return check


def _check_quantity(data: Data) -> None:
    quantity = data.get("quantity")
    if quantity is not None and data.get("unit") != "g" and not WHOLE.fits(quantity):
        raise _refuse("quantity", f"must be a whole number unless unit is g, not {quantity}")


def _check_start(data: Data) -> None:
    _check_quantity(data)
    provenance = data.get("provenance")
    if not isinstance(provenance, dict):
        return
    _check_part("provenance", provenance, PROVENANCE)


def _check_part(part: str, values: Data, shape: dict[str, Plain]) -> None:
    for name, field in shape.items():
        value = values.get(name)
        if value is not None and not field.fits(value):
            raise _refuse(f"{part}.{name}", field.says)


def _check_reading(data: Data) -> None:
    field = READINGS[data["quantity_kind"]]
    if not field.fits(data["value"]):
        says = f"{field.says} where {data['quantity_kind']} is read, not {data['value']}"
        raise _refuse("value", says)


def _check_treatment(data: Data) -> None:
    if parse_instant(data["ended_at"]) < parse_instant(data["started_at"]):
        raise _refuse("ended_at", "must not be before data.started_at")


def _check_answer(lot: str | None, data: Data) -> None:
    aimed = data.get("watch") and (lot or any(data.get(name) for name in SUBJECTS))
    if not data.get("alert") and not aimed:
        says = "An answer names its alert (data.alert), or its watch (data.watch) and lot or place."
        raise BadField(says, field="data.alert")


def _check_amendment(data: Data) -> None:
    for name, value in data["data"].items():
        shapes = ALL_FIELDS.get(name)
        if value is not None and shapes and not any(shape.fits(value) for shape in shapes):
            raise _refuse(f"data.{name}", shapes[0].says)


def _check_watch(data: Data) -> None:
    if data["id"] == "cold-six-weeks":
        raise FixedWatch("The six-week watch stays as it is; add a watch of your own beside it.")
    try:
        check_rule(data)
    except BadRule as error:
        raise BadField(f"{error}", field="data") from error


def _check_place(data: Data) -> None:
    chamber = data.get("chamber")
    if chamber is None:
        return
    if not isinstance(chamber, dict):
        raise _refuse("chamber", "must be an object with named fields")
    _check_part("chamber", chamber, CHAMBER)
    try:
        settings_of(chamber)
    except BandUpsideDown as error:
        raise BadField(f"data.chamber: {error}.", field="data.chamber") from error


def _check_nursery(data: Data) -> None:
    try:
        ZoneInfo(data["timezone"])
    except (KeyError, ValueError, OSError) as error:
        raise _refuse("timezone", "must be a time zone's name such as Australia/Sydney") from error
    starts = data.get("season_starts")
    if starts is not None and own_starts({"season_starts": starts}) is None:
        says = (
            "must give the first day of spring, summer, autumn and winter as MM-DD, in the order of"
            " the year (29 February is no day of every year)"
        )
        raise _refuse("season_starts", says)
    begin, end = (data.get(name) or USUAL[name] for name in ("work_from", "work_to"))
    if begin >= end:
        raise _refuse(
            "work_to", f"must be later in the day than data.work_from ({begin}), not {end}"
        )


def _check_protocol(data: Data) -> None:
    try:
        check_shape(data)
    except BadCrop as error:
        raise BadField(f"{error}", field="data.stages") from error


CHECKS: dict[str, Callable[[Data], None]] = {
    "lot_started": _check_start,
    "stocktaken": _check_quantity,
    "tested": _within("sound", "out_of"),
    "counted": _within("emerged", "out_of"),
    "lost": _within("quantity", "out_of"),
    "graded": _within("quantity", "out_of"),
    "looked": _within("swelled", "swelled_of"),
    "read": _check_reading,
    "treated": _check_treatment,
    "amended": _check_amendment,
    "watch_changed": _check_watch,
    "place_changed": _check_place,
    "nursery_changed": _check_nursery,
    "protocol_changed": _check_protocol,
}
