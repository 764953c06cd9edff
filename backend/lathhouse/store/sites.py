"""The site: made at first start, with the rules that ship with the program."""

import json
import os
import uuid

from sqlalchemy import select

from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import to_ms
from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.watches import load_rules
from lathhouse.errors import WhichSite
from lathhouse.store import refold
from lathhouse.store.config import NEW_NURSERY, rows_of_kind, with_offsets
from lathhouse.store.models import Site, Subject, db
from lathhouse.store.record import plain_row, watch_all_again
from lathhouse.store.work import Row, Work, writing

SITE_LOCK = "site"
ASKED = "A server is for one of them."


def open_site(now: str, wanted: str = "") -> str:
    """Return the id of the site, made where there is none, with what ships renewed.

    What an older version of the program has folded is folded again.

    Args:
        wanted: which site, where a database may hold several.

    Raises:
        WhichSite: there are several, or not the one that is wanted.
        AnotherFold: a newer version has folded it.
    """
    with db.engine.begin() as connection:
        known = list(connection.execute(select(Site.id).order_by(Site.id)).scalars())
        site_id = chosen(known, wanted, now)
        if not known:
            values = {"id": site_id, "epoch": str(uuid.uuid4()), "revision": 0, "log_position": 0}
            values["fold_version"] = FOLD_VERSION
            connection.execute(Site.__table__.insert(), values)  # type: ignore[attr-defined]
    refold.begin(site_id, now)
    writing(site_id, now, renew_shipped)
    refold.go_on(site_id, now)
    return str(site_id)


def chosen(known: list[str], wanted: str, now: str) -> str:
    """Return the site to open: the wanted one, the only one, or a new one's id.

    Raises:
        WhichSite: there are several, or not the one that is wanted.
    """
    if not known:
        return wanted or uuid7(to_ms(now), os.urandom(10))
    if wanted in known or (not wanted and len(known) == 1):
        return wanted or known[0]
    several = len(known) > 1
    there = f"{len(known)} nurseries" if several else "1 nursery"
    says = f"{wanted} is {'none of them' if several else 'not it'}." if wanted else ASKED
    says = f"This database holds {there}: {', '.join(known)}. {says}"
    raise WhichSite(f"{says} Name it: --site ID, or LATHHOUSE_SITE.")


def renew_shipped(work: Work) -> None:
    """Bring shipped rules, shipped crops in use and the table of clock changes up to date.

    What the owner has changed is left alone.
    """
    work.lock([SITE_LOCK])
    rules, crops = rows_of_kind(work, "watch"), rows_of_kind(work, "protocol")
    rows = {("watch", r["id"]): {**r, "shipped": True} for r in load_rules()}
    rows |= {
        ("protocol", crop): {**load_crops()[crop], "shipped": True}
        for crop in crops
        if crop in load_crops()
    }
    stored = {("watch", name): row for name, row in rules.items()}
    stored |= {("protocol", name): row for name, row in crops.items()}
    nursery = rows_of_kind(work, "nursery").get(work.site_id)
    # Since when a record is here without a backup, until the first one is made.
    opened = {"opened_at": work.now, **(nursery or {"id": work.site_id, **NEW_NURSERY})}
    fresh = with_offsets(opened, work.now)
    rows[("nursery", work.site_id)] = fresh
    stored[("nursery", work.site_id)] = {**(nursery or {}), "shipped": True}
    stale: dict[tuple[str, str], Row] = {
        at: row
        for at, row in rows.items()
        if at not in stored or (stored[at].get("shipped") and _differs(stored[at], row))
    }
    if stale:
        revision, _ = work.raise_revision()
        work.upsert(
            Subject,
            [plain_row(kind, name, row, None, revision) for (kind, name), row in stale.items()],
            ("kind", "id"),
        )
        watch_all_again(work)


def _differs(before: Row, after: Row) -> bool:
    return json.dumps({**before, "shipped": True}) != json.dumps({**after, "shipped": True})
