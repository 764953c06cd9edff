"""Failed tries of the last minutes, kept in the record so that a restart forgets none of them."""

import hashlib
import json

from lathhouse.domain.instants import MINUTE_MS, to_text
from lathhouse.store.models import FailedTry
from lathhouse.store.work import Work, looking, writing

WITHIN_MS = 10 * MINUTE_MS


def take(site_id: str, most: dict[str, int], now_ms: int) -> int:
    """Count a try against each of its buckets; return 0, or the ms to wait where one is full.

    It is counted before it is made, so that tries at once cannot slip through together. A try that
    has to wait counts nowhere.

    Args:
        most: how many tries each bucket takes within ten minutes.
    """

    def act(work: Work) -> int:
        work.lock(f"tries:{name}" for name in most)
        work.delete(FailedTry, FailedTry.last_ms <= now_ms - WITHIN_MS)
        wait_ms = _wait_ms(work, most, now_ms)
        if not wait_ms:
            rows = [_row(name, [*_recent(work, name, now_ms), now_ms]) for name in most]
            work.upsert(FailedTry, rows, ("of",))
        return wait_ms

    # By reading first: who has to wait holds up nobody who writes.
    full = looking(site_id, to_text(now_ms), lambda work: _wait_ms(work, most, now_ms))
    return full or writing(site_id, to_text(now_ms), act)


def _wait_ms(work: Work, most: dict[str, int], now_ms: int) -> int:
    recent = {name: _recent(work, name, now_ms) for name in most}
    waits = [at[0] + WITHIN_MS - now_ms for name, at in recent.items() if len(at) >= most[name]]
    return max(1, *waits) if waits else 0


def forgive(site_id: str, names: list[str], now_ms: int) -> None:
    """Take back the last try of each bucket: it was right."""

    def act(work: Work) -> None:
        work.lock(f"tries:{name}" for name in names)
        rows = [_row(name, at[:-1]) for name in names if (at := _recent(work, name, now_ms))]
        work.upsert(FailedTry, rows, ("of",))

    writing(site_id, to_text(now_ms), act)


def _key(name: str) -> str:
    # No name of a person and no address stands in the record for having mistyped something.
    return hashlib.sha256(name.encode(errors="surrogatepass")).hexdigest()


def _recent(work: Work, name: str, now_ms: int) -> list[int]:
    rows = work.rows(FailedTry, FailedTry.of == _key(name))
    # A clock that was set back must not lock anybody out: what lies ahead of now is of no account.
    times = json.loads(rows[0]["at_ms"]) if rows else []
    return [at for at in times if now_ms - WITHIN_MS < at <= now_ms]


def _row(name: str, times: list[int]) -> dict[str, object]:
    last = max(times, default=0)
    return {"of": _key(name), "at_ms": json.dumps(times), "last_ms": last}
