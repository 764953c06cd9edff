"""When a phone was last in touch: also where it had nothing to send, and only asked what is new."""

from lathhouse.domain.instants import MINUTE_MS, to_ms
from lathhouse.store import record
from lathhouse.store.config import data_of
from lathhouse.store.work import Work, by_the_way, looking

# A note changes the phone's row, which every phone then fetches: not at every question. Ours.
NOTED_EVERY_MS = 15 * MINUTE_MS


def note(site_id: str, device: str, now: str) -> None:
    """Note that a known phone asks what is new, where that was not noted lately.

    What can be read is read, also where nothing can be written: whoever asks waits for no writer.
    """

    def is_due(work: Work) -> bool:
        row = data_of(work, "phone", device)
        return row is not None and _is_old(row["last_sync_at"], now)

    def act(work: Work) -> None:
        work.lock({f"phone:{device}"})
        row = data_of(work, "phone", device)
        if row is not None and _is_old(row["last_sync_at"], now):
            record.append(work, [], {**row, "last_sync_at": now})

    if looking(site_id, now, is_due):
        by_the_way(site_id, now, act)


def _is_old(last: str | None, now: str) -> bool:
    """Say whether a contact was noted long ago, or by a clock that has been set back since."""
    return last is None or not 0 <= to_ms(now) - to_ms(last) < NOTED_EVERY_MS
