"""What frost and heat hurt, in plain arithmetic from the catalogue; the days are ours."""

from lathhouse.domain.protocols import load_crops
from tests.simulation.calendar import DAY_MS
from tests.simulation.ledger import Lot

FIRST_LEAVES_MS = 56 * DAY_MS


def is_tender(lot: Lot, at: int) -> bool:
    """Say whether frost hurts a lot: just up whatever the kind, else a tender kind, or young."""
    if lot.phase in ("bench", "bag", "flats"):
        return False
    up_at = lot.risen_at or lot.up_at or lot.started_at
    if lot.phase == "emerging" or (lot.phase == "seedlings" and at < up_at + FIRST_LEAVES_MS):
        return True
    kind = (load_crops()[lot.crop]["tenderness"] or {}).get("value")
    return kind == "tender" or (kind == "half_hardy" and (lot.container_l or 0) < 3)


def is_small(lot: Lot) -> bool:
    """Say whether heat hurts a lot first: seedlings, and pots under three litres."""
    return lot.phase == "seedlings" or (lot.phase == "pots" and (lot.container_l or 3) < 3)
