"""Which spring a sown lot is waited for: its emergence window where a first spring shows nothing.

Before the owner has held the lot over, the first spring's window stands (nothing shows, and the
watch says so once). After that, or while it is still out in the cold, or once that spring's year
has gone round, the window is the second spring's own, so that the lot is not forgotten.
"""

from typing import Any

from lathhouse.domain import protocols
from lathhouse.domain.instants import DAY_MS, to_ms
from lathhouse.domain.spells import open_spell

Lot = dict[str, Any]
Second = dict[str, Any] | None


def window(lot: Lot, crop: Any, second: Second) -> dict[str, str] | None:
    """Return {opens_at, middle_at, closes_at} of the time in which the lot should show, or None.

    Args:
        second: what `outdoors.second_spring` says of it.
    """
    plain = protocols.window(lot, crop)
    if second is None:
        return plain
    spring = {name: second[name] for name in ("opens_at", "middle_at", "closes_at")}
    if any(_open_indoors(lot, kind) for kind in ("warm", "cold")):
        return None
    if plain is None or lot["held_over"]:
        # A cold that ended in the last winter tells the days better than the season does.
        return plain if plain and _last_cold_end(lot) >= second["silent_until"] else spring
    return plain


def second_spring_facts(second: Second, coming_up: dict[str, str] | None) -> dict[str, Any]:
    """Return {known, waits, opens_at, closes_at, days_more}.

    `waits` where the window is still that of a spring that shows nothing; `days_more` from its
    close to the close of the spring that shows it.
    """
    if second is None:
        return {"known": False, "waits": False}
    waits = coming_up is not None and coming_up["opens_at"] < second["silent_until"]
    closes = to_ms(second["closes_at"])
    more = (closes - to_ms(coming_up["closes_at"])) / DAY_MS if coming_up else None
    return {
        "known": True,
        "waits": waits,
        "opens_at": second["opens_at"],
        "closes_at": second["closes_at"],
        "days_more": max(0, more) if more is not None else None,
    }


def _open_indoors(lot: Lot, kind: str) -> bool:
    spell = open_spell(lot, kind)
    return spell is not None and spell.get("where") != "outdoors"


def _last_cold_end(lot: Lot) -> str:
    return max((s["ended_at"] or "" for s in lot["spells"] if s["kind"] == "cold"), default="")
