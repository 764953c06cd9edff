"""The nursery that a file's tests share, as in tests/web."""

from tests.web.conftest import same_nursery

__all__ = ["same_nursery"]
