"""The longest files of tests go first, so that no process has one left when the others are done."""

from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# By how long they take, as the run's `--durations` told it.
LONGEST = (
    "tests/faults/test_faults.py",
    "tests/attack/test_barrage.py",
    "tests/sync/test_cursor.py",
    "tests/parity/test_random_logs.py",
    "e2e/test_bench.py",
    "tests/sync/test_order.py",
    "tests/simulation/test_simulation.py",
    "tests/test_wheel.py",
    "tests/store/test_alerts_stay_true.py",
    "tests/test_bench.py",
    "tests/store/test_watch_preview.py",
    "e2e/test_screens.py",
    "e2e/test_round_offline.py",
    "e2e/test_server_killed.py",
    "e2e/test_two_phones.py",
    "tests/reminders/test_killed.py",
    "tests/parity/test_planted_changes.py",
    "e2e/test_name_move.py",
    "e2e/test_webkit.py",
    "e2e/test_sealed.py",
    "e2e/test_workers.py",
    "e2e/test_shared_phone.py",
)
GONE = [name for name in LONGEST if not (ROOT / name).is_file()]
if GONE:
    raise pytest.UsageError(f"tests/order.py names files that are not there: {', '.join(GONE)}")
PLACES = {ROOT / name: place for place, name in enumerate(LONGEST)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first, and leave the order of all others."""
    items.sort(key=lambda item: PLACES.get(item.path, len(LONGEST)))
