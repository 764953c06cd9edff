"""What alerts have been: the latest that are over, and figures of a month. Nothing is written."""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import select

from lathhouse.domain.alert_figures import figures
from lathhouse.domain.instants import DAY_MS, to_ms, to_text
from lathhouse.store.models import Alert
from lathhouse.store.work import Work, looking

Data = dict[str, Any]
PAGE = 500
READ_MAX = 20_000
SHOWN_MAX = 100


def past(site_id: str, days: int, now: str) -> Data:
    """Return {alerts, more}: what came back to normal in the last days, the latest first."""
    since = _ago(days, now)

    def read(work: Work) -> Data:
        found = [one for one in changed_since(work, since) if one["cleared_at"]]
        over = sorted((one for one in found if one["cleared_at"] >= since), key=_cleared)[::-1]
        return {"alerts": over[:SHOWN_MAX], "more": len(over) > SHOWN_MAX}

    return looking(site_id, now, read)


def month(site_id: str, days: int, now: str) -> Data:
    """Return the figures of the last days, and whether all of the alerts were looked at."""
    since = _ago(days, now)

    def read(work: Work) -> Data:
        found = list(changed_since(work, since))
        return {**figures(found, since, now), "whole": len(found) < READ_MAX}

    return looking(site_id, now, read)


def changed_since(work: Work, since: str) -> Iterator[Data]:
    """Yield every alert that stood at or after an instant, the last changed first, up to a bound.

    A cleared row is never written again, so that before the first one cleared earlier than that
    lies all that can matter: the index of revisions is read from its end, and no further.
    """
    columns = select(Alert.id, Alert.revision, Alert.data)
    at: tuple[int, str] | None = None
    for _ in range(READ_MAX // PAGE):
        query = columns.where(Alert.site_id == work.site_id)
        if at is not None:
            earlier = (Alert.revision == at[0]) & (Alert.id < at[1])
            query = query.where((Alert.revision < at[0]) | earlier)
        ordered = query.order_by(Alert.revision.desc(), Alert.id.desc()).limit(PAGE)
        rows = work.connection.execute(ordered).all()
        for _id, _revision, text in rows:
            alert = json.loads(text)
            if alert["cleared_at"] and alert["cleared_at"] < since:
                return
            yield alert
        if len(rows) < PAGE:
            return
        at = (rows[-1].revision, rows[-1].id)


def _cleared(alert: Data) -> tuple[str, str]:
    return alert["cleared_at"], alert["id"]


def _ago(days: int, now: str) -> str:
    return to_text(to_ms(now) - days * DAY_MS)
