"""Several phones, a server and a person, through whatever goes wrong; nothing saved is lost."""

import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Playwright

from tests.faults.killing import Killing
from tests.faults.search import Found, as_lines, search, smaller
from tests.faults.world import World
from tests.memory import in_memory

KEPT = json.loads((Path(__file__).parent / "kept.json").read_text(encoding="utf-8"))
SCHEDULES, SEED = 120, 6


@pytest.fixture(scope="module")
def world(chromium_path: str) -> Iterator[World]:
    with tempfile.TemporaryDirectory(prefix="lathhouse-faults-", dir=in_memory()) as folder:
        made = World(chromium_path, Path(folder))
        yield made
        made.close()


@pytest.mark.parametrize("says", KEPT)
def test_what_went_wrong_once_goes_right(world: World, says: str):
    """On the modules as they are shipped, one file each; the many schedules take them as one."""
    world.load_apart(True)
    assert world.run(KEPT[says]) == []
    world.load_apart(False)


def test_nothing_saved_is_lost_or_doubled_and_all_agree_whatever_goes_wrong(world: World):
    found = Found()
    search(world.run, SCHEDULES, SEED, found)
    assert found.tried >= SCHEDULES
    for schedule, _ in found.wrong[:1]:
        least, wrong = smaller(schedule, world.run)
        pytest.fail(f"{as_lines(least)}\n" + "\n".join(wrong), pytrace=False)
    assert len(world.made) > 30


@pytest.mark.parametrize("seed", [1, 2])
def test_killed_phones_and_a_killed_server_lose_nothing(
    playwright: Playwright, chromium_path: str, tmp_path: Path, seed: int
):
    killing = Killing(playwright, chromium_path, tmp_path)
    assert killing.run(seed) == []
    assert sum(killing.made.values()) >= 2
