"""Which token made a script's calendar address: its id, since another may come to have its name"""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

ID_LENGTH = 16
TOKENS = sa.table("tokens", *map(sa.column, ("site_id", "hash", "name", "made_at", "revoked_at")))
CALENDARS = sa.table("calendars", *map(sa.column, ("site_id", "recipient", "made_at")))


def upgrade() -> None:
    connection = op.get_bind()
    named = CALENDARS.c.recipient.like("token:%")
    for row in connection.execute(sa.select(CALENDARS).where(named)).all():
        name = row.recipient.removeprefix("token:")
        same = (TOKENS.c.site_id == row.site_id, TOKENS.c.name == name)
        # It held when the address was made.
        revoked = TOKENS.c.revoked_at
        same += (TOKENS.c.made_at <= row.made_at, revoked.is_(None) | (revoked > row.made_at))
        hashes = connection.execute(sa.select(TOKENS.c.hash).where(*same)).scalars().all()
        own = (CALENDARS.c.site_id == row.site_id, CALENDARS.c.recipient == row.recipient)
        # Of several that had the name then nobody wrote down which it was: it is made anew.
        if len(hashes) == 1:
            recipient = f"token:{hashes[0][:ID_LENGTH]}"
            connection.execute(sa.update(CALENDARS).where(*own).values(recipient=recipient))
        else:
            connection.execute(sa.delete(CALENDARS).where(*own))


def downgrade() -> None:
    """Leave them: an older program finds no token of such a name, and opens nothing."""
