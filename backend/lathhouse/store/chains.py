"""The chain over the log, beside it: written with every event, read again by `check`."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import select

from lathhouse.domain.chain import WHOLE, Chains, first_breaks
from lathhouse.store.models import ChainHead, Event
from lathhouse.store.work import Row, Work

PAGE = 2000


def kept(work: Work, devices: set[str] | None = None) -> Chains:
    """Return the heads beside the log: all, or the whole log's and those of some devices."""
    rows = (
        work.rows(ChainHead)
        if devices is None
        else work.rows_in(ChainHead, ChainHead.of, {WHOLE, *devices})
    )
    heads = {row["of"]: row["head"] for row in rows}
    return Chains(heads, {row["of"]: row["length"] for row in rows})


def chained(work: Work, rows: list[Row]) -> list[Row]:
    """Return rows of the log with their links, and write the new heads.

    The site's row is locked by then, so no two pieces of work go on from the same head.
    """
    chains = kept(work, {row["device_id"] for row in rows})
    linked = []
    for row in rows:
        whole, device = chains.add(row)
        linked.append({**row, "chain": whole, "device_chain": device})
    heads = [
        {"of": of, "head": head, "length": chains.lengths[of]} for of, head in chains.heads.items()
    ]
    work.upsert(ChainHead, heads, ("of",))
    return linked


def check_chains(work: Work) -> list[str]:
    """Return in words the first event altered or removed, for each chain; none if whole."""
    return first_breaks(entries(work), kept(work))


def entries(work: Work) -> Iterator[dict[str, Any]]:
    """Yield the log's rows by position, page by page."""
    after = 0
    while True:
        query = select(Event.__table__).where(Event.site_id == work.site_id, Event.position > after)
        page = work.connection.execute(query.order_by(Event.position).limit(PAGE)).mappings().all()
        if not page:
            return
        yield from (dict(row) for row in page)
        after = page[-1]["position"]
