"""One nursery for all tests of a file that leave it as it was."""

from collections.abc import Iterator

import pytest

from tests.on_postgresql import address_for
from tests.server import Clock, Nursery, close_nursery, open_nursery


@pytest.fixture(scope="module")
def same_nursery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    """A nursery on SQLite that a file's tests share: they ask, and what they send is refused."""
    folder = tmp_path_factory.mktemp("same")
    opened = open_nursery(address_for(folder / "l.sqlite"), folder / "data", Clock())
    yield opened
    close_nursery(opened)
