"""Spans of time: what was true, what stood as an alert, and where the two part."""

from collections.abc import Iterable
from typing import NamedTuple

Span = tuple[int, int]


class Key(NamedTuple):
    """A watch on a subject."""

    watch: str
    kind: str
    subject: str


class Spans:
    """Spans by key, opened and closed as time goes on."""

    def __init__(self) -> None:
        self.done: dict[Key, list[Span]] = {}
        self.running: dict[Key, Span] = {}

    def foresee(self, key: Key, span: Span | None, now: int) -> None:
        """Say from when until when a key is true from now on, as far as anybody knows."""
        before = self.running.pop(key, None)
        held = before is not None and before[0] < now <= before[1]
        if before is not None:
            self._keep(key, (before[0], min(now, before[1])))
        if span is None:
            return
        start = now if held and span[0] <= now else max(span[0], now)
        if start < span[1]:
            self.running[key] = (start, span[1])

    def is_true(self, key: Key, now: int) -> bool:
        """Say whether a key is true at this moment."""
        span = self.running.get(key)
        return span is not None and span[0] <= now < span[1]

    def true_now(self, now: int) -> list[Key]:
        """Return every key that is true at this moment."""
        return [key for key in self.running if self.is_true(key, now)]

    def finish(self, now: int) -> None:
        """Close what runs."""
        for key in list(self.running):
            self.foresee(key, None, now)

    def _keep(self, key: Key, span: Span) -> None:
        if span[0] >= span[1]:
            return
        kept = self.done.setdefault(key, [])
        if kept and kept[-1][1] >= span[0]:
            kept[-1] = (kept[-1][0], max(kept[-1][1], span[1]))
        else:
            kept.append(span)


def union(spans: Iterable[Span]) -> list[Span]:
    """Return the same time as spans that do not touch."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def minus(spans: Iterable[Span], others: Iterable[Span]) -> list[Span]:
    """Return what is left of some spans without the time of others."""
    left: list[Span] = []
    taken = union(others)
    for start, end in union(spans):
        at = start
        for low, high in taken:
            if high <= at or low >= end:
                continue
            if low > at:
                left.append((at, low))
            at = max(at, high)
        if at < end:
            left.append((at, end))
    return left


def widened(spans: Iterable[Span], before: int, after: int) -> list[Span]:
    """Return spans that begin earlier and end later."""
    return [(start - before, end + after) for start, end in spans]
