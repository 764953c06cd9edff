"""Looks: what was said, what was left unsaid, and runs of values."""

from typing import Any

Event = dict[str, Any]
Lot = dict[str, Any]

LOOKS_MAX = 8
SERIES_MAX = 32
OBSERVED = (
    "moisture",
    "fungus",
    "sign",
    "sprouted_percent",
    "temp_c",
    "root_fill",
    "health",
    "surface_growth",
    "weeds",
    "pest",
    "pest_count",
    "smell",
    "turned",
    "picked_out",
    "swelled",
    "swelled_of",
    "new_flush",
)
ALWAYS_SHOWN = ("moisture", "fungus", "sprouted_percent")


def observe(lot: Lot, field: str, value: Any, at: str) -> None:
    """Note a value said at an instant: the latest one, and the run it belongs to."""
    if value is not None:
        lot["last"][field] = {"value": value, "at": at}
    series = lot["series"].setdefault(field, [])
    if not series or series[-1][1] != value:
        series.append([at, value])
        del series[:-SERIES_MAX]


def unknown(lot: Lot, field: str, at: str) -> None:
    """Break a field's run, where there is one: what was last said of it holds no more."""
    if field in lot["series"]:
        observe(lot, field, None, at)


def note_test(lot: Lot, field: str, value: float, at: str) -> None:
    """Note what a test measured; each test stands in the series, also one like that before it."""
    lot["last"][field] = {"value": value, "at": at}
    lot["series"][field] = [*lot["series"].get(field, []), [at, value]][-SERIES_MAX:]


def look(lot: Lot, event: Event) -> None:
    """Apply a `looked`. A field left out changes nothing; a look with nothing said is a look."""
    data = event.get("data") or {}
    said = {name: data[name] for name in OBSERVED if data.get(name) is not None}
    for field, value in said.items():
        observe(lot, field, value, event["at"])
    lot["last_look"] = {
        "at": event["at"],
        "event": event["id"],
        "by": event.get("by"),
        "as_expected": data.get("as_expected") is True,
        "note": data.get("note"),
        **dict.fromkeys(ALWAYS_SHOWN),
        **said,
    }
    lot["looks"] = [*lot["looks"], lot["last_look"]][-LOOKS_MAX:]


def watered(lot: Lot, event: Event) -> None:
    """Break a dry run: the lot has had water, whatever the last look said."""
    observe(lot, "moisture", None, event["at"])
