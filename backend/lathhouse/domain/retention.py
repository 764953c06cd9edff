"""Which backups are kept: the last days, one of each of the last weeks and months. Pure.

The figures are our own choice: a fault that is seen within a week is mended from a day's copy, one
that is seen at the season's end from a month's.
"""

from collections.abc import Iterable
from datetime import datetime

DAYS, WEEKS, MONTHS = 7, 5, 12


def kept(times: Iterable[datetime]) -> set[datetime]:
    """Return those of these backups' times that are kept: the newest of its day, week and month.

    The newest of all is always among them.
    """
    newest_first = sorted(times, reverse=True)
    found: set[datetime] = set()
    for most, shape in ((DAYS, "%Y-%m-%d"), (WEEKS, "%G-%V"), (MONTHS, "%Y-%m")):
        periods: dict[str, datetime] = {}
        for at in newest_first:
            periods.setdefault(at.strftime(shape), at)
        found |= set(list(periods.values())[:most])
    return found
