"""What the seasons do to seed that is sown outdoors: summer warms it, winter chills it, and the
spring after its last cold shows it. Double dormancy is why a first spring may show nothing.

Owners let summer and winter do both stages of deep seed (Agriculture Handbook 727, Viburnum,
p. 1166), and failed sowings are kept, since the second spring may bring them (Gosling 2007,
Practice Guide 18, p. 21). That a season counts only while two thirds of it lie ahead is our own.
"""

from typing import Any

from lathhouse.domain.instants import Offsets, local_date, local_instant, to_ms, to_text
from lathhouse.domain.seasons import Place, Span, add_days, next_span

SEASON_FOR = {"warm": "summer", "cold": "winter"}
# A spring is looked for this many times: no protocol has so many steps.
SPRINGS_MAX = 9


def outdoor_seasons(kinds: list[str], sown_on: str, place: Place) -> dict[str, Any] | None:
    """Return {spells, shows, silent} of seed sown outdoors that still wants these spells, in order.

    `spells` are {kind, from, to}; `shows` is the spring {from, to} in which it should come up, None
    where the last spell is no cold; `silent` are the springs before, which show nothing. None where
    there are no seasons (the tropics).
    """
    at, spells = sown_on, []
    for kind in kinds:
        span = _season_ahead(SEASON_FOR[kind], at, place)
        if span is None:
            return None
        spells.append({"kind": kind, "from": max(at, span["from"]), "to": span["to"]})
        at = add_days(span["to"], 1)
    if not kinds or kinds[-1] != "cold":
        return {"spells": spells, "shows": None, "silent": []}
    shows = next_span("spring", at, place)
    return {"spells": spells, "shows": shows, "silent": _springs(sown_on, shows, place)}


def second_spring(lot: Any, crop: Any, place: Place, offsets: Offsets) -> dict[str, Any] | None:
    """Return {silent_until, opens_at, middle_at, closes_at} of a sown lot that shows nothing in its
    first spring (or in the one it was sown in), or None where the first spring should show it.

    Only for double dormancy. Spells given in a chamber are done; what is left the seasons do, from
    sowing or from the end of the last such spell on.
    """
    if not lot["sown"] or not crop or crop.get("dormancy") != "double":
        return None
    begun = [spell for spell in lot["spells"] if spell["kind"] in SEASON_FOR]
    given = [s for s in begun if s.get("where") != "outdoors"]
    if any(spell["ended_at"] is None for spell in given):
        return None
    left = kinds_left(crop, [spell["kind"] for spell in given])
    since = max([lot["sown"]["at"], *(spell["ended_at"] for spell in given)])
    found = outdoor_seasons(left, local_date(to_ms(since), offsets), place)
    if not found or not found["shows"] or not (found["silent"] or "warm" in left):
        return None

    def midnight(day: str) -> str:
        return to_text(local_instant(day, "00:00", offsets))

    silent = found["silent"]
    opens, closes = found["shows"]["from"], add_days(found["shows"]["to"], 1)
    middle = (to_ms(midnight(opens)) + to_ms(midnight(closes))) // 2
    return {
        "silent_until": midnight(add_days(silent[-1]["to"], 1) if silent else opens),
        "opens_at": midnight(opens),
        "middle_at": to_text(middle),
        "closes_at": midnight(closes),
    }


def kinds_left(crop: Any, given: list[str]) -> list[str]:
    """Return the warm and cold steps that the spells given so far, in their order, leave over."""
    wanted = [
        step["kind"]
        for step in crop.get("stages") or []
        if step["kind"] in SEASON_FOR and not step.get("optional")
    ]
    done = 0
    for kind in given:
        if done < len(wanted) and wanted[done] == kind:
            done += 1
    return wanted[done:]


def _season_ahead(season: str, day: str, place: Place) -> Span | None:
    """Return the first such season of which no more than a third is over on this day."""
    span = next_span(season, day, place)
    rest = next_span(f"mid to late {season}", span["from"], place) if span else None
    if span is None or rest is None or rest["from"] >= day:
        return span
    return next_span(season, add_days(span["to"], 1), place)


def _springs(sown_on: str, shows: Span | None, place: Place) -> list[Span]:
    """Return the springs that begin after sowing and before the one that shows it."""
    found: list[Span] = []
    span = next_span("spring", sown_on, place)
    for _ in range(SPRINGS_MAX):
        if not span or not shows or span["from"] >= shows["from"]:
            break
        if span["from"] > sown_on:
            found.append(span)
        span = next_span("spring", add_days(span["to"], 1), place)
    return found
