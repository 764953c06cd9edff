"""Time that passes from one moment at which something is due to the next."""

from sqlalchemy import ColumnElement, func, select

from lathhouse.domain.instants import to_ms
from lathhouse.store.models import Subject
from lathhouse.store.work import looking
from tests.server import Nursery


def stop_at_deadlines(nursery: Nursery, before_ms: int, of: ColumnElement[bool]) -> None:
    """Let the alert clock tick at each moment before an instant at which such a subject is due."""
    query = select(func.min(Subject.next_deadline)).where(of)
    while True:
        with nursery.app.app_context():
            due = looking(nursery.site, "", lambda work: work.connection.execute(query).scalar())
        if due is None or to_ms(due) >= before_ms:
            return
        nursery.clock.ms = max(nursery.clock.ms, to_ms(due))
        nursery.tick()
