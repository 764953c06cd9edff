"""What frost can hurt: a lot's tenderness, its covers, and what stands open on a night.

Tender is a kind that is tender, a half-hardy one while it is young, and any lot emerging, in its
first leaves or in new flush, whatever the kind. What nobody has said is not known, and is said.
"""

from typing import Any

from lathhouse.domain.instants import DAY_MS, later, to_ms, to_text, within_years
from lathhouse.domain.rule_terms import is_number

Data = dict[str, Any]

KINDS = ("tender", "half_hardy", "hardy")
# Later than any night: tender until something else is recorded.
FOREVER = "9999-12-31T23:59:59.999Z"
# How long seedlings stay tender after the last of them came up, and a flush after it was seen:
# ours, from the usual six to eight weeks until a shoot has firmed. No source gives days.
FIRST_LEAVES_DAYS = 56
NEW_FLUSH_DAYS = 42
# Half-hardy kinds are young below this size, unless the crop says `hardy_from_l`. Ours.
YOUNG_BELOW_L = 3.0
# Kinds of place that frost does not reach, unless the place itself says otherwise. Ours.
FROST_FREE = ("chamber", "shelf")
# A night this much colder than a cover was put on for is told. Ours.
COLDER_BY_C = 2.0
NAMES_MAX = 3
# The place of lots that are in none: the last of the walk.
NOWHERE = ""


def tenderness(lot: Data, crop: Data | None, phase: str) -> Data:
    """Return {kind, known, until, why} of a lot.

    Args:
        phase: as `facts.phase` has it.

    `until` is the instant at which it ceases to be tender, None where it is not; `known` is false
    where nobody has said what its kind stands and nothing else makes it tender for good.
    """
    kind, hardy_from_l = kind_of(crop)
    if phase in ("bench", "bag", "flats"):
        return {"kind": kind, "known": True, "until": None, "why": "below_ground"}
    reasons = [*_growing(lot, phase), *_of_kind(lot, kind, hardy_from_l)]
    until, why = max(reasons, default=(None, kind or "unknown"))
    return {"kind": kind, "known": kind is not None or until == FOREVER, "until": until, "why": why}


def kind_of(crop: Data | None) -> tuple[str | None, float]:
    """Return a crop's own tenderness, or None, and from how many litres on it is hardy."""
    given: Any = (crop or {}).get("tenderness")
    row = given if isinstance(given, dict) else {"value": given}
    kind: Any = row.get("value")
    litres: Any = row.get("hardy_from_l")
    return (kind if kind in KINDS else None), (litres if is_number(litres) else YOUNG_BELOW_L)


def _growing(lot: Data, phase: str) -> list[tuple[str, str]]:
    found = []
    if phase == "emerging":
        found.append((FOREVER, "emerging"))
    if phase == "seedlings":
        up = lot["last_rise_at"] or lot["first_emerged_at"] or lot["started_at"]
        found.append((_days_after(up, FIRST_LEAVES_DAYS), "first_leaves"))
    flush = lot["last"].get("new_flush")
    if flush and flush["value"] is True:
        found.append((_days_after(flush["at"], NEW_FLUSH_DAYS), "new_flush"))
    return found


def _of_kind(lot: Data, kind: str | None, hardy_from_l: float) -> list[tuple[str, str]]:
    if kind == "tender":
        return [(FOREVER, "tender")]
    litres = lot["container_l"]
    young = not is_number(litres) or litres < hardy_from_l
    return [(FOREVER, "half_hardy")] if kind == "half_hardy" and young else []


def _days_after(at: str, days: int) -> str:
    return to_text(within_years(to_ms(at) + days * DAY_MS))


def weather_entry(lot: Data, crop: Data | None, phase: str) -> Data | None:
    """Return what frost and heat ask of a live lot, or None where they ask nothing.

    It holds {until, why, known, cover, bared_at, small}: `small` are seedlings and pots under 3 L.
    """
    found = tenderness(lot, crop, phase)
    litres = lot["container_l"]
    young = is_number(litres) and litres < YOUNG_BELOW_L
    entry = {
        **{name: found[name] for name in ("until", "why", "known")},
        "cover": lot.get("cover"),
        "bared_at": lot.get("bared_at"),
        "small": phase == "seedlings" or (phase == "pots" and young),
    }
    asks = entry["until"] or not entry["known"] or entry["cover"] or entry["small"]
    return entry if asks else None


def cover_of(entry: Data, place: Data) -> Data | None:
    """Return the cover that is over a lot, its own or its place's, the later of the two; or None.

    Uncovering a place bares all that stands in it; what came in later than the cover is not under
    it.
    """
    return max(covers_of(entry, place), key=lambda cover: str(cover["at"]), default=None)


