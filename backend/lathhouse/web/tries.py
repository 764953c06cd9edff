"""How often somebody may fail: guessing is slowed, and nobody is locked out by a stranger."""

from lathhouse.domain.instants import MINUTE_MS
from lathhouse.errors import TooOften
from lathhouse.store import tries
from lathhouse.web.requests import now_ms, site_id

# A pairing secret is 192 random bits: no rate would find one. The bound keeps guessing from
# costing the server anything.
PAIRINGS_FROM_ONE = 20


def count_try(most: dict[str, int], instead: str) -> None:
    """Count a try against each of its buckets.

    Args:
        instead: what can be done rather than wait.

    Raises:
        TooOften: a bucket is full.
    """
    wait_ms = tries.take(site_id(), most, now_ms())
    if wait_ms:
        says = f"Too many tries. Wait {-(-wait_ms // MINUTE_MS)} minutes, {instead}."
        raise TooOften(says, retry_after_s=-(-wait_ms // 1000))