def covers_of(entry: Data, place: Data) -> list[Data]:
    """Return the covers over a lot: its own, its place's, both or none."""
    own, laid = entry["cover"], place.get("covered")
    over = [own] if own and own["at"] >= (place.get("bared_at") or "") else []
    return over + ([laid] if laid and laid["at"] >= (entry["bared_at"] or "") else [])


def is_open(place: Data) -> bool:
    """Say whether frost can get at a place."""
    free = place.get("frost_free")
    return not (free if isinstance(free, bool) else place.get("kind") in FROST_FREE)


def open_stock(entries: list[Data], places: dict[str, Data], at: str, low_c: float | None) -> Data:
    """Return what frost would find at an instant.

    It is {lots, unknown_lots, thin_lots, place_ids, names}: tender lots with no cover over them,
    lots of which nobody has said what they stand, tender lots whose cover was put on for a milder
    night, and where the open ones stand, in walking order. `opened_at` is since when something has
    been open without a break, `thin_at` when the last cover that is too thin was put on.
    """
    found = {"lots": 0, "unknown_lots": 0, "thin_lots": 0}
    where: set[str] = set()
    spans: list[tuple[str, str | None]] = []
    thin_at: str | None = None
    for entry in entries:
        place = places.get(entry["place"] or "") or {}
        if not is_open(place):
            continue
        cover = cover_of(entry, place)
        if (entry["until"] or "") > at:
            spans.append(_last_open(entry, place))
            found["lots"] += cover is None
            where |= {entry["place"] or ""} if cover is None else set()
            if cover is not None and _is_thin(cover, low_c):
                found["thin_lots"] += 1
                thin_at = later(thin_at, cover["at"])
        elif not entry["known"] and cover is None:
            found["unknown_lots"] += 1
    ids = walking_order(where, places)
    since = {"opened_at": opened_at(spans), "thin_at": thin_at}
    return {**found, **since, "place_ids": ids, "names": names_of(ids, places)}


def _last_open(entry: Data, place: Data) -> tuple[str, str | None]:
    """Return since when a lot was without a cover the last time, and until when: None, if now."""
    bared = max(entry["bared_at"] or "", place.get("bared_at") or "")
    begun = [(cover.get("since") or "", cover["at"]) for cover in covers_of(entry, place)]
    return bared, min((since if since >= bared else at for since, at in begun), default=None)


def opened_at(spans: list[tuple[str, str | None]]) -> str | None:
    """Return since when there has been something open without a break, or None where nothing is.

    Args:
        spans: since when each lot was open the last time, and until when (None: it still is).

    What was covered only after the next one was bared was open with it: whoever covers place by
    place while the wind takes other covers off has one matter in hand, not several.
    """
    began = min((since for since, until in spans if until is None), default=None)
    if began is None:
        return None
    over = [(until, since) for since, until in spans if until is not None]
    for until, since in sorted(over, reverse=True):
        if until < began:
            break
        began = min(began, since)
    return began or None


def thin_covers(stock: Data, place: str, at: str, low_c: float | None) -> list[Data]:
    """Return {id, for_low_c} of the tender lots of a place under a cover for a milder night."""
    row = stock["places"].get(place) or {}
    here = [one for one in stock["entries"] if (one["place"] or NOWHERE) == place]
    there = [one for one in here if (one["until"] or "") > at]
    over = [(one["id"], cover_of(one, row)) for one in there] if is_open(row) else []
    return [
        {"id": lot, "for_low_c": cover["for_low_c"]}
        for lot, cover in over
        if cover and _is_thin(cover, low_c)
    ]


def tender_outdoors(stock: Data, at: str) -> int:
    """Return how many lots that frost can hurt stand where it can get at them, covered or not."""
    return sum(
        is_open(stock["places"].get(entry["place"] or "") or {})
        for entry in stock["entries"]
        if (entry["until"] or "") > at
    )


def _is_thin(cover: Data, low_c: float | None) -> bool:
    meant: Any = cover.get("for_low_c")
    return is_number(meant) and low_c is not None and low_c < meant - COLDER_BY_C


def walking_order(ids: set[str], places: dict[str, Data]) -> list[str]:
    """Return ids of places in the order in which they are walked."""

    def step(place_id: str) -> tuple[bool, float, str, str]:
        place = places.get(place_id) or {}
        order: Any = place.get("order")
        name = str(place.get("name") or "")
        return (place_id == NOWHERE, order if is_number(order) else 1e9, name, place_id)

    return sorted(ids, key=step)


def names_of(ids: list[str], places: dict[str, Data]) -> str:
    """Return the names of the first few places, and how many more there are."""
    named = [_name(one, places) for one in ids[:NAMES_MAX]]
    more = len(ids) - len(named)
    return ", ".join(named) + (f" + {more}" if more else "")


def _name(place: str, places: dict[str, Data]) -> str:
    return str((places.get(place) or {}).get("name") or ("?" if place else "without a place"))
